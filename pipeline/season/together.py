"""What the whole fleet did at once: a fuel delivery, the weather. Found across engines, told once, taken out of each.

A common step is a day from which most engines, on several boats, read higher (or lower) by about the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pipeline.catalogue import Indicator
from pipeline.history import FloatArray, SeriesKey
from pipeline.statistics.arrays import BoolArray
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
    """One common step: from which moment (epoch s), how far in the indicator's unit, on how many engines."""

    indicator: str
    facet: str
    at_s: float
    size: float
    engines: int
    engines_seen: int
    boats: int
    standard_error: float


@dataclass(frozen=True, eq=False)
class Residuals:
    """One engine's readings less its baseline: times (epoch s) and values of one length."""

    key: SeriesKey
    at_s: FloatArray
    residual: FloatArray


def common_steps(fleet: Sequence[Residuals], indicator: Indicator, facet: str) -> tuple[CommonStep, ...]:
    """The common steps of one indicator and facet, in time order."""
    left = {each.key.engine_id: each for each in fleet if len(each.at_s)}
    found: list[CommonStep] = []
    while len(found) < MOST_STEPS:
        step = _largest(left, indicator, facet)
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


def _largest(fleet: Mapping[str, Residuals], indicator: Indicator, facet: str) -> CommonStep | None:
    """The step that stands out most, if any does."""
    best: CommonStep | None = None
    for at_s in _days(fleet):
        step = _step_at(fleet, at_s, indicator, facet)
        if step is not None and (best is None or _evidence(step) > _evidence(best)):
            best = step
    return best


def _evidence(step: CommonStep) -> float:
    return abs(step.size) / step.standard_error


def _days(fleet: Mapping[str, Residuals]) -> FloatArray:
    """Midnights (UTC) at which the fleet may have changed: between its first and last day."""
    if not fleet:
        return np.zeros(0)
    every = np.concatenate([each.at_s for each in fleet.values()])
    first, last = np.floor(every.min() / DAY_S), np.floor(every.max() / DAY_S)
    return np.arange(first + 1, last + 1) * DAY_S


def _step_at(fleet: Mapping[str, Residuals], at_s: float, indicator: Indicator, facet: str) -> CommonStep | None:
    moved, boats = _moves(fleet, at_s)
    if moved.size < FEWEST_ENGINES or len(set(boats)) < FEWEST_BOATS:
        return None
    size = float(np.median(moved))
    error = max(1.2533 * spread(moved) / np.sqrt(moved.size), indicator.resolution / np.sqrt(12 * moved.size))
    if abs(size) < max(SIGMAS * error, _smallest(indicator)):
        return None
    follows: BoolArray = np.sign(size) * moved >= abs(size) / 2
    if follows.mean() < SHARE:
        return None
    count = int(np.count_nonzero(follows))
    boats_moved = len({boat for boat, does in zip(boats, follows, strict=True) if does})
    return CommonStep(indicator.name, facet, at_s, size, count, moved.size, boats_moved, error)


def _moves(fleet: Mapping[str, Residuals], at_s: float) -> tuple[FloatArray, list[str]]:
    """Each engine's mean after the moment less its mean before, and its boat, where it has runs on both sides."""
    moved: list[float] = []
    boats: list[str] = []
    reach_s = AROUND_DAYS * DAY_S
    for engine_id, each in fleet.items():
        low, here, high = np.searchsorted(each.at_s, [at_s - reach_s, at_s, at_s + reach_s])
        if here - low >= 2 and high > here:
            moved.append(float(np.mean(each.residual[here:high]) - np.mean(each.residual[low:here])))
            boats.append(engine_id.partition("/")[0])
    return np.asarray(moved), boats


def _smallest(indicator: Indicator) -> float:
    """The smallest common step worth telling: a fifth of what would be watched, the resolution at least."""
    sizes = [size for size in (indicator.limits.watch, indicator.drift.watch) if size and not indicator.drift.is_share]
    return max([indicator.resolution, *(size / 5 for size in sizes[:1])])
