"""Runs: what starts one, what ends one, and how warm it is."""

from __future__ import annotations

import pytest
from log_maker import Bench, Trip

from pipeline.extract import extract


def test_a_run_lasts_while_the_engine_turns_faster_than_200_rpm(bench: Bench) -> None:
    trip = Trip.warm(rpm=0).at(5, rpm=200).at(7, rpm=201).at(27, rpm=200).until(40)
    runs = bench.measure(trip.log()).runs
    # 200 rpm is not faster than 200; the last turning sample at 20 Hz is the one before 27 s
    assert [(run["at_s"], run["seconds"]) for run in runs] == [(7.0, pytest.approx(19.95))]


def test_a_hole_of_ten_seconds_is_survived_and_a_longer_one_is_not(bench: Bench) -> None:
    log = Trip.warm().until(60).log(10)
    ten = log.only((log.time_s <= 20) | (log.time_s >= 30))
    longer = log.only((log.time_s <= 20) | (log.time_s > 30.05))
    assert [run["seconds"] for run in bench.measure(ten).runs] == [pytest.approx(60)]
    assert [(run["at_s"], run["seconds"]) for run in bench.measure(longer).runs] == [
        (0.0, pytest.approx(20)),
        (30.1, pytest.approx(29.9)),
    ]


def test_speed_that_is_blank_for_up_to_ten_seconds_goes_on(bench: Bench) -> None:
    log = Trip.warm().until(60).log(10)
    assert len(bench.measure(log.blank_but("rpm", 90)).runs) == 1
    assert len(bench.measure(log.blank_but("rpm", 150)).runs) == 5  # every 15 s: at 0, 15, 30, 45 and 60 s


def test_lost_speed_for_less_than_half_a_second_is_no_new_run_and_no_stall(bench: Bench) -> None:
    trip = Trip.warm().at(40, rpm=0).at(40.4, rpm=620).until(80)
    events = bench.measure(trip.log())
    assert [(run["seconds"], run["rpm_dropouts"]) for run in events.runs] == [(pytest.approx(80), 1)]
    assert events.stalls == []


def test_an_engine_that_stops_and_starts_again_has_two_runs(bench: Bench) -> None:
    trip = Trip.warm().at(40, rpm=0).at(43, rpm=620).until(80)
    assert [run["at_s"] for run in bench.measure(trip.log()).runs] == [0.0, 43.0]


def test_without_speed_there_is_no_run(bench: Bench) -> None:
    events = bench.measure(Trip.warm(rpm=None).shift(30, "forward").until(60).log())
    assert {name: len(rows) for name, rows in events.tables.items()} == dict.fromkeys(events.tables, 0)


def test_a_start_below_40_degrees_is_cold(bench: Bench) -> None:
    found = bench.each(Trip.warm(coolant_temp=start_c).until(30).log() for start_c in (39.5, 40.0))
    assert [events.runs[0]["is_cold_start"] for events in found] == [True, False]


def test_coolant_decides_and_oil_only_where_coolant_is_not_logged(bench: Bench) -> None:
    log = Trip.warm(coolant_temp=80, oil_temp=20).until(30).log()
    assert bench.measure(log).runs[0]["is_cold_start"] is False
    assert bench.measure(log.without("coolant_temp")).runs[0]["is_cold_start"] is True


def test_a_coolant_channel_blank_in_the_first_samples_still_decides(bench: Bench) -> None:
    log = Trip.warm(coolant_temp=80, oil_temp=20).until(30).log()
    (run,) = bench.measure(log.blank_but("coolant_temp", 20, phase=7)).runs
    assert (run["is_cold_start"], run["start_temp_c"]) == (False, 80.0)


def test_without_a_temperature_nothing_is_cold_or_hot(bench: Bench) -> None:
    events = bench.measure(Trip.warm(coolant_temp=None, oil_temp=None).until(400).log(5))
    assert [(run["is_cold_start"], run["start_temp_c"]) for run in events.runs] == [(False, None)]
    assert {window["thermal"] for window in events.idle_windows} == {None}


def _thermal(bench: Bench, trip: Trip) -> list[tuple[float, str]]:
    """The middle of each idle window (s) and its thermal state; wider than 40 s a window is cut."""
    windows = bench.measure(trip.log(5)).idle_windows
    return [(window["at_s"] + window["duration_s"] / 2, window["thermal"]) for window in windows]


def test_a_cold_start_is_cold_for_five_minutes_then_hot_from_55_degrees(bench: Bench) -> None:
    states = _thermal(bench, Trip.warm(coolant_temp=20).ramp(0, 600, coolant_temp=80).until(600))
    # 20 + 60 t/600 reaches 55 C at 350 s
    assert all(state == ("cold" if at_s < 300 else "warming" if at_s < 350 else "hot") for at_s, state in states)
    assert {state for _, state in states} == {"cold", "warming", "hot"}


def test_a_start_between_40_and_55_degrees_is_warming_for_five_minutes(bench: Bench) -> None:
    states = _thermal(bench, Trip.warm(coolant_temp=50).at(60, coolant_temp=80).until(420))
    assert all(state == ("warming" if at_s < 300 else "hot") for at_s, state in states)


def test_a_start_at_55_degrees_is_hot_after_one_minute(bench: Bench) -> None:
    states = _thermal(bench, Trip.warm(coolant_temp=55).until(180))
    assert all(state == ("warming" if at_s < 60 else "hot") for at_s, state in states)
    assert {state for _, state in states} == {"warming", "hot"}


def test_a_run_split_over_two_files_is_one_run(bench: Bench) -> None:
    log = Trip.warm().shift(30, "forward").until(80).log(10)
    first, second = log.only(log.time_s < 32), log.only(log.time_s >= 32)
    whole, parts = bench.measure(log), bench.measure(first, second)
    assert [(run["at_s"], run["seconds"]) for run in parts.runs] == [(0.0, pytest.approx(80))]
    unlike = {"log_id"}
    for name, rows in whole.tables.items():
        assert [{key: row[key] for key in row.keys() - unlike} for row in rows] == [
            {key: row[key] for key in row.keys() - unlike} for row in parts.tables[name]
        ]


def test_each_row_names_the_log_in_which_it_began(bench: Bench) -> None:
    log = Trip.warm().shift(30, "forward").shift(50, "neutral").until(80).log(10)
    chain = bench.chain(log.only(log.time_s < 40), log.only(log.time_s >= 40))
    shifts = extract([chain])["shifts"].to_pylist()
    assert [shift["log_id"] for shift in shifts] == [chain.logs[0].log_id, chain.logs[1].log_id]


def test_a_log_without_a_sample_of_a_turning_engine_holds_nothing(bench: Bench) -> None:
    events = bench.measure(Trip.warm(rpm=0).shift(5, "forward").until(10).log())
    assert {name: len(rows) for name, rows in events.tables.items()} == dict.fromkeys(events.tables, 0)


def test_hours_are_the_counter_at_both_ends_of_the_run(bench: Bench) -> None:
    trip = Trip.warm(engine_hours=431.25).ramp(0, 72, engine_hours=431.27).until(72)
    (run,) = bench.measure(trip.log()).runs
    assert (run["first_hours"], run["last_hours"]) == (431.25, pytest.approx(431.27))


def test_even_a_log_of_one_sample_is_measured(bench: Bench) -> None:
    log = Trip.warm().until(0).log()
    assert [run["seconds"] for run in bench.measure(log).runs] == [0.0]
