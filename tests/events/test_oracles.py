"""The event queries against two tellings of the contract that were written apart: plain numpy, and ordered SQL."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import oracle_numpy
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from log_maker import Bench, Events, Log, Row
from random_trips import random_log

from pipeline.database import rows, scratch

if TYPE_CHECKING:
    from collections.abc import Sequence

ORACLE_SQL = (Path(__file__).parent / "oracle.sql").read_text(encoding="utf-8")
LOGS_AT_ONCE = 6

few = settings(
    max_examples=4,
    deadline=None,
    derandomize=True,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)
seeds = st.lists(st.integers(0, 10**6), min_size=LOGS_AT_ONCE, max_size=LOGS_AT_ONCE, unique=True)


def _whole_windows(pieces: Sequence[Row]) -> list[Row]:
    """Pieces that follow each other put together again: first and last sample, samples, mean speed, pooled spread."""
    whole: list[Row] = []
    for piece in pieces:
        end_s = piece["at_s"] + piece["duration_s"]
        if whole and piece["at_s"] - whole[-1]["to_s"] < 1 and whole[-1]["gear"] == piece["gear"]:
            whole[-1]["to_s"] = end_s
            whole[-1]["pieces"].append(piece)
        else:
            whole.append({"from_s": piece["at_s"], "to_s": end_s, "gear": piece["gear"], "pieces": [piece]})
    return whole


def _mean(pieces: Sequence[Row], column: str) -> float:
    return sum(row[column] * row["samples"] for row in pieces) / sum(row["samples"] for row in pieces)


@few
@given(seeds=seeds)
def test_runs_shifts_and_idle_are_those_of_plain_numpy(bench: Bench, seeds: list[int]) -> None:
    logs = [random_log(seed) for seed in seeds]
    for log, events in zip(logs, bench.each(logs), strict=True):
        _agrees_on_runs(events, oracle_numpy.runs(log))
        _agrees_on_shifts(events, log)
        _agrees_on_idle(events, log)


def _agrees_on_runs(events: Events, expected: list[tuple[float, float]]) -> None:
    found = [(run["at_s"], run["at_s"] + run["seconds"]) for run in events.runs]
    assert len(found) == len(expected)
    for one, other in zip(found, expected, strict=True):
        assert one == pytest.approx(other, abs=2e-6)  # a time stamp holds microseconds


def _agrees_on_shifts(events: Events, log: Log) -> None:
    expected = oracle_numpy.shifts(log)
    assert [shift["at_s"] for shift in events.shifts] == pytest.approx([each.step_s for each in expected], abs=2e-6)
    for shift, other in zip(events.shifts, expected, strict=True):
        assert shift["from_target_pct"] == pytest.approx(other.from_target_pct)
        assert shift["target_pct"] == pytest.approx(other.to_target_pct)
        if other.is_close:
            continue  # the plateau lasts half a second, a sample more or less
        assert (shift["settled_pct"] is None) == (other.settled_pct is None)
        if other.settled_pct is not None:
            assert shift["settled_pct"] == pytest.approx(other.settled_pct, abs=1e-4)
            assert shift["reach_error_pct"] == pytest.approx(other.settled_pct - other.to_target_pct, abs=1e-4)
            assert shift["at_s"] + shift["transit_s"] == pytest.approx(other.arrived_s, abs=2e-6)


def _agrees_on_idle(events: Events, log: Log) -> None:
    expected = oracle_numpy.idle_windows(log)
    found = _whole_windows(events.idle_windows)
    assert len(found) == len(expected)
    for window, other in zip(found, expected, strict=True):
        pieces = window["pieces"]
        assert (window["from_s"], window["to_s"]) == pytest.approx((other.from_s, other.to_s), abs=3e-6)
        assert sum(piece["samples"] for piece in pieces) == other.samples
        assert _mean(pieces, "rpm_mean") == pytest.approx(other.rpm_mean, rel=1e-6)
        assert _mean(pieces, "fuel_trim_pct") == pytest.approx(other.trim_mean, rel=1e-5, abs=1e-6)
        if len(pieces) == 1:
            assert pieces[0]["rpm_sd"] == pytest.approx(other.rpm_sd, rel=1e-5)
        for piece in pieces:
            if not piece["is_unsettled"]:
                end_s = piece["at_s"] + piece["duration_s"]
                mean = oracle_numpy.integral_mean(log, piece["at_s"], end_s, other.settled_from_s)
                assert piece["integral_pct"] == pytest.approx(mean, rel=1e-5, abs=1e-6)


@few
@given(seeds=seeds)
def test_runs_shifts_and_idle_are_those_of_ordered_sql(bench: Bench, seeds: list[int]) -> None:
    logs = [random_log(seed) for seed in seeds]
    for log, events in zip(logs, bench.each(logs), strict=True):
        told = _told_in_sql(log)
        _agrees_on_runs(events, [(row["from_s"], row["to_s"]) for row in told["runs"]])
        assert [shift["at_s"] for shift in events.shifts] == pytest.approx(
            [row["step_s"] for row in told["shifts"]], abs=2e-6
        )
        for shift, row in zip(events.shifts, told["shifts"], strict=True):
            assert (shift["from_target_pct"], shift["target_pct"]) == (row["from_target"], row["to_target"])
            if row["settled"] is not None:
                assert shift["settled_pct"] == pytest.approx(row["settled"], abs=1e-4)
                assert shift["at_s"] + shift["transit_s"] == pytest.approx(row["arrived_s"], abs=2e-6)
        found = _whole_windows(events.idle_windows)
        assert [window["from_s"] for window in found] == pytest.approx(
            [row["from_s"] for row in told["windows"]], abs=2e-6
        )
        for window, row in zip(found, told["windows"], strict=True):
            assert window["to_s"] == pytest.approx(row["to_s"], abs=3e-6)
            assert _mean(window["pieces"], "rpm_mean") == pytest.approx(row["rpm_mean"], rel=1e-6)
            assert _mean(window["pieces"], "fuel_trim_pct") == pytest.approx(row["trim_mean"], rel=1e-5, abs=1e-6)


def _told_in_sql(log: Log) -> dict[str, list[Row]]:
    db = scratch()
    db.register("oracle_samples", log.table(start_s=0.0))
    db.execute(ORACLE_SQL)
    told = {name: rows(db, f"select * from oracle_{name}") for name in ("runs", "shifts", "windows")}
    db.unregister("oracle_samples")
    return told


def test_the_random_logs_hold_what_the_oracles_are_asked_about(bench: Bench) -> None:
    logs = [random_log(seed) for seed in range(24)]
    found = bench.each(logs)
    assert sum(len(events.runs) > 1 for events in found) >= 5
    assert sum(shift["settled_pct"] is not None for events in found for shift in events.shifts) >= 40
    assert sum(shift["settled_pct"] is None for events in found for shift in events.shifts) >= 5
    assert sum(window["is_unsettled"] for events in found for window in events.idle_windows) >= 2
    assert sum(window["thermal"] == "cold" for events in found for window in events.idle_windows) >= 5
