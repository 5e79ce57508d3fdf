"""How far readings resemble their neighbours, and what that costs a trend test or a monitor."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import special

from pipeline.statistics.arrays import FloatArray, in_time_order, mean_ranks, present
from pipeline.statistics.trend import theil_sen

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

FEWEST_READINGS: Final = 10
"""Below this an autocorrelation cannot be told from noise (its standard error exceeds 0.3): none is claimed."""

MOST_LAGS: Final = 10
"""Lags looked at for the trend allowance, at most a quarter of the readings (common practice, no published source)."""


def autocorrelations(values: ArrayLike, lags: int) -> FloatArray:
    """Sample autocorrelations at lags 1 … `lags`, shape (lags,); readings in time order, NaN left out.

    Lags count readings, not time. Readings that are all equal give zeros.
    """
    x = present(values)
    deviation = x - x.mean()
    total = float(deviation @ deviation)
    if total == 0:
        return np.zeros(lags)
    return np.asarray([float(deviation[lag:] @ deviation[:-lag]) / total for lag in range(1, lags + 1)])


def lag_one(values: ArrayLike) -> float:
    """Lag-1 autocorrelation, made up for its small-sample shortfall (1 + 3 r) / n, kept within 0 … 0.95.

    Correction: Kendall (1954), Marriott & Pope (1954), from memory. Negative values count as 0: a gain in precision
    is not claimed. Pass residuals: a step or slope left in looks like autocorrelation. Fewer than ten readings give 0.
    """
    x = present(values)
    if x.size < FEWEST_READINGS:
        return 0.0
    r = float(autocorrelations(x, 1)[0])
    return min(0.95, max(0.0, r + (1 + 3 * r) / x.size))


def variance_inflation(r: float) -> float:
    """(1 + r) / (1 - r): how much wider the variance of a mean of AR(1) readings is. r from 0 to below 1."""
    return (1 + r) / (1 - r)


def trend_variance_factor(t: ArrayLike, y: ArrayLike) -> float:
    """Factor (1 or more) for the variance of Mann-Kendall's S when neighbouring readings resemble each other.

    Hamed & Rao (1998), J. Hydrology 204, 182-196 (from memory): ranks of the readings less their Theil-Sen line,
    autocorrelations significant at 5 %, weights (n-k)(n-k-1)(n-k-2). Ours: lags up to a quarter of n and ten, nothing
    below 1, and 1 below ten readings. Times t and readings y (n,), any order, NaN pairs left out.
    """
    times, values = in_time_order(t, y)
    n = times.size
    line = theil_sen(times, values) if n >= FEWEST_READINGS else None
    if line is None:
        return 1.0
    lags = np.arange(1, min(MOST_LAGS, n // 4) + 1)
    rho = autocorrelations(mean_ranks(values - line.slope * times), lags.size)
    rho[np.abs(rho) <= float(special.ndtri(0.975)) / math.sqrt(n)] = 0
    weights = (n - lags) * (n - lags - 1) * (n - lags - 2)
    return max(1.0, 1 + 2 * float(weights @ rho) / (n * (n - 1) * (n - 2)))
