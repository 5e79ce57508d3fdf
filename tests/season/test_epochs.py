"""Where a series is compared anew: a target re-set, a table cell changed, a note; and what is none of that."""

from __future__ import annotations

import numpy as np
import pytest
from season_maker import made_note, made_series, noisy

from pipeline.history import Series
from pipeline.logbook import Kind
from pipeline.season.epochs import SETTING_STEP, Epoch, current_epoch, setting_changes


def targets(*values: float) -> Series:
    return made_series(noisy(len(values), 0.1), setting=list(values))


def table(temp_c: np.ndarray, change: float, at: int, slope: float = -0.25) -> Series:
    """An idle series under a table that falls by `slope` % a degree, raised by `change` from reading `at` on."""
    setting = 30 + slope * (temp_c - 60) + np.where(np.arange(temp_c.size) >= at, change, 0.0)
    return made_series(noisy(temp_c.size, 0.3), "idle_integral", "neutral", temp_c=temp_c, setting=setting)


def test_a_series_without_settings_and_notes_is_one_epoch_from_commissioning() -> None:
    assert current_epoch(made_series(noisy(20, 0.1)), ()) == Epoch(0, "commissioning")


def test_a_target_that_was_re_set_begins_an_epoch_with_its_first_reading() -> None:
    assert current_epoch(targets(*[90] * 12, *[88.5] * 6), ()) == Epoch(12, "calibration")


def test_the_newest_of_two_changes_counts() -> None:
    series = targets(*[90] * 6, *[88] * 6, *[89] * 6)

    assert setting_changes(series) == [6, 12]
    assert current_epoch(series, ()).start == 12


def test_a_change_is_seen_with_the_first_reading_under_it() -> None:
    assert current_epoch(targets(*[90] * 12, 88), ()) == Epoch(12, "calibration")


def test_one_odd_reading_between_two_alike_is_no_change() -> None:
    assert setting_changes(targets(*[90] * 8, 85, *[90] * 8)) == []


def test_rounding_of_a_setting_is_no_change() -> None:
    assert setting_changes(targets(*[90, 90 + SETTING_STEP / 2] * 8)) == []


def test_a_setting_that_was_not_logged_for_a_while_changes_nothing() -> None:
    assert setting_changes(targets(90, 90, *[np.nan] * 5, 90, 90, 90)) == []
    assert setting_changes(targets(90, 90, 90, *[np.nan] * 5, 88, 88, 88)) == [8]


@pytest.mark.parametrize("change", [-2.0, 1.5, 4.0])
def test_a_table_cell_that_moved_is_found_although_temperature_moves_the_table_value_more(change: float) -> None:
    temp_c = 60 + noisy(30, 8.0, first=5)

    assert np.ptp(table(temp_c, 0.0, 0).setting) > abs(change)
    assert setting_changes(table(temp_c, change, at=18)) == [18]


def test_a_cold_month_moves_the_table_value_and_is_no_change_of_the_table() -> None:
    temp_c = 65 + noisy(40, 4.0)
    temp_c[20:] -= 20

    assert setting_changes(table(temp_c, 0.0, 0)) == []


@pytest.mark.parametrize(
    ("kind", "indicator", "is_anew"),
    [
        (Kind.NEW_TARGET, "shift_reach_error", True),
        (Kind.NEW_TARGET, "shift_transit_time", True),
        (Kind.NEW_TARGET, "idle_integral", False),
        (Kind.NEW_TABLE, "idle_integral", True),
        (Kind.NEW_TABLE, "idle_fuel_trim", True),
        (Kind.NEW_TABLE, "engagement_dip", True),
        (Kind.NEW_TABLE, "shift_reach_error", False),
        (Kind.NEW_TABLE, "coolant_hot", False),
        (Kind.REPLACED, "coolant_hot", True),
        (Kind.REBASELINE, "shift_reach_error", True),
        (Kind.CLEANED, "idle_integral", False),
        (Kind.INSPECTED, "shift_reach_error", False),
        (Kind.ADJUSTED, "shift_reach_error", False),
        (Kind.SERVICE, "shift_reach_error", False),
        (Kind.REMARK, "shift_reach_error", False),
    ],
)
def test_a_note_begins_an_epoch_for_what_it_is_about(kind: Kind, indicator: str, *, is_anew: bool) -> None:
    series = made_series(noisy(20, 0.1), indicator)

    expected = Epoch(10, "note") if is_anew else Epoch(0, "commissioning")
    assert current_epoch(series, [made_note(kind, day=9)]) == expected


def test_a_note_after_the_last_reading_begins_nothing_yet() -> None:
    assert current_epoch(made_series(noisy(10, 0.1)), [made_note(Kind.REPLACED, day=9)]).start == 0
