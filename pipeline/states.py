"""Readings -> states: where each indicator of each engine stands now, against the limits in force.

A state keeps its count, its interval and its age. Nothing here knows an indicator by name.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final, Literal

import numpy as np

from pipeline.catalogue import Indicator, Limits, indicators
from pipeline.history import History, Series, SeriesKey
from pipeline.register import Register
from pipeline.statistics.level import level_now

Status = Literal["hold", "watch", "unchecked", "ready"]

STATUSES: Final[tuple[Status, ...]] = ("hold", "watch", "unchecked", "ready")
"""From the most to the least pressing: hold stays until seen to, watch may go, unchecked is unknown."""

LEVEL_RUNS: Final = 5
"""How many of the newest runs make the level now: enough that one odd run decides nothing (common practice)."""


@dataclass(frozen=True)
class State:
    """One indicator and facet of one engine now. Values are in the indicator's unit.

    `low` and `high` are the ends of the level's interval, None where open. `distance` is how far the level stands from
    what is wanted, in the bad direction; None where a limit would be needed to say. `n` counts samples behind the
    level (shifts, windows), `runs` the runs.
    """

    series: Series
    indicator: Indicator
    value: float
    low: float | None
    high: float | None
    n: int
    run_ids: tuple[str, ...]
    latest_at: datetime
    limits: Limits
    distance: float
    status: Status

    @property
    def key(self) -> SeriesKey:
        """Which engine, indicator and facet."""
        return self.series.key

    @property
    def runs(self) -> int:
        """How many runs the level rests on."""
        return len(self.run_ids)

    @property
    def nearness(self) -> float:
        """Distance as a share of the hold limit, of the watch limit where no hold is set; 0 without any limit."""
        limit = self.limits.hold if self.limits.hold is not None else self.limits.watch
        if limit is None:
            return 0.0
        if self.indicator.worse == "lower":
            return limit / self.value if self.value > 0 else 2.0
        return self.distance / limit if limit else 0.0


def states(history: History, register: Register) -> Iterator[State]:
    """The state of every series of every registered engine that is judged by its level."""
    known = {engine.engine_id for engine in register.engines()}
    for engine_id, group in history.series.items():
        if engine_id in known:
            for series in group:
                indicator = indicators()[series.key.indicator]
                if indicator.judged.against in {"limits", "baseline"}:
                    yield judge(series, indicator, limits_of(indicator, register, engine_id))


def judge(series: Series, indicator: Indicator, limits: Limits) -> State:
    """The level of the newest runs against the limits."""
    newest = series.last(LEVEL_RUNS)
    level = level_now(newest.value)
    away = distance(indicator, series.key.facet, level.value)
    return State(
        series=series,
        indicator=indicator,
        value=level.value,
        low=level.interval.low,
        high=level.interval.high,
        n=int(np.sum(newest.n)),
        run_ids=tuple(newest.run_ids.tolist()),
        latest_at=datetime.fromtimestamp(float(newest.at_s[-1]), UTC),
        limits=limits,
        distance=away,
        status=_status(indicator, limits, level.value, away),
    )


def limits_of(indicator: Indicator, register: Register, engine_id: str) -> Limits:
    """The limits in force: the fleet file's where it has them, else the indicator's own."""
    own = register.limit(indicator.name, engine_id)
    return Limits(
        watch=own.watch if own.watch is not None else indicator.limits.watch,
        hold=own.hold if own.hold is not None else indicator.limits.hold,
    )


def distance(indicator: Indicator, facet: str, value: float) -> float:
    """How far a value stands from what is wanted: outside its band, from zero, or the value itself where one-sided."""
    if indicator.worse != "away":
        return value
    low, high = indicator.wanted.get(facet, (0.0, 0.0))
    return max(low - value, value - high, 0.0)


def _status(indicator: Indicator, limits: Limits, value: float, away: float) -> Status:
    if indicator.judged.against != "limits":
        return "ready"
    if _is_beyond(indicator, limits.hold, value, away):
        return "hold"
    return "watch" if _is_beyond(indicator, limits.watch, value, away) else "ready"


def _is_beyond(indicator: Indicator, limit: float | None, value: float, away: float) -> bool:
    if limit is None:
        return False
    return value <= limit if indicator.worse == "lower" else away >= limit
