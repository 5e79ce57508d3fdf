"""Idle windows: what belongs in one, and which part of it counts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from log_maker import Bench, Row, Trip

if TYPE_CHECKING:
    from collections.abc import Iterable


def _spans(rows: list[Row]) -> list[tuple[float, float]]:
    return [(row["at_s"], round(row["at_s"] + row["duration_s"], 6)) for row in rows]


def _idle(bench: Bench, trip: Trip, rate_hz: float = 10) -> list[tuple[float, float]]:
    return _spans(bench.measure(trip.log(rate_hz)).idle_windows)


def test_idle_begins_twenty_seconds_after_the_start(bench: Bench) -> None:
    # at 10 Hz the first sample older than 20 s is the one at 20.1 s
    assert _idle(bench, Trip.warm().until(50)) == [(20.1, 50.0)]


def test_idle_begins_four_seconds_after_a_shift(bench: Bench) -> None:
    spans = _idle(bench, Trip.warm().shift(40, "forward").until(60))
    assert spans == [(20.1, 39.9), (44.1, 60.0)]


def _is_idle(bench: Bench, trips: Iterable[Trip]) -> list[bool]:
    """Whether each trip has an idle window."""
    return [bool(events.idle_windows) for events in bench.each(trip.log(10) for trip in trips)]


def test_a_window_lasts_five_seconds_or_more(bench: Bench) -> None:
    ends_s = (34.9, 35.3)  # the last sample at rest comes 0.1 s before
    trips = [Trip.warm(pedal=8).at(30, pedal=0).at(end_s, pedal=8).until(50) for end_s in ends_s]
    assert _is_idle(bench, trips) == [False, True]


def test_the_helm_is_at_rest_up_to_one_percent(bench: Bench) -> None:
    assert _is_idle(bench, [Trip.warm(pedal=pedal).until(50) for pedal in (1.0, 1.1)]) == [True, False]


def test_an_active_idle_loop_tells_rest_where_the_helm_is_not_logged(bench: Bench) -> None:
    trip = Trip.warm(pedal=None, idle_active=1).at(40, idle_active=0).until(60)
    assert _idle(bench, trip) == [(20.1, 39.9)]


def test_without_helm_and_loop_state_no_idle_is_claimed(bench: Bench) -> None:
    assert _idle(bench, Trip.warm(pedal=None).until(60)) == []


def test_speed_is_within_150_rpm_of_its_target(bench: Bench) -> None:
    trips = [Trip.warm(rpm=rpm).until(50) for rpm in (469, 470, 770, 771)]
    assert _is_idle(bench, trips) == [False, True, True, False]


def test_without_a_target_idle_is_450_to_1000_rpm(bench: Bench) -> None:
    trips = [Trip.warm(rpm=rpm, rpm_target=None).until(50) for rpm in (449, 450, 1000, 1001)]
    assert _is_idle(bench, trips) == [False, True, True, False]


def test_a_window_has_one_gear(bench: Bench) -> None:
    # the lever moves, the target does not: no shift, yet two gears asked for
    windows = bench.measure(Trip.warm().at(40, gear=1).until(60).log(10)).idle_windows
    assert _spans(windows) == [(20.1, 39.9), (40.0, 60.0)]
    assert [window["gear"] for window in windows] == ["neutral", "forward"]


def test_a_long_window_is_cut_in_even_pieces_of_twenty_seconds_or_more(bench: Bench) -> None:
    windows = bench.measure(Trip.warm().until(120).log(10)).idle_windows
    # 99.9 s: four pieces, each a quarter of it, that leave no sample out
    assert len(windows) == 4
    assert sum(window["samples"] for window in windows) == 1000
    assert all(window["duration_s"] == pytest.approx(99.9 / 4, abs=0.11) for window in windows)


def test_the_integral_counts_from_ten_seconds_after_the_shift(bench: Bench) -> None:
    # the loop re-converges from +8 to +2 % over 10 s after the shift at 40 s
    trip = Trip.warm().shift(40, "forward").at(40, idle_integral=8).ramp(40, 50, idle_integral=2).until(60)
    window = bench.measure(trip.log(10)).idle_windows[-1]
    assert window["at_s"] == 44.1
    assert window["integral_pct"] == pytest.approx(2.0, abs=1e-5)
    assert window["is_unsettled"] is False


def test_the_integral_counts_from_ten_seconds_after_the_helm_closes(bench: Bench) -> None:
    trip = Trip.warm().at(30, pedal=20).at(40, pedal=0).at(40, idle_integral=8).at(50, idle_integral=-3).until(65)
    window = bench.measure(trip.log(10)).idle_windows[-1]
    assert (window["at_s"], window["integral_pct"]) == (40.0, -3.0)


def test_a_window_that_ends_before_gives_its_last_half_and_says_so(bench: Bench) -> None:
    # idle from 44.1 to 48 s is too short; to 50.1 s it is 6 s, of which the last half runs from 47.1 s
    trip = Trip.warm().shift(40, "forward").at(40, idle_integral=8).at(47.05, idle_integral=4)
    trip = trip.at(50.15, pedal=9).until(60)
    window = bench.measure(trip.log(10)).idle_windows[-1]
    assert _spans([window]) == [(44.1, 50.1)]
    assert (window["integral_pct"], window["is_unsettled"]) == (4.0, True)


def test_a_temperature_is_oil_and_coolant_where_oil_is_not_logged(bench: Bench) -> None:
    log = Trip.warm(oil_temp=61, coolant_temp=78).until(50).log(10)
    (both,) = bench.measure(log).idle_windows
    (coolant,) = bench.measure(log.without("oil_temp")).idle_windows
    (oil,) = bench.measure(log.without("coolant_temp")).idle_windows
    assert [(row["temp_c"], row["state_temp_c"], row["coolant_c"]) for row in (both, coolant, oil)] == [
        (61.0, 78.0, 78.0),
        (78.0, 78.0, 78.0),
        (61.0, 61.0, None),
    ]


def test_trim_is_the_mean_of_closed_loop_samples(bench: Bench) -> None:
    trip = Trip.warm(fuel_trim=0, fuel_closed_loop=0).at(30, fuel_closed_loop=1, fuel_trim=3).until(39)
    (window,) = bench.measure(trip.log(10)).idle_windows
    assert window["fuel_trim_pct"] == 3.0


def test_in_open_loop_there_is_no_trim(bench: Bench) -> None:
    (window,) = bench.measure(Trip.warm(fuel_trim=2, fuel_closed_loop=0).until(45).log(10)).idle_windows
    assert window["fuel_trim_pct"] is None


def test_the_loop_state_may_be_logged_slower_than_the_trim(bench: Bench) -> None:
    log = Trip.warm(fuel_trim=3).until(45).log(10)
    staggered = log.blank_but("fuel_closed_loop", 10).blank_but("fuel_trim", 5, phase=3)
    (window,) = bench.measure(staggered).idle_windows
    assert window["fuel_trim_pct"] == 3.0


def test_where_the_loop_state_is_not_logged_a_trim_of_zero_throughout_is_an_open_loop(bench: Bench) -> None:
    moving = Trip.warm(fuel_closed_loop=None, fuel_trim=0.5).until(45)
    still = Trip.warm(fuel_closed_loop=None, fuel_trim=0).until(45)
    assert bench.measure(moving.log(10)).idle_windows[0]["fuel_trim_pct"] == 0.5
    assert bench.measure(still.log(10)).idle_windows[0]["fuel_trim_pct"] is None


def test_speed_mean_and_spread_are_of_the_window(bench: Bench) -> None:
    log = Trip.warm().until(50).log(10)
    wave = 618 + 6 * np.sin(2 * np.pi * log.time_s / 0.8)
    (window,) = bench.measure(log.changed("rpm", wave)).idle_windows
    inside = wave[log.time_s > 20].astype(np.float32).astype(float)
    assert window["rpm_mean"] == pytest.approx(inside.mean())
    assert window["rpm_sd"] == pytest.approx(inside.std(ddof=1))
    assert (window["rpm_target"], window["samples"]) == (620.0, 300)


def test_a_window_does_not_reach_over_a_stop_or_a_hole(bench: Bench) -> None:
    stopped = Trip.warm().at(45, rpm=0).at(46, rpm=620).until(80)
    log = Trip.warm().until(80).log(10)
    hole = log.only((log.time_s <= 45) | (log.time_s >= 50))
    assert _idle(bench, stopped) == [(20.1, 44.9), (66.1, 80.0)]
    assert _spans(bench.measure(hole).idle_windows) == [(20.1, 45.0), (50.0, 80.0)]


def test_idle_of_an_engine_whose_gear_cannot_be_told_has_no_gear(bench: Bench) -> None:
    log = Trip.warm(gear=None, shift_target=None, shift_position=None).until(50).log(10)
    (window,) = bench.measure(log).idle_windows
    assert (window["gear"], window["integral_pct"], window["battery_v"]) == (None, -2.0, pytest.approx(13.8))
