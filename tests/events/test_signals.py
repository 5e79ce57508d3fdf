"""Signals that cannot be believed are data findings; nothing is concluded about the engine from them."""

from __future__ import annotations

import numpy as np
import pytest
from log_maker import Bench, Events, Log, Trip


def _shifting() -> Trip:
    """Six shifts, ten seconds apart, between neutral and forward."""
    trip = Trip.warm()
    for number in range(6):
        trip.shift(30 + 10 * number, "forward" if number % 2 == 0 else "neutral", settled=88 if number % 2 == 0 else 50)
    return trip.until(95)


@pytest.fixture(scope="module")
def log() -> Log:
    return _shifting().log(50, noise={"rpm": 4, "shift_position": 0.1})


def _reach(events: Events) -> list[float | None]:
    return [shift["reach_error_pct"] for shift in events.shifts]


def test_a_sound_log_has_no_fault(bench: Bench, log: Log) -> None:
    events = bench.measure(log)
    assert events.signals == []
    assert _reach(events) == [pytest.approx(each, abs=0.05) for each in (-2, 0, -2, 0, -2, 0)]


def test_a_flat_position_is_a_signal_fault_and_never_a_reach_error(bench: Bench, log: Log) -> None:
    events = bench.measure(log.changed("shift_position", 61.3))
    assert events.faults("shift_position") == ["flat"]
    assert _reach(events) == [None] * 6
    assert {shift["why_null"] for shift in events.shifts} == {"position is a flat line"}
    assert [shift["transit_s"] for shift in events.shifts] == [None] * 6


def test_a_position_stuck_at_an_end_is_a_signal_fault_and_never_a_reach_error(bench: Bench, log: Log) -> None:
    trembling = np.random.default_rng(2).normal(0, 0.05, len(log.time_s))
    for events in bench.each(log.changed("shift_position", end) for end in (0.0, 100.0, trembling, 100 + trembling)):
        assert events.faults("shift_position") == ["stuck"]
        assert _reach(events) == [None] * 6


def test_a_position_that_dies_in_mid_run_is_a_signal_fault(bench: Bench, log: Log) -> None:
    dead = np.where(log.time_s > 55, 63.0, log.channels["shift_position"])
    events = bench.measure(log.changed("shift_position", dead))
    assert events.faults("shift_position") == ["flat"]
    # the shifts at 60, 70 and 80 s; three of six
    assert [shift["why_null"] for shift in events.shifts[3:]] == ["position is a flat line"] * 3
    assert events.signals[0]["share"] == pytest.approx(0.5)


def test_spikes_are_a_signal_fault_and_leave_the_reach_error_alone(bench: Bench, log: Log) -> None:
    spiked = log
    for at_s in (35.0, 37.0, 47.0, 58.0):
        spiked = spiked.glitch("shift_position", at_s, 20.0)
    events = bench.measure(spiked)
    assert events.faults("shift_position") == ["spiking"]
    assert events.signals[0]["share"] == pytest.approx(4 / len(log.time_s))
    assert _reach(events) == [pytest.approx(each, abs=0.05) for each in (-2, 0, -2, 0, -2, 0)]


def test_spikes_are_seen_where_the_position_is_logged_in_every_other_row(bench: Bench, log: Log) -> None:
    spiked = log.blank_but("shift_position", 2)
    for at_s in (35.0, 37.0, 47.0, 58.0):
        spiked = spiked.glitch("shift_position", at_s, 20.0)
    assert bench.measure(spiked).faults("shift_position") == ["spiking"]


def test_two_single_glitches_are_no_fault(bench: Bench, log: Log) -> None:
    events = bench.measure(log.glitch("shift_position", 35.0, 20.0).glitch("shift_position", 47.0, 20.0))
    assert events.faults("shift_position") == []


def test_jumps_that_no_actuator_makes_are_a_signal_fault_and_never_a_reach_error(bench: Bench, log: Log) -> None:
    # a loose plug: for a second each time the position reads 25 % too high
    loose = sum(((log.time_s >= at_s) & (log.time_s < at_s + 1)) * 25.0 for at_s in (35, 45, 65))
    events = bench.measure(log.changed("shift_position", log.channels["shift_position"] + loose))
    assert events.faults("shift_position") == ["impossible"]
    assert _reach(events) == [None] * 6


def test_a_position_given_as_a_fraction_is_in_the_wrong_unit(bench: Bench, log: Log) -> None:
    events = bench.measure(log.changed("shift_position", log.channels["shift_position"] / 100))
    assert events.faults("shift_position") == ["wrong unit"]
    assert _reach(events) == [None] * 6


def test_lost_speed_samples_are_spikes(bench: Bench, log: Log) -> None:
    spiked = log.glitch("rpm", 35, 3000).glitch("rpm", 45, 3000).glitch("rpm", 55, 3000)
    assert bench.measure(spiked).faults("rpm") == ["spiking"]


def test_a_speed_that_never_varies_is_flat(bench: Bench, log: Log) -> None:
    assert bench.measure(log.changed("rpm", 620.0)).faults("rpm") == ["flat"]


def test_a_temperature_that_stands_through_a_cold_start_is_flat(bench: Bench) -> None:
    log = Trip.warm(coolant_temp=20, oil_temp=20).ramp(0, 300, oil_temp=60).until(300).log(5, noise={"rpm": 4})
    events = bench.measure(log)
    assert events.faults("coolant_temp") == ["flat"]
    assert events.faults("oil_temp") == []


OTHER_UNITS = [
    ("lambda", 14.6, "wrong unit"),  # an air-fuel ratio
    ("coolant_temp", 176.0, "wrong unit"),  # 80 C in F: 80 x 9/5 + 32
    ("oil_temp", 194.0, "wrong unit"),  # 90 C in F: 90 x 9/5 + 32
    ("coolant_temp", 353.15, "wrong unit"),  # 80 C in K
    ("battery", 13800.0, "wrong unit"),  # millivolts
]


def test_a_value_in_another_unit_is_a_data_finding(bench: Bench, log: Log) -> None:
    trembling = 1 + 0.001 * np.sin(log.time_s)
    found = bench.each(log.changed(channel, value * trembling) for channel, value, _ in OTHER_UNITS)
    for events, (channel, _, fault) in zip(found, OTHER_UNITS, strict=True):
        assert events.faults(channel) == [fault]


def test_a_still_position_without_a_shift_is_no_fault(bench: Bench) -> None:
    assert bench.measure(Trip.warm().until(90).log(noise={"rpm": 4})).signals == []


def test_a_blip_too_brief_for_the_actuator_to_move_is_no_flat_line(bench: Bench) -> None:
    trip = Trip.warm().shift(30, "forward", dead_s=9, travel_s=0).at(30.4, shift_target=50, gear=0)
    trip.channels["shift_position"] = trip.channels["shift_position"][:1]
    events = bench.measure(trip.shift(45, "forward").until(60).log(noise={"rpm": 4}))
    assert events.faults("shift_position") == []


@pytest.mark.parametrize("count_h", [909.2, 122.7, 564.6])
def test_a_counter_that_stands_through_a_short_log_does_not_count_backwards(bench: Bench, count_h: float) -> None:
    # it counts in tenths of an hour; parts of uneven length have means of the same value that differ by rounding
    log = Trip.warm().at(0, engine_hours=count_h).shift(40, "forward").shift(70, "neutral").until(300).log(20)
    for seed in range(6):
        kept = np.random.default_rng(seed).random(len(log.time_s)) > 0.1
        assert bench.measure(log.only(kept)).faults("engine_hours") == []


def test_a_counter_that_counts_backwards_is_impossible(bench: Bench) -> None:
    trip = Trip.warm().at(0, engine_hours=909.2).at(150, engine_hours=909.1).until(300)
    assert bench.measure(trip.log(20)).faults("engine_hours") == ["impossible"]
