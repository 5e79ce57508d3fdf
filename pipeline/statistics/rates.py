"""Rates and scores for judging the watch itself: Wilson's interval, and accuracy of predicted remaining life."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from pipeline.statistics.arrays import CONFIDENCE, FloatArray, Interval

if TYPE_CHECKING:
    from numpy.typing import ArrayLike


def wilson(count: int, n: int, *, confidence: float = CONFIDENCE) -> Interval:
    """Interval of a rate from `count` of `n`, Wilson's score form without continuity correction (Newcombe 1998).

    Open on both sides for n = 0. Raises ValueError unless 0 <= count <= n.
    """
    if not 0 <= count <= n:
        raise ValueError(f"expected 0 <= count <= n, got {count} of {n}")
    if n == 0:
        return Interval(None, None, confidence)
    z = float(special.ndtri((1 + confidence) / 2))
    share, weight = count / n, z * z / n
    middle = (share + weight / 2) / (1 + weight)
    half = z * math.sqrt(share * (1 - share) / n + weight / (4 * n)) / (1 + weight)
    # The ends are 0 and 1 exactly where nothing or everything was counted; rounding must not carry them past.
    return Interval(middle - half if count else 0.0, middle + half if count < n else 1.0, confidence)


def asymmetric_score(error: ArrayLike) -> FloatArray:
    """Penalty of each error = predicted - true remaining life, in the unit of the challenge (cycles): late costs more.

    exp(-d/13) - 1 below 0, exp(d/10) - 1 from 0 on (Saxena, Goebel, Simon & Eklund 2008). Shape kept.
    """
    d = np.asarray(error, dtype=np.float64)
    return np.asarray(np.where(d < 0, np.expm1(-d / 13), np.expm1(d / 10)))


def relative_accuracy(predicted_remaining: float, true_remaining: float) -> float:
    """1 - |true - predicted| / true remaining life (Saxena et al. 2010). Raises ValueError unless true > 0."""
    if true_remaining <= 0:
        raise ValueError(f"true remaining life must be positive, got {true_remaining}")
    return 1 - abs(true_remaining - predicted_remaining) / true_remaining


def time_at(fraction: float, first_prediction: float, end_of_life: float) -> float:
    """The time a fraction lambda of the way from first prediction to end of life. Trap: lambda is no absolute time."""
    return first_prediction + fraction * (end_of_life - first_prediction)


def is_alpha_lambda_accurate(predicted_remaining: float, true_remaining: float, alpha: float = 0.2) -> bool:
    """Whether the predicted remaining life lies within ± alpha of the true one (Saxena et al. 2010)."""
    return abs(predicted_remaining - true_remaining) <= alpha * true_remaining


def prognostic_horizon(t: ArrayLike, predicted_end: ArrayLike, true_end: float, alpha: float = 0.2) -> float | None:
    """True end of life minus the first time from which predictions stay within ± alpha * true end, in the unit of t.

    Times (n,) ascending with the end predicted at each (Saxena et al. 2010; NaN counts as outside). None where the
    last prediction is still outside.
    """
    times, ends = np.asarray(t, dtype=np.float64), np.asarray(predicted_end, dtype=np.float64)
    outside = np.flatnonzero(~(np.abs(ends - true_end) <= alpha * true_end))
    first = int(outside[-1]) + 1 if outside.size else 0
    return float(true_end - times[first]) if first < times.size else None
