"""When the boats go out, and what the helm does minute by minute: start, dock routine, cruise, return.

The loggers keep the minutes at the dock and the first run of a trip; most trips go on unlogged, which is why engine
hours grow by more than the logs hold.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from demo_fleet.arrays import FORWARD, NEUTRAL, REVERSE
from demo_fleet.faults import condition
from demo_fleet.scenario import TIMEZONE, BoatUnit, EngineUnit, Scenario

Kind = Literal["first_minutes", "hop", "restart", "departure", "return"]
HOP_SHARE = 0.45
DIES_FROM = 0.9
"""Misfire severity from which the engine dies on engagement."""


@dataclass
class Helm:
    """What the helm does in one log. Times in s since the log's start; built up step by step."""

    now: float = 0.0
    gears: list[tuple[float, int]] = field(default_factory=list)
    pedal: list[tuple[float, float]] = field(default_factory=lambda: [(0.0, 0.0)])
    cranks: list[float] = field(default_factory=list)
    dies_at: list[float] = field(default_factory=list)
    stop_s: float | None = None
    running_at_start: bool = False

    def gear(self, code: int, seconds: float) -> None:
        """Ask for a gear and stay in it."""
        self.gears.append((self.now, code))
        self.now += seconds

    def wait(self, seconds: float) -> None:
        """Leave everything as it is."""
        self.now += seconds

    def lever(self, demand: float, ramp_s: float, hold_s: float) -> None:
        """Move the demand to a value in % over `ramp_s` and hold it."""
        self.pedal += [(self.now, self.pedal[-1][1]), (self.now + ramp_s, demand)]
        self.now += ramp_s + hold_s

    def crank(self) -> None:
        """Start the engine in neutral."""
        self.cranks.append(self.now)


@dataclass(frozen=True)
class Outing:
    """One log to be: a boat, a start, what the helm does and how warm the engines are."""

    boat: BoatUnit
    day: int
    started: datetime
    kind: Kind
    helm: Helm
    unlogged_h: float
    """Hours the engines run after this log, before the next one."""
    air_c: float
    pressure_kpa: float
    seed: tuple[int, ...]


def draw_outings(scenario: Scenario) -> tuple[Outing, ...]:
    """Every log of the season, boat by boat in time order."""
    outings: list[Outing] = []
    for index, boat in enumerate(scenario.boats):
        rng = np.random.default_rng([scenario.seed, 2, index])
        for day in _days_out(rng, scenario, boat):
            outings += _day_out(rng, scenario, boat, index, day)
    return tuple(outing for outing in outings if not _is_lost(scenario, outing))


def _is_lost(scenario: Scenario, outing: Outing) -> bool:
    return bool(np.random.default_rng([*outing.seed, 9]).random() < scenario.variation.gap_share)


def _days_out(rng: np.random.Generator, scenario: Scenario, boat: BoatUnit) -> list[int]:
    days = scenario.days
    is_out = rng.random(days) < boat.out_share
    is_out[0] = True
    is_recent = [rng.random() < 0.6, True] if _must_show_yesterday(boat) or rng.random() < 0.75 else [True, False]
    is_out[-2:] |= np.array(is_recent)[-days:]
    if boat.story.silent is not None:
        is_out[min(days - 1, int(days * boat.story.silent)) :] = False
    return [int(day) for day in np.flatnonzero(is_out)]


def _must_show_yesterday(boat: BoatUnit) -> bool:
    return any(plant.cause == "idle_margin" for plant in boat.story.plants)


def _day_out(rng: np.random.Generator, scenario: Scenario, boat: BoatUnit, index: int, day: int) -> list[Outing]:
    today = scenario.first_day + timedelta(days=day)
    start = _at(today, float(rng.uniform(6.8, 9.6)))
    second = rng.random() < scenario.variation.second_trip_share
    plan: list[tuple[datetime, Kind, float]]
    if boat.logger.split_trips:
        back = start + timedelta(minutes=int(rng.integers(90, 240)))
        plan = [(start, "departure", (back - start).total_seconds() / 3600), (back, "return", 0.1)]
    else:
        kind: Kind = "hop" if rng.random() < HOP_SHARE else "first_minutes"
        plan = [(start, kind, float(rng.uniform(1.2, 3.5)))]
    if second:
        plan.append((start + timedelta(minutes=int(rng.integers(280, 380))), "restart", float(rng.uniform(0.8, 2.0))))
    return [
        _outing(rng, scenario, boat, (scenario.seed, 3, index, day, number), moment, what, hours)
        for number, (moment, what, hours) in enumerate(plan)
    ]


def _at(day: date, hour: float) -> datetime:
    midnight = datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(TIMEZONE))
    return midnight + timedelta(minutes=round(hour * 60))


def _outing(
    rng: np.random.Generator,
    scenario: Scenario,
    boat: BoatUnit,
    seed: tuple[int, ...],
    moment: datetime,
    kind: Kind,
    unlogged_h: float,
) -> Outing:
    day = seed[3]
    started = moment if "%S" not in boat.logger.file_name else moment + timedelta(seconds=int(rng.integers(60)))
    helm = _ROUTINES[kind](rng, reverse=not boat.story.never_reverse, dies=_dies(scenario, boat, day))
    hour = started.hour + started.minute / 60
    return Outing(
        boat,
        day,
        started,
        kind,
        helm,
        unlogged_h,
        scenario.weather.at(day, hour),
        float(scenario.weather.pressure_kpa[day]),
        seed,
    )


def _dies(scenario: Scenario, boat: BoatUnit, day: int) -> bool:
    severities = [condition(scenario.faults, boat.id, engine.id, day).misfire for engine in boat.engines]
    return max(severities) >= DIES_FROM


def _first_minutes(rng: np.random.Generator, *, reverse: bool, dies: bool) -> Helm:
    helm = _cold_start(rng, reverse=reverse, dies=dies)
    helm.gear(FORWARD, rng.uniform(16, 26))
    _cruise(helm, rng, max(60.0, rng.uniform(245, 265) - helm.now))
    helm.wait(rng.uniform(17, 24))
    helm.gear(NEUTRAL, rng.uniform(17, 25))
    if reverse:
        helm.gear(REVERSE, rng.uniform(15, 20) if rng.random() < 0.7 else rng.uniform(6, 9))
        helm.gear(NEUTRAL, rng.uniform(4, 8))
    helm.gear(FORWARD, rng.uniform(15, 19))
    _finish(helm, rng)
    return helm


def _hop(rng: np.random.Generator, *, reverse: bool, dies: bool) -> Helm:
    """Across the harbour and alongside again: too short to be called hot."""
    helm = _cold_start(rng, reverse=reverse, dies=dies)
    helm.gear(FORWARD, rng.uniform(15, 20))
    _cruise(helm, rng, float(rng.uniform(70, 95)))
    helm.wait(rng.uniform(15, 19))
    helm.gear(NEUTRAL, rng.uniform(15, 19))
    if reverse:
        helm.gear(REVERSE, rng.uniform(6, 16))
        helm.gear(NEUTRAL, rng.uniform(4, 6))
    helm.gear(FORWARD, rng.uniform(5, 8))
    helm.gear(NEUTRAL, rng.uniform(16, 19))
    return helm


def _departure(rng: np.random.Generator, *, reverse: bool, dies: bool) -> Helm:
    helm = _cold_start(rng, reverse=reverse, dies=dies)
    helm.gear(FORWARD, rng.uniform(18, 26))
    helm.lever(float(rng.uniform(4, 7)), 2.0, rng.uniform(10, 16))
    helm.lever(float(rng.uniform(50, 75)), 4.0, rng.uniform(15, 25))
    return helm


def _return(rng: np.random.Generator, *, reverse: bool, dies: bool) -> Helm:
    del dies
    helm = Helm(running_at_start=True)
    helm.gears.append((-60.0, FORWARD))
    cruising = float(rng.uniform(45, 65))
    helm.pedal = [(0.0, cruising)]
    helm.wait(rng.uniform(22, 30))
    helm.lever(0.0, 3.0, rng.uniform(22, 30))
    helm.gear(NEUTRAL, rng.uniform(18, 26))
    if reverse:
        helm.gear(REVERSE, rng.uniform(15, 20))
        helm.gear(NEUTRAL, rng.uniform(5, 8))
    helm.gear(FORWARD, rng.uniform(15, 20))
    _finish(helm, rng)
    return helm


def _restart(rng: np.random.Generator, *, reverse: bool, dies: bool) -> Helm:
    helm = _cold_start(rng, reverse=reverse, dies=dies, settle=(22, 30))
    helm.gear(FORWARD, rng.uniform(16, 20))
    _cruise(helm, rng, float(rng.uniform(35, 50)))
    helm.wait(rng.uniform(16, 22))
    helm.gear(NEUTRAL, rng.uniform(16, 22))
    if reverse:
        helm.gear(REVERSE, rng.uniform(6, 16))
        helm.gear(NEUTRAL, rng.uniform(4, 6))
    helm.gear(FORWARD, rng.uniform(6, 12))
    _finish(helm, rng)
    return helm


def _cold_start(rng: np.random.Generator, *, reverse: bool, dies: bool, settle: tuple[float, float] = (34, 46)) -> Helm:
    helm = Helm(now=float(rng.uniform(2, 4)))
    helm.crank()
    helm.wait(rng.uniform(*settle))
    if dies:
        _die_and_restart(helm, rng)
    for _ in range(int(rng.choice([0, 1, 2], p=[0.15, 0.6, 0.25]))):
        _exercise(helm, rng, reverse=reverse)
    return helm


def _exercise(helm: Helm, rng: np.random.Generator, *, reverse: bool) -> None:
    helm.gear(FORWARD, rng.uniform(3.6, 6.0))
    if reverse and rng.random() < 0.06:
        helm.gear(REVERSE, rng.uniform(3.6, 6.0))
    helm.gear(NEUTRAL, rng.uniform(3.4, 5.0))
    if reverse:
        helm.gear(REVERSE, rng.uniform(3.6, 6.0))
        helm.gear(NEUTRAL, rng.uniform(3.4, 5.0))


def _die_and_restart(helm: Helm, rng: np.random.Generator) -> None:
    helm.dies_at.append(helm.now)
    helm.gear(FORWARD, rng.uniform(4.2, 5.0))
    helm.gear(NEUTRAL, rng.uniform(2.5, 4.0))
    helm.crank()
    helm.wait(rng.uniform(9, 14))


def _cruise(helm: Helm, rng: np.random.Generator, seconds: float) -> None:
    helm.lever(float(rng.uniform(4, 7)), 2.0, rng.uniform(8, 14))
    helm.lever(float(rng.uniform(50, 75)), 5.0, max(10.0, seconds - 22.0))
    helm.lever(0.0, 4.0, 3.0)


def _finish(helm: Helm, rng: np.random.Generator) -> None:
    helm.gear(NEUTRAL, rng.uniform(17, 24))
    if rng.random() < 0.4:
        helm.lever(float(rng.uniform(5.0, 6.0)), rng.uniform(9, 12), 2.0)
        helm.lever(0.0, 2.5, rng.uniform(9, 13))
    if rng.random() < 0.5:
        helm.stop_s = helm.now
        helm.wait(3.0)


_ROUTINES = {
    "first_minutes": _first_minutes,
    "hop": _hop,
    "departure": _departure,
    "return": _return,
    "restart": _restart,
}


def gears_of(outing: Outing, seat: int, rng: np.random.Generator) -> list[tuple[float, int]]:
    """The gear steps of one engine: each lever a moment apart, now and then the engines against each other."""
    lag = 0.0 if seat == 0 else float(rng.uniform(0.02, 0.3))
    twisted = seat > 0 and outing.kind == "first_minutes" and outing.seed[3] % 7 == 3 and not outing.helm.dies_at
    steps = [(moment + lag, code) for moment, code in outing.helm.gears]
    if not twisted or outing.boat.story.never_reverse:
        return steps
    early = outing.helm.pedal[1][0] - 30.0
    return [(moment, -code if moment < early else code) for moment, code in steps]


def hours_before(outings: tuple[Outing, ...], engine: EngineUnit) -> list[float]:
    """Engine hours at the start of each of one boat's outings, in their order."""
    hours, total = [], engine.hours
    for outing in outings:
        hours.append(total)
        total += outing.helm.now / 3600 + outing.unlogged_h
    return hours
