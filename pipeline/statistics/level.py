"""Robust centre and spread of a set of readings, and the level they stand at now with an honest interval."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from scipy import special

from pipeline.statistics.arrays import CONFIDENCE, FloatArray, Interval, median, middle, present

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

MAD_TO_SIGMA: Final = 1 / float(special.ndtri(0.75))
"""1.4826022: the median absolute deviation of a normal law times this is its standard deviation."""

MEAN_DEVIATION_TO_SIGMA: Final = math.sqrt(math.pi / 2)
"""1.2533141: the mean absolute deviation of a normal law times this is its standard deviation."""

MOVING_RANGE_TO_SIGMA: Final = 1 / 1.128
"""Mean range of two normal readings is 1.128 sigma (d2 of the control-chart tables; NIST e-Handbook 6.3.2.2)."""

MODIFIED_Z_LIMIT: Final = 3.5
"""A modified z-score beyond this flags an outlier (Iglewicz & Hoaglin, in NIST e-Handbook 1.3.5.17)."""

SMALL_SAMPLE_MAD: Final = {2: 1.196, 3: 1.495, 4: 1.363, 5: 1.206, 6: 1.200, 7: 1.140, 8: 1.129, 9: 1.107}
"""Factor that makes the scaled MAD of n normal readings right on average (Croux & Rousseeuw 1992, from memory;
held against a simulation in the tests). From n = 10 it is n / (n - 0.8)."""

EXACT_SIGNED_RANK_UP_TO: Final = 50
"""Up to this count the signed-rank law is counted out, beyond it the normal law is as good."""


@dataclass(frozen=True)
class CentreScale:
    """Centre and spread (one standard deviation's worth), both in the readings' unit, of n readings."""

    centre: float
    scale: float
    n: int


@dataclass(frozen=True)
class Level:
    """Where the readings stand. `method` says what the interval rests on; 'open' means too few for any interval."""

    value: float
    interval: Interval
    n: int
    method: Literal["signed rank", "student", "usual spread", "binomial", "open"]


def scaled_mad(values: ArrayLike, *, unbiased: bool = False) -> float:
    """Median absolute deviation times 1.4826, in the readings' unit; NaN readings are left out, none at all gives NaN.

    `unbiased` also makes up for the MAD's shortfall in small samples. Trap: DuckDB's and SciPy's MAD are unscaled.
    """
    x = present(values)
    if not x.size:
        return math.nan
    raw = known_mad(x)
    return raw * _mad_correction(x.size) if unbiased else raw


def known_mad(x: FloatArray) -> float:
    """`scaled_mad` of readings (n,), one or more, none of which is NaN, for fits that ask for it at every turn."""
    off = np.abs(x - median(x))
    off.sort()
    return MAD_TO_SIGMA * middle(off)


def _mad_correction(n: int) -> float:
    return 1.0 if n == 1 else SMALL_SAMPLE_MAD.get(n, n / (n - 0.8))


def spread(values: ArrayLike, *, resolution: float = 0.0) -> float:
    """Robust standard deviation that stays usable on rounded readings, in their unit; no reading gives NaN.

    The small-sample MAD; where more than half the readings are equal (MAD 0) the mean absolute deviation times 1.2533;
    never below the standard deviation that rounding to `resolution` alone leaves, resolution / sqrt(12).
    """
    x = present(values)
    return known_spread(x, resolution) if x.size else math.nan


def known_spread(x: FloatArray, resolution: float) -> float:
    """`spread` of readings (n,), one or more, none of which is NaN, for fits that ask for it at every turn."""
    found = known_mad(x) * _mad_correction(x.size)
    if not found:
        found = MEAN_DEVIATION_TO_SIGMA * float(np.mean(np.abs(x - median(x))))
    return max(found, resolution / math.sqrt(12))


def moving_range_sigma(values: ArrayLike) -> float:
    """Standard deviation from the mean range of neighbours, in time order: a slow drift hardly adds to it.

    NIST e-Handbook 6.3.2.2. Fewer than two readings give NaN.
    """
    x = present(values)
    return float(np.mean(np.abs(np.diff(x)))) * MOVING_RANGE_TO_SIGMA if x.size > 1 else math.nan


def median_and_mad(values: ArrayLike) -> CentreScale:
    """Median and scaled MAD. The most resistant pair: up to half the readings may be wrong. No reading gives NaN."""
    x = present(values)
    return CentreScale(median(x) if x.size else math.nan, scaled_mad(x), x.size)


def huber_proposal_2(values: ArrayLike, *, k: float = 1.5, tolerance: float = 1e-9) -> CentreScale:
    """Huber's joint estimate of centre and scale: readings beyond k scales count as if they stood at k scales.

    Huber (1964), proposal 2, as in Venables & Ripley. About 4 % less efficient than mean and sd on clean normal
    readings. Where the MAD is 0 there is nothing to iterate from: median and 0. No reading gives NaN.
    """
    x = present(values)
    start = median_and_mad(x)
    if x.size < 2 or start.scale == 0:
        return start
    inside = 2 * float(special.ndtr(k)) - 1
    density = math.exp(-k * k / 2) / math.sqrt(2 * math.pi)
    consistency = inside + k * k * (1 - inside) - 2 * k * density
    centre, scale = start.centre, start.scale
    for _ in range(200):
        pulled_in = np.clip(x, centre - k * scale, centre + k * scale)
        last_centre, last_scale = centre, scale
        centre = float(pulled_in.mean())
        scale = math.sqrt(float(np.sum((pulled_in - centre) ** 2)) / (x.size - 1) / consistency)
        if abs(centre - last_centre) + abs(scale - last_scale) <= tolerance * last_scale:
            break
    return CentreScale(centre, scale, x.size)


def modified_z(values: ArrayLike) -> FloatArray:
    """0.6745 (x - median) / MAD for each reading, shape kept, NaN stays NaN; flag beyond MODIFIED_Z_LIMIT.

    Iglewicz & Hoaglin (1993), quoted in NIST e-Handbook 1.3.5.17. With a MAD of 0 the mean absolute deviation times
    1.2533 stands in; readings that are all equal score 0.
    """
    x = np.asarray(values, dtype=np.float64)
    found = present(x)
    deviation = x - (np.median(found) if found.size else math.nan)
    raw = float(np.median(np.abs(found - np.median(found)))) if found.size else math.nan
    if raw:
        return np.asarray(0.6745 * deviation / raw)
    scale = MEAN_DEVIATION_TO_SIGMA * float(np.mean(np.abs(found - np.median(found))))
    return np.asarray(deviation / scale if scale else deviation)


def weighted_median(values: ArrayLike, weights: ArrayLike) -> float:
    """The value with half the weight on either side; at exactly half, the middle of its two neighbours.

    Both of shape (n,). Readings that are NaN or weigh nothing are left out, none left gives NaN; equal weights give
    the ordinary median. Raises ValueError on a negative weight.
    """
    x, w = np.asarray(values, dtype=np.float64), np.asarray(weights, dtype=np.float64)
    if (w < 0).any():
        raise ValueError("weights must not be negative")
    kept = ~np.isnan(x) & (w > 0)
    if not kept.any():
        return math.nan
    order = np.argsort(x[kept], kind="stable")
    x, below = x[kept][order], np.cumsum(w[kept][order])
    half = below[-1] / 2
    at = int(np.searchsorted(below, half * (1 - 1e-12)))
    is_split = math.isclose(below[at], half, rel_tol=1e-12)
    return float((x[at] + x[at + 1]) / 2 if is_split else x[at])


@lru_cache(maxsize=128)
def signed_rank_law(n: int) -> FloatArray:
    """Probability of each value 0 … n(n+1)/2 of Wilcoxon's signed-rank statistic for n readings without ties."""
    law = np.ones(1)
    for rank in range(1, n + 1):
        wider = np.zeros(law.size + rank)
        wider[: law.size] = law / 2
        wider[rank:] += law / 2
        law = wider
    law.flags.writeable = False
    return law


@lru_cache(maxsize=1024)
def _cut_ranks(n: int, confidence: float) -> tuple[int, float]:
    """How many Walsh averages to cut off each end, and the confidence that leaves; cutting 0 means no interval."""
    if n <= EXACT_SIGNED_RANK_UP_TO:
        below = np.cumsum(signed_rank_law(n))
        cut = int(np.searchsorted(below, (1 - confidence) / 2 * (1 + 1e-12), side="right"))
        return cut, 1 - 2 * float(below[cut - 1]) if cut else 0.0
    sd = math.sqrt(n * (n + 1) * (2 * n + 1) / 24)
    return math.floor(n * (n + 1) / 4 - float(special.ndtri((1 + confidence) / 2)) * sd), confidence


@lru_cache(maxsize=64)
def _pairs_and_selves(n: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    first, second = np.triu_indices(n)
    first.flags.writeable = second.flags.writeable = False
    return first, second


def hodges_lehmann(values: ArrayLike, *, confidence: float = CONFIDENCE) -> Level:
    """Median of all pairwise means, with the interval that inverts the signed-rank test.

    Distribution-free for symmetric readings (Hollander & Wolfe). The interval's `confidence` is the one reached, at
    least the one asked; 95 % needs six readings, with fewer both ends are open. Ties make it conservative. NaN
    readings are left out; none at all gives NaN.
    """
    x = np.sort(present(values))
    if not x.size:
        return Level(math.nan, Interval(None, None, confidence), 0, "open")
    first, second = _pairs_and_selves(x.size)
    walsh = np.sort((x[first] + x[second]) / 2)
    cut, reached = _cut_ranks(x.size, confidence)
    value = middle(walsh)
    if not cut:
        return Level(value, Interval(None, None, confidence), x.size, "open")
    return Level(value, Interval(float(walsh[cut - 1]), float(walsh[-cut]), reached), x.size, "signed rank")


def level_now(
    values: ArrayLike, *, confidence: float = CONFIDENCE, usual: CentreScale | None = None, inflation: float = 1.0
) -> Level:
    """Robust level of the last readings with an interval that does not pretend, in the readings' unit.

    Six or more (at 95 %): Hodges-Lehmann. Fewer, with a usual spread known from a baseline: median ± Student's t (the
    baseline's n - 1 degrees of freedom) times that spread / sqrt(n), assuming the spread has not changed. Without
    one: three to five readings give Student's interval about the mean, widened by a wild reading as it should be (the
    median always lies inside); one or two are open. `inflation` (1 or more) widens the interval for autocorrelation:
    pass sqrt((1 + r) / (1 - r)). NaN readings are left out; none at all gives NaN.
    """
    x = present(values)
    if x.size and _cut_ranks(x.size, confidence)[0]:
        return _widened(hodges_lehmann(x, confidence=confidence), inflation)
    value = median(x) if x.size else math.nan
    if x.size and usual is not None and usual.n > 1:
        half = _student(confidence, usual.n - 1) * usual.scale * _median_cost(x.size) / math.sqrt(x.size)
        return _widened(
            Level(value, Interval(value - half, value + half, confidence), x.size, "usual spread"), inflation
        )
    if x.size > 2:
        mean, half = float(x.mean()), _student(confidence, x.size - 1) * float(x.std(ddof=1)) / math.sqrt(x.size)
        return _widened(Level(value, Interval(mean - half, mean + half, confidence), x.size, "student"), inflation)
    return Level(value, Interval(None, None, confidence), x.size, "open")


@lru_cache(maxsize=1024)
def _student(confidence: float, freedom: int) -> float:
    return float(special.stdtrit(freedom, (1 + confidence) / 2))


def _median_cost(n: int) -> float:
    """Upper bound of sd(median) / sd(mean) for normal readings: 1 for one or two readings, else sqrt(pi / 2)."""
    return 1.0 if n < 3 else math.sqrt(math.pi / 2)


def _widened(level: Level, inflation: float) -> Level:
    if level.interval.low is None or level.interval.high is None or inflation <= 1:
        return level
    low, high = (level.value + (end - level.value) * inflation for end in (level.interval.low, level.interval.high))
    return Level(level.value, Interval(low, high, level.interval.confidence), level.n, level.method)
