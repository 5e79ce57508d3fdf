"""Times of rows: kinds of clocks, zones, daylight saving, and the rules for rows out of order.

Oracle for zones: the standard library's zoneinfo; for the rules: cases small enough to count by hand.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.readers.clock import LogClock, TimeReading, settle
from pipeline.readers.start import Start, find_start, read_stamp

Read = Callable[..., Any]
Write = Callable[..., Any]

BERLIN = "Europe/Berlin"
AUCKLAND = "Pacific/Auckland"


def at(text: str, zone: str = "UTC", fold: int = 0) -> float:
    """Epoch seconds of a local time, by zoneinfo."""
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone), fold=fold).timestamp()


def log(times: list[str] | list[float], name: str = "time") -> str:
    """A log whose rpm counts its rows."""
    return f"{name},rpm\n" + "".join(f"{time},{600 + row}\n" for row, time in enumerate(times))


@pytest.mark.parametrize(
    ("unit", "cells", "start"),
    [
        ("s", [0.0, 0.5], "2026-06-14T07:10:00+12:00"),
        ("ms", [0, 500], "2026-06-14T07:10:00+12:00"),
        ("s", [1781377800.0, 1781377800.5], "2026-06-13T19:10:00+00:00"),  # above 1e9: epoch seconds
        ("epoch_s", [1781377800.0, 1781377800.5], "2026-06-13T19:10:00+00:00"),
        ("epoch_ms", [1781377800000, 1781377800500], "2026-06-13T19:10:00+00:00"),
        ("iso8601", ["2026-06-14T07:10:00Z", "2026-06-14T07:10:00.5Z"], "2026-06-14T07:10:00+00:00"),
        ("iso8601", ["2026-06-14 07:10:00+0530", "2026-06-14 07:10:00.5+0530"], "2026-06-14T01:40:00+00:00"),
        ("iso8601", ["2026-06-14T07:10:00", "2026-06-14T07:10:00.500"], "2026-06-14T07:10:00+12:00"),
        ("iso8601", ["2026/06/14 07:10:00", "2026/06/14 07:10:00.500"], "2026-06-14T07:10:00+12:00"),
        ("clock", ["07:10:00.000", "07:10:00.500"], "2026-06-14T07:10:00+12:00"),
    ],
)  # fmt: skip
def test_every_time_unit_of_the_contract_is_read(
    read: Read, write: Write, unit: str, cells: list[Any], start: str
) -> None:
    channel_map = {"time": {"column": "When", "unit": unit}, "rpm": {"column": "rpm"}}
    answer = read(write(log(cells, "When")), channel_map, timezone=AUCKLAND)
    expected = datetime.fromisoformat(start).timestamp()
    assert answer.column("time_s") == [expected, expected + 0.5]
    assert not answer.log.start_assumed


def test_without_a_unit_the_first_cell_tells_the_kind_of_time(read: Read, write: Write) -> None:
    for cells in (
        ["2026-06-14T07:10:00Z", "2026-06-14T07:10:01Z"],
        ["07:10:00", "07:10:01"],
        [0, 1],
        [1781421000, 1781421001],
    ):
        assert read(write(log(cells))).log.started_s == at("2026-06-14T07:10:00")


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("2026-06-14_0710.csv", "2026-06-14T07:10:00"),
        ("2026-06-14_071005.csv", "2026-06-14T07:10:05"),
        ("2026-06-14T0710.csv", "2026-06-14T07:10:00"),
        ("2026-06-14T07-10-05.csv", "2026-06-14T07:10:05"),
        ("20260614T071005.csv", "2026-06-14T07:10:05"),
        ("petrel_port_2026-06-14_0710_trip.csv", "2026-06-14T07:10:00"),
    ],
)
def test_the_name_of_the_file_gives_the_start(read: Read, write: Write, name: str, expected: str) -> None:
    answer = read(write(log([0, 1]), name), timezone=BERLIN)
    assert answer.log.started_s == at(expected, BERLIN)
    assert not answer.log.start_assumed


def test_without_any_start_the_files_own_time_is_assumed_and_marked(read: Read, write: Write) -> None:
    path = write(log([0, 1]), "run.csv")
    os.utime(path, (1781421000, 1781421000))
    answer = read(path)
    assert answer.log.started_s == 1781421000
    assert answer.log.start_assumed


def test_metadata_counts_more_than_the_name(read: Read, write: Write) -> None:
    answer = read(write("Start time: 2026-06-13 18:00:00\n" + log([0, 1])))
    assert answer.log.started_s == at("2026-06-13T18:00:00")


@pytest.mark.parametrize(
    "metadata",
    [
        [("Date", "14.06.2026"), ("Time", "07:10:00")],
        [("Log Date", "2026-06-14"), ("Log Time", "07:10")],
        [("Recorded", "14 Jun 2026 07:10:00")],
        [("started at", "06/14/2026 07:10:00")],
        [("StartTime", "2026-06-14T07:10:00Z")],
        [("start", "1781421000")],
        [("Exported date", "2026-07-01 10:00:00"), ("Start", "2026-06-14 07:10:00 UTC")],
        [("Sample time", "0.05"), ("End time", "2026-06-14 08:00:00"), ("Begin", "2026-06-14 07:10:00")],
    ],
)
def test_a_metadata_line_whose_key_names_a_start_a_date_or_a_time_gives_the_start(tmp_path: Any, metadata: Any) -> None:
    path = tmp_path / "x.csv"
    path.touch()
    assert find_start(metadata, path, "UTC") == Start(at("2026-06-14T07:10:00"), None, assumed=False)


def test_a_date_whose_day_and_month_could_be_each_other_is_not_guessed() -> None:
    assert read_stamp("03/04/2026 07:10:00", "UTC") is None
    assert read_stamp("14/06/2026 07:10:00", "UTC") == at("2026-06-14T07:10:00")


def test_a_clock_rolls_over_midnight(read: Read, write: Write) -> None:
    answer = read(write(log(["23:59:58", "23:59:59", "00:00:00", "00:00:01"]), "2026-06-14_ride.csv"))
    start = at("2026-06-14T23:59:58")
    assert answer.column("time_s") == [start, start + 1, start + 2, start + 3]


def test_a_clock_without_a_date_takes_the_day_of_the_files_own_time(read: Read, write: Write) -> None:
    path = write(log(["23:00:00", "23:30:00"]), "run.csv")
    os.utime(path, (at("2026-06-15T00:10:00", AUCKLAND),) * 2)
    answer = read(path, timezone=AUCKLAND)
    assert answer.log.started_s == at("2026-06-14T23:00:00", AUCKLAND), (
        "the log was written after its last row, not before"
    )
    assert answer.log.start_assumed


# In Europe/Berlin 2026 the clock skips 02:00-03:00 on 29 March and repeats 02:00-03:00 on 25 October.


def test_a_log_through_the_repeated_hour_rises_without_a_gap(read: Read, write: Write) -> None:
    first = datetime(2026, 10, 24, 23, 50, tzinfo=UTC)
    truth = [first + timedelta(minutes=minute) for minute in range(0, 180, 2)]
    local = [moment.astimezone(ZoneInfo(BERLIN)).strftime("%Y-%m-%dT%H:%M:%S") for moment in truth]
    answer = read(write(log(local)), timezone=BERLIN)
    assert answer.column("time_s") == [moment.timestamp() for moment in truth]


def test_a_clock_log_through_the_repeated_hour_rises_without_a_gap(read: Read, write: Write) -> None:
    first = datetime(2026, 10, 24, 21, 50, tzinfo=UTC)
    truth = [first + timedelta(minutes=minute) for minute in range(0, 300, 2)]
    clock = [moment.astimezone(ZoneInfo(BERLIN)).strftime("%H:%M:%S") for moment in truth]
    answer = read(write(log(clock), "2026-10-24_2350.csv"), timezone=BERLIN)
    assert answer.column("time_s") == [moment.timestamp() for moment in truth]


def test_a_log_that_starts_in_the_repeated_hour_and_runs_on_is_its_second_pass(read: Read, write: Write) -> None:
    answer = read(write(log(["2026-10-25T02:58:00", "2026-10-25T02:59:00", "2026-10-25T03:00:00"])), timezone=BERLIN)
    assert np.diff(answer.column("time_s")).tolist() == [60.0, 60.0]


def test_a_log_wholly_inside_the_repeated_hour_says_that_it_had_to_choose(read: Read, write: Write) -> None:
    answer = read(write(log(["2026-10-25T02:10:00", "2026-10-25T02:11:00"])), timezone=BERLIN)
    assert answer.log.started_s == at("2026-10-25T02:10:00", BERLIN, fold=0)
    assert answer.codes == ["repeated_hour"]


def test_a_log_through_the_skipped_hour_has_no_gap(read: Read, write: Write) -> None:
    answer = read(write(log(["2026-03-29T01:58:00", "2026-03-29T01:59:00", "2026-03-29T03:00:00"])), timezone=BERLIN)
    assert np.diff(answer.column("time_s")).tolist() == [60.0, 60.0]


@given(
    start=st.datetimes(min_value=datetime(2024, 1, 1), max_value=datetime(2026, 6, 1)),  # noqa: DTZ001 - UTC is added below
    minutes=st.integers(2, 400),
    zone=st.sampled_from([BERLIN, AUCKLAND, "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu"]),
)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_local_times_that_zoneinfo_writes_are_read_back(start: datetime, minutes: int, zone: str) -> None:
    begin = start.replace(tzinfo=UTC, microsecond=0)
    truth = np.array([(begin + timedelta(minutes=minute)).timestamp() for minute in range(minutes)])
    local = [datetime.fromtimestamp(moment, ZoneInfo(zone)) for moment in truth]
    offset_s = (local[0].replace(fold=0).utcoffset() or timedelta()).total_seconds()
    as_utc = np.array([moment.replace(tzinfo=UTC, fold=0).timestamp() for moment in local])
    clock = LogClock(TimeReading("local", 1.0, -offset_s, offset_s), Start(None, None, assumed=True), zone, "x", 1.9e9)
    settled = settle(as_utc - offset_s, clock)
    had_to_choose = "repeated_hour" in [problem.code for problem in settled.problems]
    assert had_to_choose or settled.time_s.tolist() == truth.tolist()
    assert settled.keep.all()


def settled(times: list[float], **known: Any) -> Any:
    """The rules for rows, on seconds after 2026-06-14T07:10 UTC."""
    base = at("2026-06-14T07:10:00")
    clock = LogClock(
        TimeReading("epoch", 1.0, 0.0), known.get("start", Start(None, None, assumed=True)), "UTC", "x.csv", base + 9e5
    )
    answer = settle(np.array(times) + base, clock, first_line=2)
    return answer, (answer.time_s - base).round(6).tolist()


def test_equal_stamps_are_spread_up_to_the_next_one() -> None:
    answer, times = settled([0, 0, 1, 1, 1, 1, 2])
    assert times == [0, 0.5, 1, 1.25, 1.5, 1.75, 2]
    assert answer.spread == 4


def test_equal_stamps_before_a_gap_are_spread_over_the_usual_step_only() -> None:
    assert settled([0, 1, 2, 2, 60, 61, 61])[1] == [0, 1, 2, 2.5, 60, 61, 61.5]


def test_a_stamp_repeated_by_a_slow_clock_is_spread_over_two_seconds_at_most() -> None:
    assert settled([0, 0, 60, 60, 120, 120])[1] == [0, 1, 60, 61, 120, 121]


def test_a_row_that_steps_back_is_left_out_and_counted() -> None:
    times = [float(second) for second in range(100)]
    times[40] = 12.0
    answer, kept = settled(times)
    assert kept == [second for second in range(100) if second != 40]
    assert [(problem.code, problem.line) for problem in answer.problems] == [("rows_step_back", 42)]


def test_a_lone_stamp_far_ahead_costs_itself_and_not_all_rows_after_it() -> None:
    times = [float(second) for second in range(100)]
    times[40] = 70_000.0
    assert settled(times)[1] == [second for second in range(100) if second != 40]


def test_a_clock_set_back_a_little_costs_the_overlap_only() -> None:
    times = [float(second) for second in [*range(100), *range(97, 200)]]
    answer, kept = settled(times)
    assert kept[0] == 0
    assert kept[-1] == 199
    # Three stamps come twice, 97 to 99; an order that never falls can keep one of each pair, and equals are spread.
    assert int((~answer.keep).sum()) == 2
    assert np.all(np.diff(kept) > 0)


@pytest.mark.parametrize(
    ("cells", "code"),
    [
        ([0, 1, 2, 1, 2, 3, 2, 3, 4, 3, 4, 5], "too_many_rows_lost"),
        ([5] * 5000 + [6], "too_many_rows_lost"),
    ],
)
def test_a_log_that_would_lose_more_than_a_twentieth_is_refused(
    read: Read, write: Write, cells: list[Any], code: str
) -> None:
    assert read(write(log(cells))).codes == [code]


def test_a_clock_that_was_never_set_is_refused_where_nothing_else_gives_the_start(read: Read, write: Write) -> None:
    answer = read(write(log(["1970-01-01T00:00:05Z", "1970-01-01T00:00:06Z"]), "run.csv"))
    assert answer.codes == ["clock_not_set"]


def test_a_clock_that_was_never_set_gives_way_to_a_known_start(read: Read, write: Write) -> None:
    answer = read(write(log(["1970-01-01T00:00:05Z", "1970-01-01T00:00:06Z"])))
    assert answer.column("time_s") == [at("2026-06-14T07:10:00"), at("2026-06-14T07:10:01")]
    assert answer.codes == ["clock_replaced"]


def test_a_clock_set_while_logging_moves_the_rows_before_next_to_those_after(read: Read, write: Write) -> None:
    cells = ["1970-01-01T00:00:05Z", "1970-01-01T00:00:06Z", "2026-06-14T07:10:00Z", "2026-06-14T07:10:01Z"]
    answer = read(write(log(cells), "run.csv"))
    assert np.diff(answer.column("time_s")).tolist() == [1.0, 1.0, 1.0]
    assert answer.log.ended_s == at("2026-06-14T07:10:01")
    assert answer.codes == ["clock_repaired"]


def test_a_log_from_the_future_is_refused(read: Read, write: Write) -> None:
    path = write(log(["2026-06-14T07:10:00Z", "2026-06-14T07:10:01Z"]), "run.csv")
    os.utime(path, (at("2026-06-10T00:00:00"),) * 2)
    assert read(path).codes == ["clock_not_set"]


def test_a_time_column_of_another_kind_than_the_map_says_is_refused_with_the_way_out(read: Read, write: Write) -> None:
    channel_map = {"time": {"column": "time", "unit": "iso8601"}, "rpm": {"column": "rpm"}}
    answer = read(write(log([0, 1])), channel_map)
    assert answer.codes == ["time_unreadable"]
    assert "epoch_ms" in answer.log.problems[0].way_out


def test_a_row_whose_time_cannot_be_read_is_left_out(read: Read, write: Write) -> None:
    cells: list[Any] = list(range(100))
    cells[60] = "?"
    answer = read(write(log(cells)))
    assert (answer.log.rows, answer.log.rows_dropped) == (99, 1)
    assert 660.0 not in answer.column("rpm")


@given(st.lists(st.integers(0, 60), min_size=1, max_size=80))
@settings(max_examples=200, deadline=None, derandomize=True)
def test_whatever_the_order_the_times_kept_rise_strictly_and_never_more_rows_go_than_must(seconds: list[int]) -> None:
    from pipeline.readers.row_order import rising, spread  # noqa: PLC0415 - the two rules themselves

    times = np.array(seconds, dtype=np.float64)
    keep = rising(times)
    spaced, standing, _ = spread(times[keep])
    assert np.all(np.diff(spaced[~standing]) > 0)
    assert int(keep.sum()) == longest_never_falling(seconds)


def longest_never_falling(values: list[int]) -> int:
    """Length of a longest subsequence that never falls, by trying every end (quadratic, for comparison)."""
    best: list[int] = []
    for at_row, value in enumerate(values):
        best.append(1 + max((best[before] for before in range(at_row) if values[before] <= value), default=0))
    return max(best)
