"""What the calibration should be changed by: the arithmetic, its evidence, and when nothing is proposed."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

sys.path.append(str(Path(__file__).parents[1] / "season"))

from season_maker import DAY_S, FIRST_RUN, judged, made_series, made_withheld, noisy, told

from pipeline import extract, wording
from pipeline.catalogue import Indicator, indicators
from pipeline.corrections import (
    DEFAULT_ROWS_C,
    Correction,
    Windows,
    add_on_correction,
    corrections,
    new_cell,
    row_corrections,
    row_shares,
    target_proposal,
    windows_from,
)
from pipeline.database import Database, open_writable
from pipeline.doubts import with_doubts
from pipeline.history import Doubt, History, Runs
from pipeline.morning import Morning
from pipeline.register import Register, load_register
from pipeline.states import State
from pipeline.trust import Withheld

INTEGRAL = indicators()["idle_integral"]


def windows(*rows: tuple[str, float, float], unsettled: bool = False) -> Windows:
    """Windows of (run, temperature, integral)."""
    return windows_from(
        [
            {"run_id": run, "temp_c": temp_c, "integral_pct": integral, "is_unsettled": unsettled}
            for run, temp_c, integral in rows
        ]
    )


def in_runs(temp_c: float, integral: float, runs: int = 3) -> list[tuple[str, float, float]]:
    return [(f"run-{place}", temp_c, integral) for place in range(runs)]


def wanting(**set_to: float) -> Indicator:
    return INTEGRAL.model_copy(update={"set_to": {**INTEGRAL.set_to, **set_to}})


NO_ROWS = row_corrections(windows(*in_runs(60, -2.5)), (40, 60, 80), INTEGRAL)


def test_the_first_worked_example_of_the_trade() -> None:
    # common practice: forward add-on 0 with integral +10, wanted +2 -> add-on 8
    found = add_on_correction(windows(*in_runs(60, 10)), "forward", NO_ROWS, wanting(forward=2.0)).correction

    assert new_cell(0, measured=10, wanted=2) == 8
    assert found.change is not None
    assert 0 + found.change == pytest.approx(8)


def test_the_second_worked_example_of_the_trade() -> None:
    # common practice: neutral cell 56 with integral -10, wanted -2.5 -> 48.5
    (row,) = [each for each in row_corrections(windows(*in_runs(60, -10)), (40, 60, 80), INTEGRAL) if each.temp_c == 60]

    assert new_cell(56, measured=-10, wanted=-2.5) == 48.5
    assert row.correction.change is not None
    assert 56 + row.correction.change == pytest.approx(48.5)


def test_the_wanted_values_stand_inside_the_wanted_bands() -> None:
    assert INTEGRAL.set_to == {"neutral": -2.5, "forward": 2.5, "reverse": 2.5}
    assert all(low < INTEGRAL.set_to[gear] < high for gear, (low, high) in INTEGRAL.wanted.items())


def test_a_temperature_between_two_rows_belongs_to_both_by_its_distance() -> None:
    # 65 °C lies a quarter of the way from 60 to 80; -5 and 130 lie beyond the axis
    shares = row_shares([65, 60, -5, 130], (0, 60, 80))

    assert shares.tolist() == [[0, 0.75, 0.25], [0, 1, 0], [1, 0, 0], [0, 0, 1]]


def test_each_row_owns_the_correction_by_its_weight() -> None:
    # row 60: weights 0.75 and 1, corrections -4 and 0 -> -3 / 1.75; row 80: weight 0.25 alone -> -4
    asked = windows(*in_runs(65, -6.5, 4), *in_runs(60, -2.5, 4))
    row_60, row_80 = row_corrections(asked, (60, 80), INTEGRAL)

    assert row_60.correction.change == pytest.approx(-4 * 0.75 / 1.75)
    assert (row_60.correction.weight, row_60.correction.windows) == (pytest.approx(7), 8)
    assert row_80.correction.measured == pytest.approx(-6.5)
    assert (row_80.correction.change, row_80.correction.weight) == (None, pytest.approx(1))


def test_the_default_rows_stand_every_twenty_degrees() -> None:
    assert set(np.diff(DEFAULT_ROWS_C)) == {20}


@pytest.mark.parametrize(
    ("rows", "weight", "runs"),
    [
        (in_runs(60, -10, 2) * 2, 4.0, 2),  # four windows, but of two runs
        ([*in_runs(60, -10, 2), ("run-2", 79.0, -10)], 2.05, 2),  # the third has a twentieth of the row
        ([], 0.0, 0),
    ],
)
def test_too_little_proposes_nothing_and_says_so(
    rows: list[tuple[str, float, float]], weight: float, runs: int
) -> None:
    found = row_corrections(windows(*rows), (40, 60, 80), INTEGRAL)[1].correction

    assert (found.change, found.weight, found.runs) == (None, pytest.approx(weight), runs)
    assert not found.is_called_for
    assert found.reason is not None
    assert ("needs 3 windows from 3 runs" in found.reason) == bool(rows)


def test_unsettled_windows_count_a_third() -> None:
    few = row_corrections(windows(*in_runs(60, -10, 8), unsettled=True), (40, 60), INTEGRAL)[1].correction
    many = row_corrections(windows(*in_runs(60, -10, 9), unsettled=True), (40, 60), INTEGRAL)[1].correction

    assert (few.weight, few.change) == (pytest.approx(8 / 3), None)
    assert (many.weight, many.change) == (pytest.approx(3), pytest.approx(-7.5))


def test_the_standard_error_is_that_of_runs_and_not_of_windows() -> None:
    # Three runs of one weight at -9, -10, -11: 1 / sqrt(3), the textbook error of a mean of three; ten windows a run
    # that agree make it no smaller.
    runs = [("a", 60.0, -9.0), ("b", 60.0, -10.0), ("c", 60.0, -11.0)]
    once = row_corrections(windows(*runs), (40, 60), INTEGRAL)[1].correction
    often = row_corrections(windows(*runs * 10), (40, 60), INTEGRAL)[1].correction

    assert once.standard_error == pytest.approx(1 / np.sqrt(3))
    assert often.standard_error == pytest.approx(1 / np.sqrt(3))


def test_a_cell_whose_integral_is_in_its_band_may_stay() -> None:
    inside = row_corrections(windows(*in_runs(60, -0.5)), (40, 60), INTEGRAL)[1].correction
    outside = row_corrections(windows(*in_runs(60, -3.5)), (40, 60), INTEGRAL)[1].correction

    assert (inside.change, inside.is_called_for) == (pytest.approx(2.0), False)
    assert (outside.change, outside.is_called_for) == (pytest.approx(-1.0), True)


def test_an_add_on_takes_what_the_rows_do_not_give_already() -> None:
    # neutral is 6 too low: the rows gain 3.5 + 2.5 = 6; forward at 9.5 wants 7, of which the rows give 6
    rows = row_corrections(windows(*in_runs(60, 3.5)), (40, 60, 80), INTEGRAL)
    found = add_on_correction(windows(*in_runs(60, 9.5)), "forward", rows, INTEGRAL)

    assert found.from_rows == pytest.approx(6)
    assert found.correction.change == pytest.approx(1)
    assert found.correction.measured == pytest.approx(9.5)


def test_an_add_on_is_not_told_where_the_rows_are_not_known() -> None:
    rows = row_corrections(windows(*in_runs(20, -2.5)), (20, 40, 60), INTEGRAL)
    found = add_on_correction(windows(*in_runs(60, 9.5)), "forward", rows, INTEGRAL).correction

    assert found.change is None
    assert "neutral rows" in str(found.reason)


def test_corrections_made_are_corrections_gone() -> None:
    # What the rows gain, the integral gives up; asked again, nothing is left on an axis that the windows stand on.
    rng = np.random.default_rng(3)
    truth = np.asarray([6.0, -2.0, 4.0, 1.0])
    axis = (20.0, 40.0, 60.0, 80.0)
    placed = [(f"run-{place % 5}", float(rng.choice(axis))) for place in range(60)]
    error = [float(row_shares([temp], axis)[0] @ truth) - 2.5 for _, temp in placed]
    first = row_corrections(windows(*((r, t, e) for (r, t), e in zip(placed, error, strict=True))), axis, INTEGRAL)
    changes = np.asarray([row.correction.change for row in first], dtype=float)
    left = [e - float(row_shares([t], axis)[0] @ changes) for (_, t), e in zip(placed, error, strict=True)]
    second = row_corrections(windows(*((r, t, e) for (r, t), e in zip(placed, left, strict=True))), axis, INTEGRAL)

    assert changes == pytest.approx(truth)
    assert [row.correction.change for row in second] == pytest.approx([0.0] * 4)
    assert not any(row.correction.is_called_for for row in second)


def reach(values: Sequence[float] | np.ndarray, *, target: float = 90.0, n: float = 6.0) -> State:
    return judged(made_series(values, setting=target, n=n))


def test_a_constant_mismatch_is_proposed_as_what_the_unit_reaches() -> None:
    found = target_proposal(told("shift_reach_error", "forward", 0.0, -1.4, "constant", setting=90.0))

    # 90 - 1.4 = 88.6; forty runs of six shifts
    assert found.reason is None
    assert found.reaches == pytest.approx(88.6, abs=0.1)
    assert (found.target, found.shifts, found.runs) == (90.0, 240, 40)
    assert found.scatter is not None
    assert found.scatter < 0.15


@pytest.mark.parametrize(
    ("state", "why"),
    [
        (told("shift_reach_error", "forward", 0.0, 0.2, "constant", setting=90.0), "within its limit"),
        (told("shift_reach_error", "forward", 0.0, -1.8, "growing", setting=90.0), "wear"),
        (told("shift_reach_error", "forward", 0.0, -1.8, "step", setting=90.0), "came at a date"),
        (reach(-1.4 + noisy(4, 0.08)), "too few repeats"),
        (reach(-1.4 + noisy(12, 0.08), n=0.5), "too few repeats"),
        (reach(-1.4 + noisy(40, 0.7)), "scatters"),
        (reach(-1.4 + noisy(40, 0.08), target=np.nan), "not in the log"),
    ],
)
def test_no_target_is_proposed_for_anything_else_and_it_says_why(state: State, why: str) -> None:
    found = target_proposal(state)

    assert found.reaches is None
    assert why in str(found.reason)


def test_a_mismatch_that_is_known_only_since_a_re_set_is_no_mismatch_of_the_unit() -> None:
    values = np.r_[noisy(15, 0.08), -1.4 + noisy(25, 0.08)]
    setting = np.r_[np.full(15, 88.0), np.full(25, 90.0)]
    found = target_proposal(judged(made_series(values, setting=setting)))

    assert found.reaches is None
    assert "known only since" in str(found.reason)


REGISTER = """
fleet = { name = "Fleet", timezone = "UTC" }
[[boat]]
id = "petrel"
engine = [{ id = "port", idle_rows_c = [20, 60, 80] }, { id = "starboard" }]
"""


@pytest.fixture
def fleet(tmp_path: Path) -> tuple[Database, Register]:
    """Twelve daily runs of one engine, each with three idle windows a gear; the last two cold."""
    (tmp_path / "fleet.toml").write_text(REGISTER, encoding="utf-8")
    db = open_writable(tmp_path / "working.duckdb")
    db.execute("create schema events; create schema marts")
    for name, table in extract.empty_tables().items():
        db.register("empty_table", table)
        db.execute(f"create table events.{name} as from empty_table")
    db.execute("create table marts.logs (log_id varchar, file varchar, ended_at timestamptz)")
    for day in range(12):
        at = FIRST_RUN + timedelta(days=day)
        log = f"log-{day}"
        db.execute("insert into marts.logs values (?, ?, ?)", [log, f"{log}.csv", at + timedelta(hours=1)])
        db.execute(
            "insert into events.runs (engine_id, log_id, run_id, started_at) values ('petrel/port', ?, ?, ?)",
            [log, f"run-{day:03}", at],
        )
        for gear, integral in (("neutral", -9.5), ("forward", -3.0)):
            for minute in range(3):
                row = [log, f"run-{day:03}", at + timedelta(minutes=minute), gear, 60.0, integral, False]
                db.execute(
                    """
                    insert into events.idle_windows
                    (engine_id, log_id, run_id, started_at, gear, temp_c, integral_pct, is_unsettled)
                    values ('petrel/port', ?, ?, ?, ?, ?, ?, ?)
                    """,
                    row,
                )
    return db, load_register(tmp_path)


def morning(*states: State, withheld: Withheld | None = None) -> Morning:
    """A judgement with the given states, of which this is withheld."""
    return Morning(
        fleet="Fleet",
        simulated=True,
        as_of=AS_OF,
        fleet_findings=(),
        boats=(),
        states=states,
        steps=(),
        problems=(),
        withheld=withheld or Withheld(),
    )


AS_OF = datetime.fromtimestamp(FIRST_RUN.timestamp() + 30 * DAY_S, UTC)


def of_row(found: Sequence[object], temp_c: float) -> Correction:
    (row,) = [each for each in found if getattr(each, "temp_c", None) == temp_c]
    correction = getattr(row, "correction", None)
    assert isinstance(correction, Correction)
    return correction


def test_an_engine_s_corrections_come_from_its_own_rows_and_last_ten_runs(fleet: tuple[Database, Register]) -> None:
    found = corrections(*fleet, "petrel/port", AS_OF, morning())

    assert [row.temp_c for row in found.rows] == [20, 60, 80]
    assert of_row(found.rows, 60).change == pytest.approx(-7.0)
    assert (of_row(found.rows, 60).windows, of_row(found.rows, 60).runs) == (30, 10)
    # forward wants -5.5, and the row gives -7 already
    (add_on,) = found.add_ons
    assert (add_on.gear, add_on.correction.change) == ("forward", pytest.approx(1.5))
    assert found.cautions == wording.CAUTIONS
    assert found.since is None


def test_nothing_later_than_the_moment_is_used(fleet: tuple[Database, Register]) -> None:
    found = corrections(*fleet, "petrel/port", FIRST_RUN + timedelta(days=3), morning())

    assert of_row(found.rows, 60).runs == 3


def test_windows_before_the_last_change_do_not_count(fleet: tuple[Database, Register]) -> None:
    values = np.r_[-9.5 + noisy(6, 0.1), -9.5 + noisy(6, 0.1)]
    setting = np.r_[np.full(6, 50.0), np.full(6, 45.0)]
    state = judged(made_series(values, "idle_integral", "neutral", temp_c=60.0, setting=setting))
    found = corrections(*fleet, "petrel/port", AS_OF, morning(state))

    assert found.since == FIRST_RUN + timedelta(days=6)
    assert of_row(found.rows, 60).runs == 6


def test_no_cell_rests_on_a_withheld_window_and_it_is_said(fleet: tuple[Database, Register]) -> None:
    sound = corrections(*fleet, "petrel/port", AS_OF, morning())
    fleet[0].execute("update events.idle_windows set integral_pct = 40 where run_id in ('run-010', 'run-011')")
    withheld = made_withheld("petrel/port", "idle_integral", [10, 11], 12)
    found = corrections(*fleet, "petrel/port", AS_OF, morning(withheld=withheld))

    assert of_row(found.rows, 60) == of_row(sound.rows, 60)  # the ten believed runs before them
    assert found.add_ons == sound.add_ons
    assert found.warnings == ("2 runs withheld: idle integral not believed (made so). No cell rests on them.",)


def test_a_run_with_target_and_position_swapped_does_not_move_the_proposed_target() -> None:
    values, swapped = -1.4 + noisy(40, 0.08), np.arange(40) >= 36
    sound = made_series(values, setting=90.0)
    spoiled = made_series(np.where(swapped, 1.4, values), setting=np.where(swapped, 88.6, 90.0))
    record = Runs(sound.run_ids, sound.run_ids, sound.at_s, sound.at_s + 3600, sound.hours)
    doubt = Doubt("shift_position", swapped, "swapped: the position moves before its target")
    history = History(AS_OF, {"petrel/port": (spoiled,)}, {}, {"petrel/port": record}, {"petrel/port": (doubt,)})
    (kept,) = with_doubts(history).series["petrel/port"]
    of_sound = target_proposal(judged(sound.pick(slice(0, 36))))

    assert target_proposal(judged(kept)) == of_sound
    assert of_sound.reaches == pytest.approx(88.6, abs=0.1)
    assert target_proposal(judged(spoiled)).reaches != of_sound.reaches


def test_a_drifting_integral_is_warned_of_before_a_table_hides_it(fleet: tuple[Database, Register]) -> None:
    state = told("idle_integral", "neutral", -1.5, 8.0, "growing", temp_c=66.0)
    found = corrections(*fleet, "petrel/port", AS_OF, morning(state))

    (warning,) = found.warnings
    assert "rule out dirt, air leak and load first" in warning


def test_an_engine_without_windows_has_no_correction_and_a_stranger_is_named(fleet: tuple[Database, Register]) -> None:
    found = corrections(*fleet, "petrel/starboard", AS_OF, morning())

    assert [row.temp_c for row in found.rows] == list(DEFAULT_ROWS_C)
    assert {row.correction.reason for row in found.rows} == {"no idle window near it"}
    assert (found.add_ons, found.targets) == ((), ())
    with pytest.raises(KeyError, match="petrel/starboard"):
        corrections(*fleet, "petrel/starbord", AS_OF, morning())
