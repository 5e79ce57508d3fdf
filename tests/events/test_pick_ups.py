"""Just off idle in neutral: how lean it swings."""

from __future__ import annotations

import pytest
from log_maker import Bench, Trip


def _lift() -> Trip:
    """The helm opened from 30 to 40 s in neutral, with speed rising evenly from 620 to 1250 rpm."""
    trip = Trip.warm(**{"lambda": 1.0, "lambda_target": 1.0}).at(30, pedal=4).ramp(30, 40, rpm=1250)
    return trip.at(40, pedal=0).at(40, rpm=620)


def test_a_slow_lift_in_neutral_is_found(bench: Bench) -> None:
    (found,) = bench.measure(_lift().until(60).log()).pick_ups
    # at 20 Hz the last sample with the helm open is at 39.95 s: 200 samples
    assert (found["at_s"], found["duration_s"], found["samples"]) == (30.0, pytest.approx(9.95), 200)
    assert found["lean_lambda"] == 0.0


def test_the_lean_swing_is_the_worst_half_second_over_target(bench: Bench) -> None:
    trip = _lift().at(32, **{"lambda": 1.06}).at(32.5, **{"lambda": 0.9}).at(35, **{"lambda": 1.0}).until(60)
    (found,) = bench.measure(trip.log()).pick_ups
    # 30 + 4 x 0.5 s begins a half second of 1.06 over a target of 1.00
    assert found["lean_lambda"] == pytest.approx(0.06, abs=1e-6)


def test_a_target_logged_slower_than_lambda_serves_until_its_next_sample(bench: Bench) -> None:
    trip = _lift().at(0, lambda_target=0.98)
    (found,) = bench.measure(trip.until(60).log().blank_but("lambda_target", 20)).pick_ups
    assert (found["lean_lambda"], found["samples"]) == (pytest.approx(0.02, abs=1e-6), 200)


def test_without_lambda_the_lift_is_listed_without_a_swing(bench: Bench) -> None:
    (found,) = bench.measure(_lift().until(60).log().without("lambda")).pick_ups
    assert (found["lean_lambda"], found["samples"]) == (None, 0)


def test_above_1300_rpm_in_gear_or_right_after_a_shift_is_no_lift_off_idle(bench: Bench) -> None:
    fast = Trip.warm().at(30, pedal=20, rpm=1301).at(40, pedal=0, rpm=620).until(60)
    in_gear = Trip.warm().shift(25, "forward").at(30, pedal=4).at(40, pedal=0).until(60)
    after = Trip.warm().shift(20, "forward").shift(30, "neutral").at(30, pedal=4).at(31.9, pedal=0).until(60)
    assert [bench.measure(trip.log()).pick_ups for trip in (fast, in_gear, after)] == [[], [], []]


def test_a_touch_of_less_than_a_second_is_none(bench: Bench) -> None:
    assert bench.measure(Trip.warm().at(30, pedal=4).at(30.9, pedal=0).until(60).log()).pick_ups == []


def test_a_lift_does_not_reach_into_another_run(bench: Bench) -> None:
    log = Trip.warm().at(30, pedal=4, rpm=900).until(100).log()
    hole = log.only((log.time_s < 40) | (log.time_s > 60))
    # the second run begins at 60.05 s, and its first 10 s are no lift
    assert [round(row["duration_s"], 3) for row in bench.measure(hole).pick_ups] == [9.95, 29.9]


def test_the_flare_of_starting_is_no_lift(bench: Bench) -> None:
    started = Trip.warm(pedal=0.0, idle_active=0.0).at(6, idle_active=1).until(60).log()
    assert bench.measure(started).pick_ups == []


def test_a_remainder_shorter_than_half_a_second_is_not_taken_for_its_mean(bench: Bench) -> None:
    # the lift ends at 39.7 s; its last four samples, from 39.5 s on, are no half second
    trip = _lift().at(39.5, **{"lambda": 1.3}).at(39.7, pedal=0).until(60)
    trip.channels["pedal"] = [piece for piece in trip.channels["pedal"] if piece.from_s != 40]
    (found,) = bench.measure(trip.log()).pick_ups
    assert (found["lean_lambda"], found["samples"]) == (0.0, 194)
