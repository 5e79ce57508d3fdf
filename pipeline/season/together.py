"""What the whole fleet did at once: a fuel delivery, the weather. Found across engines, told once, taken out of each.

A common step is a day from which most engines, on several boats, read higher (or lower) by about the same.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta, tzinfo
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pipeline.catalogue import Indicator
from pipeline.history import FloatArray, SeriesKey
from pipeline.statistics.arrays import CONFIDENCE, Interval
from pipeline.statistics.level import spread

DAY_S: Final = 86400.0

FEWEST_ENGINES: Final = 4
FEWEST_BOATS: Final = 3
"""With fewer there is no fleet to speak of, only neighbours (common practice, no published source)."""

SHARE: Final = 0.7
"""Share of the engines that must have moved the same way by at least half the common size."""

AROUND_DAYS: Final = 10.0
"""Days looked at on either side of a step: long enough for a few runs, short enough that wear adds little."""

SIGMAS: Final = 5.0
"""How far a common step must stand out of its own standard error; it is searched over every day of the season."""

MOST_STEPS: Final = 4


@dataclass(frozen=True)
class CommonStep:
    """One common step: from which moment (epoch s), how far in the indicator's unit, on how many engines.

    `zone` is the fleet's.
    """

    indicator: str
    facet: str
    at_s: float
    size: float
    engines: int
    engines_seen: int
    boats: int
    standard_error: float
    zone: tzinfo = UTC

    @property
    def began(self) -> datetime:
        """The day's start on the fleet's clock."""
        return datetime.fromtimestamp(self.at_s, self.zone)

    @property
    def interval(self) -> Interval:
        """The size's confidence interval: normal, from the standard error of a median over engines."""
        half = float(special.ndtri((1 + CONFIDENCE) / 2)) * self.standard_error
        return Interval(self.size - half, self.size + half, CONFIDENCE)


@dataclass(frozen=True, eq=False)
class Residuals:
    """One engine's readings less its baseline: times (epoch s) and values of one length."""

    key: SeriesKey
    at_s: FloatArray
    residual: FloatArray


def common_steps(
    fleet: Sequence[Residuals], indicator: Indicator, facet: str, zone: tzinfo = UTC
) -> tuple[CommonStep, ...]:
    """The common steps of one indicator and facet, in time order; days are those of the fleet's zone."""
    left = {each.key.engine_id: each for each in fleet if len(each.at_s)}
    found: list[CommonStep] = []
    while len(found) < MOST_STEPS:
        step = _largest(left, indicator, facet, zone)
        if step is None:
            break
        found.append(step)
        left = {engine_id: _less(each, step) for engine_id, each in left.items()}
    return tuple(sorted(found, key=lambda step: step.at_s))


def common_offset(at_s: FloatArray, steps: Sequence[CommonStep]) -> FloatArray:
    """What the fleet's steps add to readings at these moments, shape as given, relative to before the first step."""
    return np.asarray(sum((np.where(at_s >= step.at_s, step.size, 0.0) for step in steps), np.zeros(at_s.shape)))


def _less(each: Residuals, step: CommonStep) -> Residuals:
    return Residuals(each.key, each.at_s, each.residual - np.where(each.at_s >= step.at_s, step.size, 0.0))


def _largest(fleet: Mapping[str, Residuals], indicator: Indicator, facet: str, zone: tzinfo) -> CommonStep | None:
    """The step that stands out most, if any does."""
    days = _days(fleet, zone)
    boats = np.asarray([engine_id.partition("/")[0] for engine_id in fleet])
    moved = np.asarray([_moves(each, days) for each in fleet.values()]).reshape(len(fleet), days.size)
    enough = np.count_nonzero(~np.isnan(moved), axis=0) >= FEWEST_ENGINES
    steps = [_step(moved[:, day], boats, days[day], indicator, facet) for day in np.flatnonzero(enough)]
    most = max((step for step in steps if step is not None), key=_evidence, default=None)
    return None if most is None else replace(most, zone=zone)


def _evidence(step: CommonStep) -> float:
    """What tells the right day from its neighbours: the size, and how many engines saw it.

    Not the step's own standard error: a dozen moves agree by chance now better and now worse, and the day would follow.
    """
    return abs(step.size) * math.sqrt(step.engines_seen)


def _days(fleet: Mapping[str, Residuals], zone: tzinfo) -> FloatArray:
    """Midnights at which the fleet may have changed: between its first and last day."""
    if not fleet:
        return np.zeros(0)
    first = datetime.fromtimestamp(min(float(each.at_s[0]) for each in fleet.values()), zone).date()
    last = datetime.fromtimestamp(max(float(each.at_s[-1]) for each in fleet.values()), zone).date()
    later = (first + timedelta(days=day) for day in range(1, (last - first).days + 1))
    return np.asarray([datetime.combine(day, time(), zone).timestamp() for day in later])


def _moves(each: Residuals, days: FloatArray) -> FloatArray:
    """One engine's mean after each day's start less its mean before, (days,); NaN without runs on both sides."""
    reach_s = AROUND_DAYS * DAY_S
    low, here, high = (np.searchsorted(each.at_s, days + offset) for offset in (-reach_s, 0.0, reach_s))
    sums = np.concatenate([[0.0], np.cumsum(each.residual)])
    with np.errstate(invalid="ignore", divide="ignore"):
        after = (sums[high] - sums[here]) / (high - here)
        before = (sums[here] - sums[low]) / (here - low)
    return np.where((here - low >= 2) & (high > here), after - before, np.nan)


def _step(
    moves: FloatArray, boats: NDArray[np.str_], at_s: float, indicator: Indicator, facet: str
) -> CommonStep | None:
    seen = ~np.isnan(moves)
    moved, boats = moves[seen], boats[seen]
    size = float(np.median(moved))
    if abs(size) < _smallest(indicator):
        return None
    error = max(1.2533 * spread(moved) / np.sqrt(moved.size), indicator.resolution / np.sqrt(12 * moved.size))
    follows = np.sign(size) * moved >= abs(size) / 2
    if abs(size) < SIGMAS * error or follows.mean() < SHARE or len(set(boats)) < FEWEST_BOATS:
        return None
    boats_moved = len(set(boats[follows]))
    return CommonStep(indicator.name, facet, at_s, size, int(follows.sum()), moved.size, boats_moved, error)


def _smallest(indicator: Indicator) -> float:
    """The smallest common step worth telling: a fifth of what would be watched, the resolution at least."""
    sizes = [size for size in (indicator.limits.watch, indicator.drift.watch) if size and not indicator.drift.is_share]
    return max([indicator.resolution, *(size / 5 for size in sizes[:1])])
