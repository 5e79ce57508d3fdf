"""What is planted where: stories, faults, weather and the dates in the truth."""

from __future__ import annotations

from datetime import date
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest

from demo_fleet.arrays import FORWARD, REVERSE
from demo_fleet.crossings import crossings
from demo_fleet.faults import CAUSES, Fault, condition
from demo_fleet.scenario import Variation, draw_scenario
from demo_fleet.stories import STORIES
from demo_fleet.truth import Truth, fault_rows

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from demo_fleet.lanes import Lane
    from demo_fleet.scenario import Scenario
    from demo_fleet.sensors import Batch

LAST_DAY = date(2026, 6, 14)


def planted(season: Scenario, cause: str) -> Fault:
    return next(fault for fault in season.faults if fault.cause == cause)


def test_the_default_season_plants_every_kind_of_fault(season: Scenario) -> None:
    assert {fault.cause for fault in season.faults} == set(CAUSES)


def test_every_story_plants_only_causes_that_are_described() -> None:
    assert {plant.cause for story in STORIES for plant in story.plants} <= set(CAUSES)


def test_every_story_asks_for_the_engines_it_plants_in() -> None:
    assert all(plant.slot < story.engines for story in STORIES for plant in story.plants)


def test_no_engine_carries_more_than_two_faults_of_its_own(season: Scenario) -> None:
    owners = [(fault.boat, fault.engine) for fault in season.faults]
    assert max(owners.count(owner) for owner in owners) <= 2


def test_most_engines_have_nothing_wrong_on_the_last_morning(season: Scenario) -> None:
    standing = [f for f in season.faults if f.mended is None and f.boat != "*"]
    wrong = {(f.boat, f.engine) for f in standing if f.cause not in {"unit_mismatch", "calibration_change"}}
    engines = sum(len(boat.engines) for boat in season.boats)
    assert engines == 26
    assert len(wrong) < engines / 2


def test_another_seed_deals_the_stories_to_other_boats(season: Scenario) -> None:
    other = draw_scenario(12, 60, 2, LAST_DAY)
    assert [boat.story.name for boat in other.boats] != [boat.story.name for boat in season.boats]


@pytest.mark.parametrize("seed", range(1, 9))
def test_a_story_lands_on_a_boat_with_the_engines_it_needs(seed: int) -> None:
    drawn = draw_scenario(12, 60, seed, LAST_DAY)
    assert all(len(boat.engines) >= boat.story.engines for boat in drawn.boats)


def test_a_growing_fault_is_nothing_before_its_onset_grows_and_ends_when_mended() -> None:
    fault = Fault("b", "e", "end_stop_wear", ("forward",), "growing", 2.0, 10, 29, 40)
    amounts = [fault.amount(day) for day in range(60)]
    assert set(amounts[:10]) == {0.0}
    assert np.all(np.diff(amounts[10:30]) > 0)
    assert amounts[29] == 2.0
    assert set(amounts[40:]) == {0.0}


def test_crossing_dates_are_the_first_days_at_or_beyond_the_limits(season: Scenario) -> None:
    fault = planted(season, "lost_travel")
    days = crossings(season, fault)
    watch, hold = days["crosses_watch_on"], days["crosses_hold_on"]
    assert watch is not None
    assert hold is not None
    # Default limits of the reach error: watch 1, hold 2 (% of travel).
    assert fault.amount(watch - 1) < 1.0 <= fault.amount(watch)
    assert fault.amount(hold - 1) < 2.0 <= fault.amount(hold)


def test_a_fault_that_is_mended_in_time_never_crosses_hold(season: Scenario) -> None:
    mended = [fault for fault in season.faults if fault.mended is not None]
    assert {fault.cause for fault in mended} == {"end_stop_wear", "air_leak"}
    assert all(crossings(season, fault)["crosses_hold_on"] is None for fault in mended)


def test_the_fuel_delivery_reaches_every_engine_from_one_day(season: Scenario) -> None:
    delivery = planted(season, "fuel_delivery")
    for boat in season.boats:
        for engine in boat.engines:
            only = [delivery]
            assert condition(only, boat.id, engine.id, delivery.onset - 1).lean == 0.0
            assert condition(only, boat.id, engine.id, delivery.onset).lean == delivery.size


def test_a_new_target_follows_what_the_unit_reaches(season: Scenario) -> None:
    reset = next(f for f in season.faults if f.cause == "calibration_change" and f.facets == ("forward",))
    mismatch = next(f for f in season.faults if f.cause == "unit_mismatch" and f.engine == reset.engine)
    assert reset.boat == mismatch.boat
    assert reset.size == mismatch.size


def test_the_cold_spell_is_colder_than_the_days_around_it(season: Scenario) -> None:
    begins, ends = season.weather.cold_spell
    around = np.concatenate([season.weather.air_c[begins - 8 : begins], season.weather.air_c[ends : ends + 8]])
    assert season.weather.air_c[begins:ends].mean() < around.mean() - 5.0


def test_one_boat_falls_silent_longer_than_the_register_allows(season: Scenario, lanes: tuple[Lane, ...]) -> None:
    silent = next(boat for boat in season.boats if boat.story.silent is not None)
    last = max(lane.outing.day for lane in lanes if lane.outing.boat.id == silent.id)
    assert season.days - 1 - last > 3


def test_every_other_boat_was_out_on_one_of_the_last_two_days(season: Scenario, lanes: tuple[Lane, ...]) -> None:
    for boat in season.boats:
        last = max(lane.outing.day for lane in lanes if lane.outing.boat.id == boat.id)
        assert boat.story.silent is not None or last >= season.days - 2


def test_one_boat_never_uses_reverse_and_the_others_do(season: Scenario, lanes: tuple[Lane, ...]) -> None:
    for boat in season.boats:
        gears = {gear for lane in lanes if lane.outing.boat.id == boat.id for _, gear in lane.gears}
        assert (REVERSE in gears) is not boat.story.never_reverse
        assert FORWARD in gears


def test_logs_of_a_boat_start_in_order_and_never_overlap(lanes: tuple[Lane, ...]) -> None:
    for boat in {lane.outing.boat.id for lane in lanes}:
        outings = list(
            dict.fromkeys((lane.outing.started, lane.outing.helm.now) for lane in lanes if lane.outing.boat.id == boat)
        )
        gaps = [(later[0] - earlier[0]).total_seconds() - earlier[1] for earlier, later in pairwise(outings)]
        assert min(gaps) > 10.0


def test_engine_hours_only_grow(lanes: tuple[Lane, ...]) -> None:
    hours: dict[tuple[str, str], float] = {}
    for lane in lanes:
        key = (lane.outing.boat.id, lane.engine.id)
        assert lane.hours > hours.get(key, 0.0)
        hours[key] = lane.hours


def test_the_engine_without_idle_margin_dies_and_is_started_again(
    season: Scenario, simulated: Callable[[str, str, Sequence[int]], Batch]
) -> None:
    fault = planted(season, "idle_margin")
    truth = Truth()
    batch = simulated(fault.boat, fault.engine, [season.days - 1])
    truth.add(batch, ["log"] * len(batch.lanes))
    from_standing = [row for row in truth.runs if row["starts"] > 0]
    assert from_standing
    assert all((row["starts"], row["stalls"]) == (2, 1) for row in from_standing)


def test_the_truth_of_a_worn_end_is_what_was_planted(
    season: Scenario, simulated: Callable[[str, str, Sequence[int]], Batch]
) -> None:
    fault = next(f for f in season.faults if f.cause == "end_stop_wear" and f.mended is None)
    truth = Truth()
    batch = simulated(fault.boat, fault.engine, [season.days - 2, season.days - 1])
    truth.add(batch, ["log"] * len(batch.lanes))
    worn = [row for row in truth.shifts if row["to_gear"] in fault.facets]
    shortfall = [abs(row["settled_true_pct"] - row["target_pct"]) for row in worn]
    assert np.median(shortfall) == pytest.approx(fault.size, abs=0.2)


def test_fault_rows_name_dates_of_the_season(season: Scenario) -> None:
    for row in fault_rows(season):
        assert season.first_day <= date.fromisoformat(row["onset"]) <= season.last_day
        assert row["cause"] in CAUSES


def test_scattered_faults_follow_the_share_asked_for() -> None:
    drawn = draw_scenario(12, 60, 3, LAST_DAY, Variation(planting="scattered", fault_share=1.0, engines=2))
    assert {(f.boat, f.engine) for f in drawn.faults} == {(b.id, e.id) for b in drawn.boats for e in b.engines}
    assert draw_scenario(3, 10, 3, LAST_DAY, Variation(planting="none")).faults == ()


def test_travel_can_run_the_other_way_round() -> None:
    drawn = draw_scenario(2, 5, 3, LAST_DAY, Variation(forward_low_share=1.0))
    assert all(e.targets[FORWARD] < e.targets[0] < e.targets[REVERSE] for b in drawn.boats for e in b.engines)
