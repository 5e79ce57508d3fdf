"""Is there a trend, and how steep: Theil-Sen on real abscissae and Mann-Kendall with ties, also given a covariate."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import special

from pipeline.statistics.arrays import CONFIDENCE, FloatArray, Interval, complete, median, middle

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

EXACT_UP_TO: Final = 8
"""Up to this many readings the law of S is counted out; beyond, the normal approximation of the guidance is used."""

EXACT_UP_TO_DOUBLY_TIED: Final = 7
"""Where times and readings both have ties every ordering must be walked; 7! = 5,040 of them is still quick."""


@dataclass(frozen=True)
class TheilSen:
    """A robust line. Slope and interval in reading units per unit of time; n readings, `pairs` slopes between them.

    Two intercepts go by the same name in the literature: `intercept_median_point` puts the line through
    (median t, median y) (USEPA, Conover); `intercept_median_residual` = median(y - slope t) halves the residuals.
    """

    slope: float
    interval: Interval
    intercept_median_point: float
    intercept_median_residual: float
    n: int
    pairs: int


@dataclass(frozen=True)
class MannKendall:
    """Mann-Kendall's test. S counts rising minus falling pairs; p is two-sided; tau = S / (n(n-1)/2), not tau-b."""

    s: float
    variance: float
    z: float
    p: float
    tau: float
    n: int
    is_exact: bool


@dataclass(frozen=True)
class Moments:
    """A partial trend statistic: S given the covariates, its variance, z and two-sided p (normal law)."""

    s: float
    variance: float
    z: float
    p: float
    n: int


@lru_cache(maxsize=64)
def _pairs(n: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    first, second = np.triu_indices(n, 1)
    first.flags.writeable = second.flags.writeable = False
    return first, second


def _steps(values: FloatArray) -> FloatArray:
    """Later minus earlier for all n(n-1)/2 pairs."""
    first, second = _pairs(values.size)
    return np.asarray(values[second] - values[first])


def _tie_sizes(values: FloatArray) -> tuple[int, ...]:
    """Sizes of the groups of equal values, largest first, lone values included."""
    _, counts = np.unique(values, return_counts=True)
    return tuple(sorted(counts.tolist(), reverse=True))


def kendall_variance(t_ties: tuple[int, ...], y_ties: tuple[int, ...]) -> float:
    """Variance of S without trend, given the sizes of the tie groups (lone values as 1) in times and readings.

    Kendall (1970). With distinct times: [n(n-1)(2n+5) - sum u(u-1)(2u+5)] / 18. Ties SUBTRACT.
    """
    n = sum(y_ties)
    t, u = np.asarray(t_ties, dtype=np.float64), np.asarray(y_ties, dtype=np.float64)
    if n < 2:
        return 0.0
    both = float(np.sum(t * (t - 1)) * np.sum(u * (u - 1))) / (2 * n * (n - 1))
    if n > 2:
        both += float(np.sum(t * (t - 1) * (t - 2)) * np.sum(u * (u - 1) * (u - 2))) / (9 * n * (n - 1) * (n - 2))
    single = n * (n - 1) * (2 * n + 5) - sum(float(np.sum(g * (g - 1) * (2 * g + 5))) for g in (t, u))
    return single / 18 + both


@lru_cache(maxsize=1024)
def _tied_law(ties: tuple[int, ...]) -> dict[int, float]:
    """Law of S over all orderings of readings with these tie sizes, at distinct times.

    The inversions of a multiset are counted by the Gaussian multinomial coefficient, built one tie group at a time.
    """
    counts, placed = [1], 0
    for size in ties:
        for extra in range(1, size + 1):
            counts = _divide(_multiply(counts, placed + extra), extra)
        placed += size
    total, most = sum(counts), len(counts) - 1
    return {most - 2 * inversions: count / total for inversions, count in enumerate(counts)}


def _multiply(polynomial: list[int], power: int) -> list[int]:
    """The polynomial times (1 - q^power)."""
    longer = [*polynomial, *[0] * power]
    return [value - (longer[at - power] if at >= power else 0) for at, value in enumerate(longer)]


def _divide(polynomial: list[int], power: int) -> list[int]:
    """The polynomial over (1 - q^power), which divides it without a rest."""
    quotient = polynomial[: len(polynomial) - power]
    for at in range(power, len(quotient)):
        quotient[at] += quotient[at - power]
    return quotient


def _walked_law(times: FloatArray, values: FloatArray) -> dict[int, float]:
    """Law of S by walking every ordering of the readings; right with ties anywhere, meant for a handful of readings."""
    orders = np.asarray(list(itertools.permutations(range(values.size))))
    first, second = _pairs(values.size)
    shuffled = values[orders]
    all_s = np.sign(shuffled[:, second] - shuffled[:, first]) @ np.sign(_steps(times))
    return {int(s): count / len(orders) for s, count in Counter(all_s.tolist()).items()}


def _exact_law(times: FloatArray, values: FloatArray, exact_up_to: int) -> dict[int, float] | None:
    """Law of S by counting orderings, or None where there are too many readings for it."""
    t_ties, y_ties = _tie_sizes(times), _tie_sizes(values)
    if times.size > exact_up_to:
        return None
    if t_ties[0] == 1:
        return _tied_law(y_ties)
    if y_ties[0] == 1:
        return _tied_law(t_ties)
    return _walked_law(times, values) if times.size <= EXACT_UP_TO_DOUBLY_TIED else None


def mann_kendall(
    t: ArrayLike, y: ArrayLike, *, variance_factor: float = 1.0, exact_up_to: int = EXACT_UP_TO
) -> MannKendall:
    """Mann-Kendall trend test of readings y at times t, both (n,), in any order; pairs with a NaN are left out.

    z has the continuity correction. p counts every ordering up to `exact_up_to` readings, ties included, and is
    normal beyond. `variance_factor` (from `autocorrelation.trend_variance_factor`) multiplies the variance and
    switches counting off, since the orderings are then not equally likely. Fewer than two readings: p = 1.
    """
    times, values = complete(t, y)
    n = times.size
    if n < 2:
        return MannKendall(0.0, 0.0, 0.0, 1.0, 0.0, n, is_exact=True)
    s = float(np.sign(_steps(times)) @ np.sign(_steps(values)))
    variance = kendall_variance(_tie_sizes(times), _tie_sizes(values)) * variance_factor
    z = (s - np.sign(s)) / math.sqrt(variance) if variance > 0 else 0.0
    law = _exact_law(times, values, exact_up_to) if variance_factor == 1 else None
    p = 2 * float(special.ndtr(-abs(z))) if law is None else sum(v for k, v in law.items() if abs(k) >= abs(s))
    return MannKendall(s, variance, float(z), min(1.0, p), s / (n * (n - 1) / 2), n, is_exact=law is not None)


def theil_sen(
    t: ArrayLike,
    y: ArrayLike,
    *,
    confidence: float = CONFIDENCE,
    variance_factor: float = 1.0,
    exact_up_to: int = EXACT_UP_TO,
) -> TheilSen | None:
    """Median slope of readings y over times t, both (n,), in any order; pairs with a NaN are left out.

    Interval: Gilbert's ranks (N ± z sd(S)) / 2 with linear interpolation between ordered slopes (trap: SciPy rounds
    the ranks); up to `exact_up_to` readings Hollander & Wolfe's whole ranks from the counted law of S, whose reached
    confidence the interval states. A rank outside the slopes leaves that end open. Times are real (hours, days), never
    the index. None where no two times differ. Works on n(n-1)/2 slopes: 200 readings take less than a millisecond.
    """
    times, values = complete(t, y)
    if times.size < 2 or (run := _steps(times)).any() == np.False_:
        return None
    apart = run != 0
    slopes = np.sort(_steps(values)[apart] / run[apart])
    slope = middle(slopes)
    return TheilSen(
        slope,
        _slope_interval(times, values, slopes, confidence, variance_factor, exact_up_to),
        median(values) - slope * median(times),
        median(values - slope * times),
        times.size,
        slopes.size,
    )


def _slope_interval(
    times: FloatArray,
    values: FloatArray,
    slopes: FloatArray,
    confidence: float,
    variance_factor: float,
    exact_up_to: int,
) -> Interval:
    law = _exact_law(times, values, exact_up_to) if variance_factor == 1 else None
    if law is None:
        sd = math.sqrt(kendall_variance(_tie_sizes(times), _tie_sizes(values)) * variance_factor)
        half, reached = float(special.ndtri((1 + confidence) / 2)) * sd, confidence
    else:
        half, reached = _exact_half_width(law, confidence)
    lower, upper = (slopes.size - half) / 2, (slopes.size + half) / 2 + 1
    if not math.isfinite(half):
        return Interval(None, None, confidence)
    return Interval(_ordered(slopes, lower), _ordered(slopes, upper), reached)


def _exact_half_width(law: dict[int, float], confidence: float) -> tuple[float, float]:
    """Hollander & Wolfe's C: two below the smallest S whose upper tail is at most half the error allowed."""
    tail, width, reached = 0.0, math.inf, 0.0
    for s in sorted(law, reverse=True):
        tail += law[s]
        if s <= 0 or tail > (1 - confidence) / 2 * (1 + 1e-12):
            break
        width, reached = s - 2.0, 1 - 2 * tail
    return width, reached


def _ordered(slopes: FloatArray, rank: float) -> float | None:
    """The slope at a rank counted from 1, between neighbours by linear interpolation; None outside the ranks."""
    if rank < 1 or rank > slopes.size:
        return None
    below = math.floor(rank)
    low = float(slopes[below - 1])
    return low if below == rank else low + (rank - below) * (float(slopes[below]) - low)


def partial_mann_kendall(t: ArrayLike, y: ArrayLike, *covariates: ArrayLike) -> Moments:
    """Trend of y (n,) over t (n,) that the trends of the covariates (each (n,)) do not explain.

    Libiseller & Grimvall (2002), covariances of the S by Dietz & Killeen (1981); no continuity correction, as
    published. Rows with a NaN are left out; times are taken as distinct. A covariate without variation explains
    nothing. A variance of zero gives z = 0, p = 1.
    """
    times, *series = complete(t, y, *covariates)
    table = np.asarray(series)[:, np.argsort(times, kind="stable")]
    n = table.shape[1]
    signs = np.sign(table[:, None, :] - table[:, :, None])
    upper = _pairs(n)
    s = signs[:, upper[0], upper[1]].sum(axis=1)
    ranks = (n + 1 + signs.sum(axis=1)) / 2
    concordance = np.asarray([[np.sum(a[upper] * b[upper]) for b in signs] for a in signs])
    sigma = (concordance + 4 * ranks @ ranks.T - n * (n + 1) ** 2) / 3
    weights = np.linalg.pinv(sigma[1:, 1:]) @ sigma[1:, 0]
    partial = float(s[0] - weights @ s[1:])
    variance = float(sigma[0, 0] - weights @ sigma[1:, 0])
    z = partial / math.sqrt(variance) if variance > 1e-9 * max(1.0, float(sigma[0, 0])) else 0.0
    return Moments(partial, variance, z, 2 * float(special.ndtr(-abs(z))), n)
