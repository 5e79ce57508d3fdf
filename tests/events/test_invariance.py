"""What must not change what is measured: the sampling, how logs are cut, ordered or batched, and what stands beside."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from log_maker import START_S, Bench, Events, Log, Row, Trip, events_of
from random_trips import random_log, random_trip

from pipeline.extract import EVENT_TABLES, batches, extract

if TYPE_CHECKING:
    from collections.abc import Mapping

few = settings(
    max_examples=4,
    deadline=None,
    derandomize=True,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)
seeds = st.integers(0, 10**6)


def _rows(events: Events, *but: str) -> dict[str, list[Row]]:
    """All rows without the columns named."""
    return {
        name: [{key: value for key, value in row.items() if key not in but} for row in listed]
        for name, listed in events.tables.items()
    }


def _same(found: object, expected: object, tolerance: float) -> bool:
    if isinstance(found, float) and isinstance(expected, float):
        return abs(found - expected) <= tolerance * max(1.0, abs(expected))
    return found == expected


def _assert_alike(found: Events, expected: Events, *but: str, tolerance: float) -> None:
    """Row by row and column by column; counts of rows must agree."""
    for name in EVENT_TABLES:
        ours, theirs = _rows(found, *but)[name], _rows(expected, *but)[name]
        assert len(ours) == len(theirs), name
        unlike = [
            (name, key, row[key], other[key])
            for row, other in zip(ours, theirs, strict=True)
            for key in row
            if not _same(row[key], other[key], tolerance)
        ]
        assert unlike == []


@few
@given(seed=seeds, share=st.floats(0.05, 0.95))
def test_a_log_split_in_two_files_is_measured_as_one(bench: Bench, seed: int, share: float) -> None:
    log = random_log(seed)
    cut_s = log.time_s[-1] * share
    parts = bench.measure(log.only(log.time_s < cut_s), log.only(log.time_s >= cut_s))
    # only the log that a row names may differ
    assert _rows(parts, "log_id") == _rows(bench.measure(log), "log_id")


@few
@given(seed=seeds, offset_s=st.sampled_from([0.25, 86_400.0, 86_400.0 * 365 + 0.5, -3_600.75]))
def test_a_log_of_another_day_is_measured_alike(bench: Bench, seed: int, offset_s: float) -> None:
    log = random_log(seed)
    there = bench.measure((log, START_S + offset_s))
    # quarters of a second are exact in double precision, so nothing is rounded; run_id and started_at name the moment
    _assert_alike(there, bench.measure(log), "log_id", "run_id", "started_at", tolerance=0)


@few
@given(seed=seeds, offset_s=st.floats(0, 10**7))
def test_a_log_of_any_moment_is_measured_alike(bench: Bench, seed: int, offset_s: float) -> None:
    trip = random_trip(seed)
    # an odd rate, so that no sample falls on the very limit of a rule, where half a microsecond would decide
    log = trip.log(20.3, noise={"rpm": 3, "shift_position": 0.1}, seed=seed)
    there = bench.measure((log, START_S + offset_s))
    # a time since 1970 is rounded to a quarter of a microsecond, and started_at to a whole one
    _assert_alike(there, bench.measure(log), "log_id", "run_id", "started_at", tolerance=2e-6)


@few
@given(seed=seeds)
def test_channels_that_no_event_is_told_from_change_none(bench: Bench, seed: int) -> None:
    log = random_log(seed)
    wave = np.sin(log.time_s)
    richer = log.changed("throttle", 3 + wave).changed("air_temp", 20 + wave).changed("manifold_pressure", 95 + wave)
    with_them, without = bench.measure(richer), bench.measure(log)
    for name in ("shifts", "idle_windows", "stalls", "pick_ups"):
        assert _bare(getattr(with_them, name)) == _bare(getattr(without, name))


def _bare(rows: list[dict[str, object]]) -> list[dict[str, object]]:
    """The rows without the names of the log and the run, which hold the log's content."""
    return [{name: value for name, value in row.items() if name not in {"log_id", "run_id"}} for row in rows]


@few
@given(seed=seeds, order=st.permutations(range(5)))
def test_chains_in_one_pass_in_any_order_give_what_each_gives_alone(bench: Bench, seed: int, order: list[int]) -> None:
    chains = [bench.chain(random_log(seed + number), engine=f"boat{number}/main") for number in range(5)]
    together = extract([chains[number] for number in order])
    for chain in chains:
        alone = extract([chain])
        for name in EVENT_TABLES:
            ours = [row for row in together[name].to_pylist() if row["engine_id"] == chain.engine_id]
            assert ours == alone[name].to_pylist()


def test_what_ends_one_chain_does_not_reach_into_the_next(bench: Bench) -> None:
    # every carried value and open stretch at the end of the first: in gear, helm open, engine turning
    busy = Trip.warm().shift(30, "forward").at(40, pedal=4, gear=0).until(50).log()
    sparse = Trip.warm(pedal=None, shift_position=None, gear=None, oil_temp=None, battery=None).until(60).log()
    open_too = Trip.warm(pedal=4).until(50).log()
    chains = [bench.chain(log, engine=f"b{number}/e") for number, log in enumerate((busy, sparse, open_too))]
    together = extract(chains)
    for chain in chains:
        alone = extract([chain])
        for name in EVENT_TABLES:
            ours = [row for row in together[name].to_pylist() if row["engine_id"] == chain.engine_id]
            assert ours == alone[name].to_pylist()


def test_two_logs_of_one_engine_at_one_time_do_not_mix(bench: Bench) -> None:
    log = Trip.warm().shift(30, "forward").until(60).log()
    found = extract([bench.chain(log), bench.chain(log)])
    assert found["shifts"].num_rows == 2
    assert len({row["log_id"] for row in found["shifts"].to_pylist()}) == 2


@few
@given(seed=seeds)
def test_slow_channels_that_are_blank_between_their_samples_change_little(bench: Bench, seed: int) -> None:
    log = random_trip(seed).log(20, noise={"rpm": 3, "shift_position": 0.1}, seed=seed)
    blank = log
    for number, name in enumerate(
        ("oil_temp", "coolant_temp", "battery", "idle_integral", "fuel_trim", "fuel_closed_loop")
    ):
        blank = blank.blank_but(name, 20, phase=number)
    blank = blank.blank_but("rpm_target", 10)
    full, slow = bench.measure(log), bench.measure(blank)
    exact = {"at_s", "held_s", "settled_pct", "reach_error_pct", "transit_s", "hesitation_s", "duration_s", "rpm_mean"}
    for name in ("runs", "shifts", "idle_windows", "stalls"):
        assert len(full.tables[name]) == len(slow.tables[name])
        for one, other in zip(full.tables[name], slow.tables[name], strict=True):
            # none of what is measured by speed, target, position, lever and helm hangs on a slow channel
            assert {key: one[key] for key in one.keys() & exact} == {key: other[key] for key in one.keys() & exact}
            # a temperature logged once a second in place of twenty times: at most 0.5 C a second in these trips
            for key in one.keys() & {"temp_c", "state_temp_c", "start_temp_c"}:
                assert one[key] == pytest.approx(other[key], abs=1.0)
    for one, other in zip(full.idle_windows, slow.idle_windows, strict=True):
        # integral and trim step only where an idle or a gear begins; one second of a window of 5 s and more may differ
        assert (one["fuel_trim_pct"] is None) == (other["fuel_trim_pct"] is None)
        assert one["is_unsettled"] == other["is_unsettled"]


RATES_HZ = (10, 20, 50, 200)


@pytest.fixture(scope="module")
def at_rates(bench: Bench) -> Mapping[float, Events]:
    """One trip without noise, sampled at several rates."""
    trip = Trip.warm().at(0, idle_integral=-2).shift(40, "forward", settled=88.7, dead_s=0.06, travel_s=0.53)
    trip = trip.at(40, idle_integral=3).at(40.4, rpm=560).at(41.7, rpm=620).shift(70, "neutral", travel_s=0.41)
    trip = trip.at(70, idle_integral=-1).at(95, pedal=30, rpm=3000).at(120, pedal=0, rpm=620).until(160)
    trip.at(150.3, rpm=0).at(155.2, rpm=620)
    return {rate: bench.measure(trip.log(rate)) for rate in RATES_HZ}


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_the_sample_rate_changes_no_more_than_a_sample(at_rates: Mapping[float, Events], rate_hz: float) -> None:
    fine, coarse = at_rates[200], at_rates[rate_hz]
    step_s = 1 / rate_hz + 1e-6
    for name in ("runs", "shifts", "idle_windows", "stalls", "pick_ups"):
        assert len(fine.tables[name]) == len(coarse.tables[name])
    for one, other in zip(fine.shifts, coarse.shifts, strict=True):
        assert (one["from_gear"], one["to_gear"]) == (other["from_gear"], other["to_gear"])
        # both instants of a transit are seen up to one sample late
        assert abs(one["transit_s"] - other["transit_s"]) <= step_s
        # a position at rest is the same at any rate
        assert one["reach_error_pct"] == pytest.approx(other["reach_error_pct"], abs=1e-4)
        assert one["dip_rpm"] == other["dip_rpm"]
    for one, other in zip(fine.idle_windows, coarse.idle_windows, strict=True):
        assert abs(one["at_s"] - other["at_s"]) <= step_s
        # a window loses up to a sample at either end, a piece of it shares its cuts
        assert abs(one["duration_s"] - other["duration_s"]) <= 2 * step_s
        assert one["integral_pct"] == pytest.approx(other["integral_pct"], abs=1e-4)
        assert one["rpm_mean"] == pytest.approx(other["rpm_mean"], abs=1e-3)
        assert (one["thermal"], one["is_unsettled"]) == (other["thermal"], other["is_unsettled"])
    assert fine.stalls[0]["how"] == coarse.stalls[0]["how"]


def test_irregular_samples_change_no_more_than_a_sample(bench: Bench) -> None:
    trip = Trip.warm().shift(40, "forward", settled=88.7).shift(70, "neutral").until(100)
    even, uneven = bench.measure(trip.log(50)), bench.measure(trip.log(50, jitter=0.45, seed=3))
    for one, other in zip(even.shifts, uneven.shifts, strict=True):
        assert abs(one["transit_s"] - other["transit_s"]) <= 2 / 50
        assert one["reach_error_pct"] == pytest.approx(other["reach_error_pct"], abs=1e-4)


def test_a_position_logged_in_every_other_row_is_measured_as_a_log_of_half_the_rate(bench: Bench) -> None:
    trip = Trip.warm().shift(40, "forward", settled=88.7).shift(70, "neutral").until(100)
    blank = bench.measure(trip.log(100).blank_but("shift_position", 2, phase=1))
    full = bench.measure(trip.log(100))
    for one, other in zip(full.shifts, blank.shifts, strict=True):
        assert abs(one["transit_s"] - other["transit_s"]) <= 0.01 + 1e-6
        for key in ("reach_error_pct", "start_pct", "overshoot_pct", "hesitation_s"):
            assert one[key] == pytest.approx(other[key], abs=1e-3)


def test_batches_hold_every_chain_once_and_no_more_rows_than_allowed(bench: Bench) -> None:
    log: Log = Trip.warm().until(1).log()
    chains = [bench.chain(log, engine=f"b{number}/e") for number in range(7)]
    sizes: dict[str, Any] = dict(zip((chain.engine_id for chain in chains), (3, 4, 9, 1, 1, 1, 20), strict=True))
    groups = batches(chains, rows_at_most=10, rows_of=lambda chain: sizes[chain.engine_id])
    assert [[sizes[chain.engine_id] for chain in group] for group in groups] == [[3, 4], [9, 1], [1, 1], [20]]
    assert [chain for group in groups for chain in group] == chains


def test_many_logs_without_a_gear_are_measured_as_each_alone(bench: Bench) -> None:
    # a few rows beyond DuckDB's vectors of 2,048: where the reading loses the order of the rows, these go to its end
    shifting = Trip.warm(gear=None).at(0, shift_target=50).shift(40, "forward", settled=88.7).shift(60, "neutral")
    shifting.channels.pop("gear")
    logs = [shifting.until(2063 / 20 + number).log(20) for number in (0, 0, 0, 3, 0, 7, 0, 0, 0, 11, 0, 0)]
    for log, found in zip(logs, bench.each(logs), strict=True):
        alone = bench.measure(log)
        assert [shift["reach_error_pct"] for shift in found.shifts] == pytest.approx([-1.3, 0.0], abs=1e-4)
        _assert_alike(found, alone, "log_id", "engine_id", "run_id", "started_at", "at_s", tolerance=1e-9)


def test_a_second_call_does_not_see_the_first(bench: Bench) -> None:
    # the private database keeps tables between calls; a second call must not see the first
    chain = bench.chain(random_log(11))
    extract([bench.chain(random_log(12), engine="other/main")])
    first = events_of(extract([chain]))
    assert events_of(extract([chain])).tables == first.tables


def test_a_log_that_is_too_long_for_memory_gives_the_same_events(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    chains = [bench.chain(random_log(11)), bench.chain(random_log(12), engine="other/main")]
    in_memory = events_of(extract(chains)).tables
    with monkeypatch.context() as patched:
        patched.setattr("pipeline.extract._IN_MEMORY_ROWS", 0)
        assert events_of(extract(chains)).tables == in_memory
    assert events_of(extract(chains)).tables == in_memory
