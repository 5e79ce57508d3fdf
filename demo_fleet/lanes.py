"""A lane is one engine in one log. Lanes are simulated side by side: this gathers their parameters into arrays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from demo_fleet.arrays import FORWARD, NEUTRAL, REVERSE, Floats
from demo_fleet.faults import Condition, condition
from demo_fleet.trips import Outing, draw_outings, gears_of, hours_before

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from demo_fleet.scenario import EngineUnit, Scenario

REST_OFFSETS = {
    "first_minutes": (0.5, 0.5),
    "hop": (0.5, 0.5),
    "departure": (0.5, 0.5),
    "restart": (46.0, 44.0),
    "return": (56.0, 58.0),
}
"""Coolant and oil above air temperature at a log's start, K."""


@dataclass(frozen=True)
class DayLuck:
    """What differs from day to day without anything being wrong."""

    air_pct: float
    lean_pct: float
    volts: float
    warmth_c: float
    stick: float


@dataclass(frozen=True)
class Lane:
    """One engine in one log: everything its simulation needs."""

    outing: Outing
    engine: EngineUnit
    seat: int
    condition: Condition
    luck: DayLuck
    gears: tuple[tuple[float, int], ...]
    hours: float
    seed: tuple[int, ...]

    @property
    def coolant_c(self) -> float:
        """Coolant temperature at the log's start in °C."""
        return self.outing.air_c + REST_OFFSETS[self.outing.kind][0] + self.luck.warmth_c

    @property
    def oil_c(self) -> float:
        """Oil temperature at the log's start in °C."""
        return self.outing.air_c + REST_OFFSETS[self.outing.kind][1] + self.luck.warmth_c

    def target(self, gear: int) -> float:
        """The shift target in force in % of travel, after any re-set."""
        moved = {FORWARD: self.condition.target_forward, REVERSE: self.condition.target_reverse, NEUTRAL: 0.0}[gear]
        return self.engine.targets[gear] - self.outward(gear) * moved

    def outward(self, gear: int) -> float:
        """+1 where this gear lies above neutral on the travel, -1 below, for neutral +1."""
        return 1.0 if self.engine.targets[gear] >= self.engine.targets[NEUTRAL] else -1.0

    def short(self, gear: int) -> float:
        """How far the mechanism's end is short of the commissioning target, % of travel; 0 for none."""
        return {FORWARD: self.condition.short_forward, REVERSE: self.condition.short_reverse, NEUTRAL: 0.0}[gear]


def draw_lanes(scenario: Scenario) -> tuple[Lane, ...]:
    """All lanes of a season, log by log."""
    outings = draw_outings(scenario)
    lanes: list[Lane] = []
    for boat in scenario.boats:
        own = tuple(outing for outing in outings if outing.boat.id == boat.id)
        hours = [hours_before(own, engine) for engine in boat.engines]
        for number, outing in enumerate(own):
            lanes += _lanes_of(scenario, outing, [engine_hours[number] for engine_hours in hours])
    return tuple(lanes)


def _lanes_of(scenario: Scenario, outing: Outing, hours: Sequence[float]) -> list[Lane]:
    rng = np.random.default_rng([*outing.seed, 1])
    noise = scenario.variation.noise
    shared_lean, shared_warmth = float(rng.normal(0.0, 0.35 * noise)), float(rng.uniform(-0.5, 1.0))
    lanes = []
    for seat, engine in enumerate(outing.boat.engines):
        luck = DayLuck(
            air_pct=float(rng.normal(0.0, 0.3 * noise)),
            lean_pct=shared_lean + float(rng.normal(0.0, 0.4 * noise)),
            volts=float(rng.normal(0.0, 0.06 * noise)),
            warmth_c=shared_warmth + float(rng.uniform(0.0, 1.0)),
            stick=float(rng.normal(0.0, 0.04 * noise)),
        )
        now = condition(scenario.faults, outing.boat.id, engine.id, outing.day)
        gears = tuple(gears_of(outing, seat, rng))
        lanes.append(Lane(outing, engine, seat, now, luck, gears, hours[seat], (*outing.seed, seat)))
    return lanes


def column(lanes: Sequence[Lane], value: Callable[[Lane], float]) -> Floats:
    """One number a lane, as an array."""
    return np.array([value(lane) for lane in lanes], dtype=np.float64)
