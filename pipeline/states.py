"""Readings and season -> states: where each indicator of each engine stands now, against limits and against its past.

A state keeps its count, its interval and its age. Nothing here knows an indicator by name.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

import numpy as np

from pipeline.catalogue import Indicator, Limits, indicators
from pipeline.history import FloatArray, Series, SeriesKey
from pipeline.register import Register
from pipeline.season.fleet import Season
from pipeline.season.movement import Movement
from pipeline.season.shares import added_up
from pipeline.statistics.arrays import median
from pipeline.statistics.level import CentreScale, Level, level_now
from pipeline.statistics.proportion import wilson

Status = Literal["hold", "watch", "unchecked", "ready"]

STATUSES: Final[tuple[Status, ...]] = ("hold", "watch", "unchecked", "ready")
"""From the most to the least pressing: hold stays until seen to, watch may go, unchecked is unknown."""

CLEAR_SIGMAS: Final = 4.0
"""A movement counts only where it is at least this many of its own standard errors."""


@dataclass(frozen=True, eq=False)
class State:
    """One indicator and facet of one engine now. Values are in the indicator's unit.

    `value` is the level of the newest runs, `low` and `high` its interval (None where open), `own` the level without
    what the whole fleet did. `distance` is how far `own` stands from what is wanted, in the bad direction. `n` counts
    the samples behind the level (shifts, windows). `is_beyond_limit` and `has_moved` tell which of limit and baseline
    made the status.
    """

    series: Series
    indicator: Indicator
    moved: Movement
    value: float
    own: float
    low: float | None
    high: float | None
    n: int
    run_ids: tuple[str, ...]
    latest_at: datetime
    limits: Limits
    distance: float
    is_beyond_limit: bool
    has_moved: bool
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
    def drift_size(self) -> float | None:
        """How far the level may move from its baseline before it is watched; None where only limits count."""
        return drift_size(self.indicator, self.limits, self.moved.baseline, self.moved.resolution)

    @property
    def strength(self) -> float:
        """Signed movement from the baseline in multiples of what would be watched; 0 where unknown."""
        size = self.drift_size
        return 0.0 if not size or self.moved.shift is None else self.moved.shift / size

    @property
    def nearness(self) -> float:
        """Distance in multiples of the hold limit, else of the watch limit or drift size; 0 without any."""
        if self.limits.hold is not None:
            return _ratio(self.indicator, self.limits.hold, self.own, self.distance)
        by_limit = (
            0.0 if self.limits.watch is None else _ratio(self.indicator, self.limits.watch, self.own, self.distance)
        )
        return max(by_limit if self.indicator.judged.against == "limits" else 0.0, abs(self.strength)) / 2


def states(season: Season, register: Register) -> Iterator[State]:
    """The state of every series of every registered engine that is judged by its level."""
    known = {engine.engine_id for engine in register.engines()}
    for key, moved in season.movements.items():
        if key.engine_id in known:
            indicator = indicators()[key.indicator]
            yield judge(moved, indicator, limits_of(indicator, register, key.engine_id))


def judge(moved: Movement, indicator: Indicator, limits: Limits) -> State:
    """The level of the newest runs against the limits, and its movement against the baseline."""
    newest, own = moved.series.pick(moved.now), moved.values[moved.now]
    level, own_level = _level(moved, newest, own, indicator)
    away = distance(indicator, moved.series.key.facet, own_level)
    is_limit = indicator.judged.against == "limits"
    held = is_limit and is_beyond(indicator, limits.hold, own_level, away)
    watched = is_limit and is_beyond(indicator, limits.watch, own_level, away)
    drifted = has_moved(moved, indicator, limits, away)
    return State(
        series=moved.series,
        indicator=indicator,
        moved=moved,
        value=level.value,
        own=own_level,
        low=level.interval.low,
        high=level.interval.high,
        n=int(np.sum(newest.n)),
        run_ids=tuple(newest.run_ids.tolist()),
        latest_at=newest.moment(newest.at_s[-1]),
        limits=limits,
        distance=away,
        is_beyond_limit=held or watched,
        has_moved=drifted,
        status="hold" if held else "watch" if watched or drifted else "ready",
    )


def _level(moved: Movement, newest: Series, own: FloatArray, indicator: Indicator) -> tuple[Level, float]:
    """The level of the newest runs with its interval, and that level without what the whole fleet did."""
    if indicator.kind == "share":
        share = added_up(newest)
        return Level(share.value, wilson(share.count, share.tries), len(newest), "binomial"), share.value
    usual = None if moved.found is None else CentreScale(0.0, moved.found.scale, moved.found.baseline_n)
    return level_now(newest.value, usual=usual), median(own)


def has_moved(moved: Movement, indicator: Indicator, limits: Limits, away: float) -> bool:
    """Whether the like-for-like level left its baseline, for the worse, by what is watched, clearly and signalled."""
    size = drift_size(indicator, limits, moved.baseline, moved.resolution)
    if not size or moved.shift is None or moved.shift_error is None or moved.found is None:
        return False
    # the exact test of a share tells by itself whether it is clear
    least = 0.0 if indicator.kind == "share" else CLEAR_SIGMAS * moved.shift_error
    clear = abs(moved.shift) >= max(size, least) and moved.is_signalled
    return clear and _is_worse(moved, indicator, away)


def drift_size(
    indicator: Indicator, limits: Limits, baseline: float | None, resolution: float | None = None
) -> float | None:
    """The movement that is watched: the watch limit where it is judged by its baseline, else the header's.

    Never less than two steps of the `resolution` at which the readings come, by default the header's.
    """
    if indicator.judged.against == "baseline":
        return limits.watch
    if indicator.drift.watch is None or (indicator.drift.is_share and baseline is None):
        return None
    if indicator.kind == "share":
        return indicator.drift.watch
    # what the log cannot resolve is no movement, however small a share the header names
    size = indicator.drift.watch * (abs(baseline or 0.0) if indicator.drift.is_share else 1.0)
    return max(size, 2 * (indicator.resolution if resolution is None else resolution))


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


def is_beyond(indicator: Indicator, limit: float | None, value: float, away: float) -> bool:
    """Whether a level has reached a limit; a limit that is not set is never reached."""
    if limit is None:
        return False
    return value <= limit if indicator.worse == "lower" else away >= limit


def signed_badness(state: State) -> tuple[FloatArray, float]:
    """The epoch's like-for-like readings with worse upwards (n,), and the hold limit there (NaN without one)."""
    sign, zero = bad_side(state)
    limit = state.limits.hold
    return sign * (like_readings(state) - zero), math.nan if limit is None else bad_limit(state, limit)


def like_readings(state: State) -> FloatArray:
    """The epoch's readings (n,) as they would be at today's temperature and voltage, the fleet's common part out."""
    found = state.moved.found
    return state.moved.values if found is None else found.residual + (state.moved.baseline or 0.0)


def bad_side(state: State) -> tuple[float, float]:
    """Sign and zero of badness = sign * (reading - zero): upwards is worse, counted from the wanted band's near end."""
    if state.indicator.worse != "away":
        return (-1.0 if state.indicator.worse == "lower" else 1.0), 0.0
    low, high = state.indicator.wanted.get(state.key.facet, (0.0, 0.0))
    return (1.0, high) if state.own >= (low + high) / 2 else (-1.0, low)


def bad_limit(state: State, limit: float) -> float:
    """Where a limit stands on the scale of badness: a distance does already, a value where less is worse is turned."""
    return -limit if state.indicator.worse == "lower" else limit


def _is_worse(moved: Movement, indicator: Indicator, away: float) -> bool:
    if moved.shift is None:
        return False
    if indicator.judged.against == "baseline":
        return True
    if indicator.worse == "higher":
        return moved.shift > 0
    if indicator.worse == "lower":
        return moved.shift < 0
    before = distance(indicator, moved.series.key.facet, moved.baseline or 0.0)
    return away > before


def _ratio(indicator: Indicator, limit: float, value: float, away: float) -> float:
    if indicator.worse == "lower":
        return limit / value if value > 0 else 2.0
    return away / limit if limit else 0.0
