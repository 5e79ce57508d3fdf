"""When a planted fault takes its engine over the default limits, from the known sizes alone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from demo_fleet.scenario import WANTED_GEAR_PCT, WANTED_NEUTRAL_PCT, EngineUnit, Scenario
from demo_fleet.trips import DIES_FROM

if TYPE_CHECKING:
    from collections.abc import Callable

    from demo_fleet.faults import Fault

REACH: Final = (1.0, 2.0)
TRIM: Final = (5.0, 10.0)
INTEGRAL_BEYOND_BAND: Final = (5.0, 10.0)
TRANSIT_DRIFT: Final = 0.25

Limits = tuple[float | None, float | None]


def crossings(scenario: Scenario, fault: Fault) -> dict[str, int | None]:
    """Days of the season on which the true level first passes the watch and hold limits, None where it never does."""
    level, (watch, hold) = _level(scenario, fault)
    return {
        "crosses_watch_on": _first_day(scenario.days, fault, level, watch),
        "crosses_hold_on": _first_day(scenario.days, fault, level, hold),
    }


def _first_day(days: int, fault: Fault, level: Callable[[float], float], limit: float | None) -> int | None:
    if limit is None:
        return None
    over = (day for day in range(days) if fault.amount(day) != 0.0 and level(fault.amount(day)) >= limit)
    return next(over, None)


def _level(scenario: Scenario, fault: Fault) -> tuple[Callable[[float], float], Limits]:
    """How the fault's size shows in its main indicator, and that indicator's default limits."""
    if fault.cause in {"end_stop_wear", "unit_mismatch", "lost_travel", "sensor_mounting"}:
        return abs, REACH
    if fault.cause in {"throttle_body", "propeller_load", "air_leak"}:
        return _beyond_band(fault), INTEGRAL_BEYOND_BAND
    if fault.cause == "fuel_supply":
        lean = _engine(scenario, fault).lean_hot
        return (lambda size: abs(size + lean)), TRIM
    if fault.cause == "actuator_wear":
        return abs, (TRANSIT_DRIFT, None)
    if fault.cause == "idle_margin":
        return abs, (None, DIES_FROM)
    return abs, (None, None)


def _beyond_band(fault: Fault) -> Callable[[float], float]:
    """Distance of the integral from the wanted band: up it leaves in gear first, down in neutral."""
    if fault.cause == "air_leak":
        return lambda size: size - WANTED_NEUTRAL_PCT - 3.0
    room = 3.0 - WANTED_GEAR_PCT
    return lambda size: size - room


def _engine(scenario: Scenario, fault: Fault) -> EngineUnit:
    boat = next(boat for boat in scenario.boats if boat.id == fault.boat)
    return next(engine for engine in boat.engines if engine.id == fault.engine)
