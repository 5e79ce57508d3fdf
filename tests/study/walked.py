"""Walks a fleet's mornings: what the tool would have said on each, as plain rows that other processes can hand over."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

import numpy as np
from drawn_fleets import Fleet, ready
from planted import Planted, planted

from pipeline.history import load_history
from pipeline.morning import Morning, assess
from pipeline.register import load_register
from pipeline.store import Store

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.findings import Finding
    from pipeline.history import History

FIRST_MORNING: Final = 12
"""Days after the season's first from which mornings are judged: before, everything is still being learned."""

AT: Final = time(6, 0)
"""Before any boat goes out: a morning knows the logs of the days before it."""


@dataclass(frozen=True)
class Told:
    """One finding of one morning; `engine_id` is None for what the whole fleet did. Hours are engine hours."""

    seed: int
    morning: date
    engine_id: str | None
    indicator: str
    facet: str | None
    status: str
    cause: str | None
    rather_than: str | None
    pattern: str | None
    value: float | None
    baseline: float | None
    since: date | None
    confidence: float
    runs: int
    hours_to_hold: float | None
    hours_low: float | None
    hours_high: float | None
    says: str

    @property
    def is_alarm(self) -> bool:
        """Whether it asks for somebody's attention to an engine."""
        return self.engine_id is not None and self.status in {"hold", "watch"}


@dataclass(frozen=True)
class Track:
    """An engine's runs: the day of each, and its engine hours at the start."""

    days: tuple[date, ...]
    hours: tuple[float, ...]

    def runs_between(self, first: date, last: date) -> int:
        """Runs on days from `first` to before `last`."""
        return sum(first <= day < last for day in self.days)

    def hours_on(self, day: date) -> float | None:
        """Engine hours at the first run on or after a day; None if none follows."""
        return next((hours for at, hours in zip(self.days, self.hours, strict=True) if at >= day), None)

    def last_before(self, day: date) -> tuple[date, float] | None:
        """Day and engine hours of the last run before a day."""
        past = [(at, hours) for at, hours in zip(self.days, self.hours, strict=True) if at < day]
        return past[-1] if past else None


@dataclass(frozen=True)
class Walk:
    """One fleet's season as told, and as it truly was. `judged` has the engines that had a verdict each morning."""

    fleet: Fleet
    mornings: tuple[date, ...]
    judged: dict[date, frozenset[str]]
    told: tuple[Told, ...]
    tracks: dict[str, Track]
    planted: tuple[Planted, ...]


def walk(fleet: Fleet, keep: Path, every: int) -> Walk:
    """Judge every n-th morning of a fleet's season, the last included."""
    folder = ready(fleet, keep)
    register = load_register(folder)
    zone = ZoneInfo(register.timezone)
    store = Store(folder)
    mornings = _mornings(fleet, every)
    told: list[Told] = []
    judged: dict[date, frozenset[str]] = {}
    for day in mornings:
        found = assess(store.reader(), register, datetime.combine(day, AT, zone))
        judged[day] = frozenset(_with_verdict(found))
        told += _told(fleet.seed, day, found)
    history = load_history(store.reader(), datetime.combine(mornings[-1], AT, zone))
    return Walk(fleet, tuple(mornings), judged, tuple(told), _tracks(history, zone), planted(folder))


def _mornings(fleet: Fleet, every: int) -> list[date]:
    last = fleet.first_day + timedelta(days=fleet.days)
    return [last - timedelta(days=back) for back in range(0, fleet.days - FIRST_MORNING + 1, every)][::-1]


def _with_verdict(morning: Morning) -> list[str]:
    return [
        f"{boat.boat}/{engine.engine}"
        for boat in morning.boats
        for engine in boat.engines
        if engine.status != "unchecked"
    ]


def _told(seed: int, day: date, morning: Morning) -> list[Told]:
    ours = [finding for boat in morning.boats for finding in boat.findings if finding.status != "unchecked"]
    return [_row(seed, day, finding) for finding in [*morning.fleet_findings, *ours]]


def _row(seed: int, day: date, finding: Finding) -> Told:
    return Told(
        seed=seed,
        morning=day,
        engine_id=None if finding.engine is None else f"{finding.boat}/{finding.engine}",
        indicator=finding.indicator,
        facet=finding.facet,
        status=finding.status,
        cause=finding.cause,
        rather_than=finding.rather_than,
        pattern=finding.pattern,
        value=finding.value,
        baseline=finding.baseline,
        since=finding.since.date() if finding.since else None,
        confidence=finding.confidence or 0.0,
        runs=finding.evidence.runs,
        hours_to_hold=finding.hours_to_hold,
        hours_low=finding.hours_to_hold_low,
        hours_high=finding.hours_to_hold_high,
        says=finding.says,
    )


def _tracks(history: History, zone: ZoneInfo) -> dict[str, Track]:
    return {
        engine_id: Track(
            tuple(datetime.fromtimestamp(float(at), zone).date() for at in runs.started_s),
            tuple(np.asarray(runs.hours, dtype=np.float64).tolist()),
        )
        for engine_id, runs in history.runs.items()
    }
