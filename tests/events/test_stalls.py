"""Stalls: an engine that dies in or out of gear, or at idle; and what is none."""

from __future__ import annotations

import pytest
from log_maker import Bench, Trip, events_of

from pipeline.extract import extract


def _stalls(bench: Bench, trip: Trip) -> list[tuple[float, str | None, str]]:
    return [(row["at_s"], row["gear"], row["how"]) for row in bench.measure(trip.log()).stalls]


def _dies(trip: Trip, at_s: float) -> Trip:
    """Runs down from idle within half a second: below 200 rpm, then below 100 at `at_s`."""
    return trip.at(at_s - 0.3, rpm=350).at(at_s - 0.1, rpm=150).at(at_s, rpm=0)


def test_dying_within_five_seconds_of_going_into_gear_is_a_stall(bench: Bench) -> None:
    assert _stalls(bench, _dies(Trip.warm().shift(40, "forward"), 42).until(60)) == [(42.0, "forward", "shift")]


def test_dying_later_in_gear_with_a_restart_is_a_stall_from_idle(bench: Bench) -> None:
    trip = _dies(Trip.warm().shift(40, "reverse"), 47).at(60, rpm=620).until(90)
    assert _stalls(bench, trip) == [(47.0, "reverse", "idle")]


def test_dying_on_leaving_gear_with_a_restart_is_a_stall(bench: Bench) -> None:
    trip = _dies(Trip.warm().shift(40, "forward").shift(50, "neutral"), 52).at(60, rpm=620).until(90)
    assert _stalls(bench, trip) == [(52.0, "neutral", "shift")]


def test_dying_at_idle_is_a_stall_where_it_is_started_again_within_a_minute(bench: Bench) -> None:
    trips = [_dies(Trip.warm(), 50).at(50 + restart_s, rpm=620).until(140) for restart_s in (59.5, 60.5)]
    found = bench.each(trip.log() for trip in trips)
    assert [[stall["restart_s"] for stall in events.stalls] for events in found] == [[pytest.approx(59.5)], []]


def test_stopping_the_engine_at_the_end_of_a_log_is_none(bench: Bench) -> None:
    assert _stalls(bench, _dies(Trip.warm(), 50).until(53)) == []
    assert _stalls(bench, _dies(Trip.warm().shift(40, "forward").shift(48, "neutral"), 50).until(53)) == []


def test_a_log_that_ends_with_the_engine_turning_is_none(bench: Bench) -> None:
    assert _stalls(bench, Trip.warm().shift(40, "forward").until(42)) == []


def test_stopping_from_speed_is_none(bench: Bench) -> None:
    trip = Trip.warm().at(30, pedal=60).at(31, rpm=4000).at(50, rpm=0).at(55, rpm=620).until(80)
    assert _stalls(bench, trip) == []


def test_speed_that_stays_above_100_rpm_is_none(bench: Bench) -> None:
    assert _stalls(bench, Trip.warm().shift(40, "forward").at(42, rpm=150).at(44, rpm=620).until(60)) == []


def test_a_restart_in_another_log_does_not_make_a_stall(bench: Bench) -> None:
    log = _dies(Trip.warm(), 50).at(70, rpm=620).until(100).log()
    first, later = log.only(log.time_s < 52), log.only(log.time_s >= 70)
    assert events_of(extract([bench.chain(first), bench.chain(later)])).stalls == []


def test_a_stall_belongs_to_the_run_that_it_ended(bench: Bench) -> None:
    events = bench.measure(_dies(Trip.warm().shift(40, "forward"), 42).at(50, rpm=620).until(90).log())
    assert [stall["run_id"] for stall in events.stalls] == [events.runs[0]["run_id"]]
    assert len(events.runs) == 2
