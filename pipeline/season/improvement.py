"""The last clear step for the better in a series: it is no finding, and starts the comparison anew."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.catalogue import Indicator
from pipeline.history import FloatArray
from pipeline.season.like_for_like import LikeForLike, worth_telling
from pipeline.season.monitoring import NOW_RUNS

EITHER_SIDE: Final = 3
"""Runs on either side of an improvement, at least."""

IntArray = NDArray[np.intp]


def improvement(found: LikeForLike | None, values: FloatArray, indicator: Indicator, facet: str) -> int | None:
    """Index of the first reading after the last clear step for the better; None where there is none.

    Getting better is no finding: a repair, a re-set target or a corrected table starts the comparison anew. Clear is:
    five runs before against up to five after, at least three, further apart than half of what would be watched and
    than five standard errors.
    """
    if found is None or len(values) < 2 * EITHER_SIDE:
        return None
    away = _badness(found, indicator, facet)
    if float(np.max(away)) < worth_telling(indicator, found.expectation.level):
        return None
    gain, error = _gains(away, found.scale)
    least = max(worth_telling(indicator, found.expectation.level) / 2, 4 * found.scale)
    clear = np.flatnonzero(gain > np.maximum(least, 5 * error))
    if not clear.size:
        return None
    # of the last group of neighbouring candidates the one that stands out most from its own scatter
    last = clear[clear >= clear[-1] - NOW_RUNS]
    return int(last[np.argmax(gain[last] / error[last])]) + EITHER_SIDE


def _gains(away: FloatArray, scale: float) -> tuple[FloatArray, FloatArray]:
    """How much better the runs from each place on are than those before it, and the standard error of that.

    Both (n - 5,), the first for a change at index 3: up to five runs on either side, at least three.
    """
    places = np.arange(EITHER_SIDE, len(away) - EITHER_SIDE + 1)
    before = _mean_and_spread(away, np.maximum(0, places - NOW_RUNS), places)
    after = _mean_and_spread(away, places, np.minimum(len(away), places + NOW_RUNS))
    spread = np.maximum(scale, np.maximum(before[1], after[1]))
    counts = 1 / (places - np.maximum(0, places - NOW_RUNS)) + 1 / (np.minimum(len(away), places + NOW_RUNS) - places)
    return before[0] - after[0], spread * np.sqrt(counts)


def _mean_and_spread(values: FloatArray, low: IntArray, high: IntArray) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of values[low:high] for many stretches at once, from running sums."""
    level = values - values.mean()
    sums = np.concatenate([[0.0], np.cumsum(level)])
    squares = np.concatenate([[0.0], np.cumsum(level**2)])
    count = high - low
    mean = (sums[high] - sums[low]) / count
    variance = (squares[high] - squares[low] - count * mean**2) / np.maximum(count - 1, 1)
    return mean + values.mean(), np.sqrt(np.maximum(variance, 0.0))


def _badness(found: LikeForLike, indicator: Indicator, facet: str) -> FloatArray:
    """How bad each reading is, upwards, at the baseline's own temperature and voltage: how far beyond what is wanted.

    So an error that was there from commissioning on and was put right starts anew too.
    """
    if indicator.worse == "higher":
        return found.residual
    if indicator.worse == "lower":
        return -found.residual
    if indicator.judged.against == "baseline":
        return np.abs(found.residual)
    low, high = indicator.wanted.get(facet, (0.0, 0.0))
    like = found.expectation.level + found.residual
    return np.asarray(np.maximum(np.maximum(low - like, like - high), 0.0))
