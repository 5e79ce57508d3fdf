"""Offset and span of the positions, and the middle of cold and hot trim: a few rows given, with the arithmetic."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from season_maker import made_withheld

from pipeline import baselines, screen_data
from pipeline.database import Database
from pipeline.trust import Withheld

FIRST = datetime(2026, 5, 1, 8, tzinfo=UTC)
AS_OF = datetime(2026, 7, 1, tzinfo=UTC)
AUCKLAND = ZoneInfo("Pacific/Auckland")


def _run(db: Database, day: int, errors: dict[str, float], targets: dict[str, float]) -> None:
    at, name = FIRST + timedelta(days=day), f"run-{day}"
    db.execute("insert into marts.logs values (?, ?, ?)", (name, f"inbox/{name}.csv", at + timedelta(hours=1)))
    db.execute("insert into events.runs values ('a/b', ?, ?)", (name, name))
    for gear, error in errors.items():
        db.execute(
            "insert into marts.readings values ('a/b', ?, 'shift_reach_error', ?, ?, ?, 4, ?)",
            (name, gear, at, error, targets[gear]),
        )


USUAL = {"reverse": 12.0, "neutral": 50.0, "forward": 90.0}
TURNED = {"reverse": 90.0, "neutral": 50.0, "forward": 12.0}


@pytest.mark.parametrize(
    ("errors", "targets", "offset", "span"),
    [
        # all alike: the sensor or its mounting
        ({"reverse": 0.8, "neutral": 0.8, "forward": 0.8}, USUAL, 0.8, 0.0),
        # both ends 1.5 short: from 13.5 to 88.5 is 75, their targets are 78 apart
        ({"reverse": 1.5, "neutral": 0.0, "forward": -1.5}, USUAL, 0.0, 75.0 - 78.0),
        # a unit that runs the other way round, as short: from 88.5 down to 13.5
        ({"reverse": -1.5, "neutral": 0.0, "forward": 1.5}, TURNED, 0.0, 75.0 - 78.0),
        # one end alone: a third of it is common, all of it is span
        ({"reverse": 0.0, "neutral": 0.0, "forward": -1.2}, USUAL, -0.4, -1.2),
    ],
)
def test_offset_is_what_all_gears_do_and_span_what_the_way_between_the_ends_does(
    db: Database, errors: dict[str, float], targets: dict[str, float], offset: float, span: float
) -> None:
    _run(db, 0, errors, targets)
    found = screen_data.offset_span(db, "a/b", AS_OF, AUCKLAND, Withheld())
    assert found[["offset_pct", "span_pct", "shifts"]].to_numpy().tolist() == [pytest.approx([offset, span, 12])]


def test_a_run_that_lacks_a_gear_says_nothing_of_all_gears(db: Database) -> None:
    _run(db, 0, {"neutral": 0.0, "forward": -1.0}, USUAL)
    assert screen_data.offset_span(db, "a/b", AS_OF, AUCKLAND, Withheld()).empty


def test_offset_and_span_are_told_at_first_and_now(db: Database) -> None:
    for day in range(12):
        _run(db, day, {"reverse": day / 10, "neutral": 0.0, "forward": -day / 10}, USUAL)
    said = baselines.offset_span_says(screen_data.offset_span(db, "a/b", AS_OF, AUCKLAND, Withheld()))
    # the last five runs are days 7 to 11, their middle day 9: span -1.8; the first five's is day 2: -0.4
    assert "Span −1.80 % over the last 5 runs, −0.40 % over the first 5." in said
    assert "Offset +0.00 %" in said


def test_a_withheld_run_is_in_no_offset_and_stands_among_the_rows_with_its_reason(db: Database) -> None:
    for day in range(6):
        _run(db, day, dict.fromkeys(USUAL, 30.0 if day >= 4 else 0.1), USUAL)
    swapped = made_withheld("a/b", "shift_target", [4, 5], 6, "run-{}")
    found = screen_data.offset_span(db, "a/b", AS_OF, AUCKLAND, swapped)

    assert found["withheld"].tolist() == [None] * 4 + ["shift target not believed (made so)"] * 2
    assert baselines.offset_span_says(found).startswith("Offset +0.10 % over the last 4 runs")
    assert "withheld" in baselines.offset_span_says(found[found["withheld"].notna()])


def _window(db: Database, at: datetime, thermal: str, trim: float, run_id: str = "run-0") -> None:
    db.execute("insert into events.idle_windows values ('a/b', ?, 'log', ?, ?, ?)", (run_id, at, thermal, trim))


def test_the_middle_of_a_day_lies_halfway_between_its_cold_and_its_hot_median(db: Database) -> None:
    db.execute("insert into marts.logs values ('log', 'f', ?)", (FIRST,))
    morning = datetime(2026, 5, 1, 20, tzinfo=UTC)  # 2 May, 08:00 in Auckland
    for thermal, trims in (("cold", (4.0, 5.0, 9.0)), ("hot", (1.0, 3.0)), ("warming", (50.0,))):
        for trim in trims:
            _window(db, morning, thermal, trim)
    _window(db, morning + timedelta(days=1), "cold", 4.0)  # a day without a hot window has no middle
    found = screen_data.trim_days(db, "a/b", AS_OF, AUCKLAND, Withheld())
    # medians 5 and 2, halfway 3.5
    assert found[["cold_pct", "hot_pct", "middle_pct", "windows"]].to_numpy().tolist() == [[5.0, 2.0, 3.5, 5.0]]
    assert found["when"].tolist() == ["Sat 02 May 2026 12:00:00"]
    assert "+3.5 % (5 windows)" in baselines.middle_says(found)


def test_a_withheld_trim_is_in_no_middle(db: Database) -> None:
    db.execute("insert into marts.logs values ('log', 'f', ?)", (FIRST,))
    for thermal, trim, run_id in (("cold", 5.0, "run-0"), ("hot", 2.0, "run-0"), ("hot", 90.0, "run-1")):
        _window(db, FIRST, thermal, trim, run_id)
    withheld = made_withheld("a/b", "fuel_trim", [1], 2, "run-{}")
    found = screen_data.trim_days(db, "a/b", AS_OF, AUCKLAND, withheld)

    assert found["middle_pct"].tolist() == [3.5]


def test_what_rests_on_a_channel_that_cannot_be_believed_is_not_seen_in_a_log(db: Database) -> None:
    db.execute("alter table marts.engine_logs add column started_at timestamptz")
    for day in range(2):
        at, name = FIRST + timedelta(days=day), f"run-{day}"
        _run(db, day, {}, USUAL)
        db.execute("insert into marts.engine_logs values ('a/b', ?, 's', ?)", (name, at))
        for thing, times in (("shift reverse", 3), ("warm", 1)):
            row = (name, thing, at, times)
            db.execute("insert into marts.readings values ('a/b', ?, 'evidence', ?, ?, ?, 1, null)", row)
    swapped = made_withheld("a/b", "shift_position", [1], 2, "run-{}")

    for withheld, reverse in ((Withheld(), 3), (swapped, 0)):
        check = screen_data.dock_checks(db, AS_OF, withheld)["a/b"]
        assert (check.times.get("shift reverse", 0), check.times["warm"]) == (reverse, 1)
        shown = screen_data.evidence(db, "a/b", AS_OF, AUCKLAND, withheld)
        newest = shown[shown["log_id"] == "run-1"].set_index("thing")["times"]
        assert (newest.get("shift reverse", 0), newest["warm"]) == (reverse, 1)
        assert shown["log_id"].nunique() == 2


def test_without_a_day_that_had_both_there_is_no_middle() -> None:
    assert "no middle" in baselines.middle_says(pd.DataFrame())
