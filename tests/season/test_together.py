"""What the whole fleet did at once: found on its day with its size, and told from a few engines' own faults."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pytest
from scipy.stats import norm
from season_maker import DAY_S, FIRST_RUN, judged, made_series, noisy

from pipeline.catalogue import indicators
from pipeline.history import History, Series
from pipeline.season.fleet import season
from pipeline.season.together import CommonStep, Residuals, common_offset, common_steps

TRIM = indicators()["idle_fuel_trim"]
START_S = float(np.floor(FIRST_RUN.timestamp() / DAY_S) * DAY_S)
STEP_DAY = 30


def residuals(boat: int, engine: str, step: float, *, days: np.ndarray | None = None, sd: float = 0.4) -> Residuals:
    """Sixty daily runs of one engine, `step` higher from day 30 on."""
    day = np.arange(60.0) if days is None else days
    series = made_series(
        noisy(day.size, sd, first=5 * boat + len(engine)) + np.where(day >= STEP_DAY, step, 0.0),
        "idle_fuel_trim",
        "hot",
        engine_id=f"boat-{boat}/{engine}",
        days=day,
    )
    return Residuals(series.key, series.at_s, series.value)


def fleet(step: float, boats: int = 6) -> list[Residuals]:
    return [residuals(boat, engine, step) for boat in range(boats) for engine in ("port", "starboard")]


@pytest.mark.parametrize("size", [-2.5, 1.5, 3.0])
def test_a_step_of_every_engine_is_found_on_its_day_with_its_size(size: float) -> None:
    (step,) = common_steps(fleet(size), TRIM, "hot")

    assert step.at_s == START_S + STEP_DAY * DAY_S
    assert step.size == pytest.approx(size, abs=0.2)
    assert (step.engines, step.engines_seen, step.boats) == (12, 12, 6)


def test_a_step_begins_with_the_fleet_s_own_day() -> None:
    zone = ZoneInfo("Pacific/Auckland")
    step = common_steps(fleet(3.0), TRIM, "hot", zone)[0]

    # the last run before it was at 08:00 UTC, 21:00 in Auckland, the first one after it at 21:00 the next day
    assert step.began.tzinfo == zone
    assert (step.began.hour, step.began.minute) == (0, 0)
    assert 0 < START_S + STEP_DAY * DAY_S + 8 * 3600 - step.at_s < DAY_S


def test_a_quiet_fleet_took_no_step() -> None:
    assert common_steps(fleet(0.0), TRIM, "hot") == ()


def test_three_faulty_engines_are_no_step_of_the_fleet() -> None:
    members = fleet(0.0)
    faulty = [residuals(boat, "port", 6.0) for boat in (0, 2, 4)]
    engines = {each.key.engine_id: each for each in [*members, *faulty]}

    assert common_steps(list(engines.values()), TRIM, "hot") == ()


def test_three_engines_are_too_few_for_a_fleet_and_so_are_two_boats() -> None:
    assert common_steps([residuals(boat, "port", 3.0) for boat in range(3)], TRIM, "hot") == ()
    crowded = [residuals(boat, engine, 3.0) for boat in range(2) for engine in ("port", "center", "starboard")]
    assert common_steps(crowded, TRIM, "hot") == ()


def test_days_without_a_run_hide_no_step() -> None:
    day = np.arange(60.0)
    members = []
    for boat in range(6):
        kept = day[(day + boat) % 3 != 0]
        members += [residuals(boat, engine, 2.5, days=kept) for engine in ("port", "starboard")]
    # nobody ran on the two days about the delivery
    members = [
        Residuals(each.key, each.at_s[away], each.residual[away])
        for each in members
        for away in [np.abs(each.at_s - START_S - (STEP_DAY + 0.5) * DAY_S) > DAY_S]
    ]
    (step,) = common_steps(members, TRIM, "hot")

    assert step.size == pytest.approx(2.5, abs=0.3)
    assert abs(step.at_s - START_S - STEP_DAY * DAY_S) <= 2 * DAY_S


def test_the_day_is_the_right_one_and_the_size_unbiased_in_nearly_every_season() -> None:
    # Twenty seasons of twelve engines with gaps, a step of three times the noise: in a longer simulation the day was
    # right in 112 of 120, and at most two days off in the others.
    rng = np.random.default_rng(5)
    found = []
    for _ in range(20):
        members = []
        for each in fleet(0.0):
            kept = rng.random(60) < 0.7
            noise = rng.normal(0, 0.5, kept.sum()) + np.where(np.arange(60)[kept] >= STEP_DAY, 1.5, 0.0)
            members.append(Residuals(each.key, each.at_s[kept], noise))
        found += common_steps(members, TRIM, "hot")

    assert len(found) == 20
    late = np.asarray([(step.at_s - START_S) / DAY_S - STEP_DAY for step in found])
    assert np.mean(late == 0) >= 0.85
    assert np.max(np.abs(late)) <= 2
    assert np.mean([step.size for step in found]) == pytest.approx(1.5, abs=0.1)


def test_two_deliveries_are_two_steps_in_time_order() -> None:
    second = [
        Residuals(each.key, each.at_s, each.residual - np.where(each.at_s >= START_S + 45 * DAY_S, 2.0, 0.0))
        for each in fleet(3.0)
    ]
    first, then = common_steps(second, TRIM, "hot")

    assert (first.size, then.size) == (pytest.approx(3.0, abs=0.3), pytest.approx(-2.0, abs=0.3))
    assert (then.at_s - first.at_s) / DAY_S == 15


def test_what_the_fleet_did_is_taken_out_of_each_engine() -> None:
    step = CommonStep("idle_fuel_trim", "hot", START_S + 30 * DAY_S, 6.0, 12, 12, 6, 0.1)
    values = noisy(60, 0.4) + np.where(np.arange(60) >= 30, 6.0, 0.0)
    alone = judged(made_series(values, "idle_fuel_trim", "hot"))
    beyond = judged(made_series(values, "idle_fuel_trim", "hot"), steps=[step])

    assert alone.status == "watch"
    assert beyond.status == "ready"
    assert (beyond.value, beyond.own) == (pytest.approx(6.0, abs=0.5), pytest.approx(0.0, abs=0.5))


def test_the_offset_of_steps_adds_up_from_each_step_on() -> None:
    steps = [CommonStep("x", "", at_s, size, 4, 4, 3, 0.1) for at_s, size in ((10.0, 2.0), (20.0, -0.5))]

    assert common_offset(np.asarray([9.0, 10.0, 19.0, 20.0]), steps).tolist() == [0.0, 2.0, 2.0, 1.5]


def series_of(boat: int, engine: str, step: float) -> Series:
    own = residuals(boat, engine, step)
    return made_series(own.residual, "idle_fuel_trim", "hot", engine_id=own.key.engine_id)


def test_a_season_tells_the_fleet_s_step_once_and_the_engine_s_own_beside_it() -> None:
    members = [
        series_of(boat, engine, 11.0 if (boat, engine) == (3, "port") else 3.0)
        for boat in range(6)
        for engine in ("port", "starboard")
    ]
    found = season(History(FIRST_RUN, {each.key.engine_id: (each,) for each in members}, {}, {}), {})

    assert [round(step.size) for step in found.steps] == [3]
    shifts = {key.engine_id: moved.shift for key, moved in found.movements.items()}
    assert shifts.pop("boat-3/port") == pytest.approx(8.0, abs=0.8)
    assert all(abs(shift or 0.0) < 0.8 for shift in shifts.values())


def test_the_size_of_a_step_has_the_interval_of_the_normal_law() -> None:
    step = CommonStep("idle_fuel_trim", "hot", 0.0, 2.9, 24, 26, 12, 0.08)

    # scipy.stats.norm.interval is the oracle
    assert (step.interval.low, step.interval.high) == pytest.approx(norm.interval(0.95, 2.9, 0.08))
