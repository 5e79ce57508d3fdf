"""One lasting step in a series: where it is, how large, and whether chance explains it; and several steps at most.

Positions are 0-based indices into the readings given: `last_before` is the last reading of the old level, `first_after`
the first of the new one. The literature's "change at t = 28" counts from 1 and means last_before = 27.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from pipeline.statistics.arrays import mean_ranks, present

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from pipeline.statistics.arrays import FloatArray


@dataclass(frozen=True)
class Change:
    """Where a test sees its most likely single step. `statistic` is the test's own; p is None where it has none."""

    last_before: int
    first_after: int
    statistic: float
    p: float | None
    n: int


@dataclass(frozen=True)
class Step:
    """The least-squares step: means in the readings' unit, residual sums of squares without and with the step, max F.

    `p` allows for the search over all positions and for nothing else: independent, roughly normal readings.
    """

    last_before: int
    first_after: int
    mean_before: float
    mean_after: float
    constant_ss: float
    residual_ss: float
    f: float
    p: float
    n: int


@dataclass(frozen=True)
class Segments:
    """The best cut into constant stretches: first index of each stretch after the first, and the residual SS."""

    starts: tuple[int, ...]
    residual_ss: float
    n: int


def pettitt(values: ArrayLike) -> Change:
    """Pettitt's rank test (1979): K = max |U|, p = 2 exp(-6 K² / (n³ + n²)), capped at 1. NaN readings are left out.

    Resistant to wild readings. Raises ValueError for fewer than two readings.
    """
    x = _at_least_two(values)
    n = x.size
    u = 2 * np.cumsum(mean_ranks(x))[:-1] - np.arange(1, n) * (n + 1)
    at = int(np.argmax(np.abs(u)))
    k = float(abs(u[at]))
    return Change(at, at + 1, k, min(1.0, 2 * math.exp(-6 * k * k / (n**3 + n**2))), n)


def standard_normal_homogeneity(values: ArrayLike) -> Change:
    """Alexandersson's statistic (1986): max of m z1² + (n - m) z2², z scaled by the sample sd. No p. NaN left out.

    Readings that are all equal give 0 at the first position. Raises ValueError for fewer than two readings.
    """
    x = _at_least_two(values)
    z = _standardised(x, float(x.std(ddof=1)))
    before = np.arange(1, x.size)
    total = np.cumsum(z)[:-1]
    statistic = total**2 / before + total**2 / (x.size - before)
    at = int(np.argmax(statistic))
    return Change(at, at + 1, float(statistic[at]), None, x.size)


def buishand_range(values: ArrayLike) -> Change:
    """Buishand's range (1982): (max - min of the adjusted partial sums) / sqrt(n), scaled by the population sd. No p.

    The position is the sum farthest from 0. NaN left out. Raises ValueError for fewer than two readings.
    """
    x = _at_least_two(values)
    sums = np.concatenate([[0.0], np.cumsum(_standardised(x, float(x.std())))])
    at = int(np.argmax(np.abs(sums[1:-1])))
    return Change(at, at + 1, float(np.ptp(sums)) / math.sqrt(x.size), None, x.size)


def _at_least_two(values: ArrayLike) -> FloatArray:
    x = present(values)
    if x.size < 2:
        raise ValueError(f"a change needs two readings or more, got {x.size}")
    return x


def _standardised(x: FloatArray, sd: float) -> FloatArray:
    return np.asarray((x - x.mean()) / sd) if sd > 0 else np.zeros(x.size)


def least_squares_step(values: ArrayLike, *, shortest: int = 1, variance_factor: float = 1.0) -> Step | None:
    """The single step that leaves the least residual sum of squares, with at least `shortest` readings either side.

    F = (SS0 - SS1) / (SS1 / (n - 2)). p is the smaller of two upper-tail values for the largest of many dependent F:
    Bonferroni's, and Vostrikova's (1981) for the largest standardised bridge (form of Yao & Davis 1986, from memory),
    F turned into its normal equivalent; held against a simulation in the tests. `variance_factor`, (1 + r) / (1 - r)
    for AR(1) readings, divides F before p. NaN readings are left out. None for fewer than three readings or no room.
    """
    x = present(values)
    n = x.size
    before = np.arange(shortest, n - shortest + 1)
    if n < 3 or not before.size:
        return None
    total = np.cumsum(x - x.mean())
    gain = total[before - 1] ** 2 * n / (before * (n - before.astype(np.float64)))
    m = int(before[np.argmax(gain)])
    constant_ss = float(np.sum((x - x.mean()) ** 2))
    first, second = float(x[:m].mean()), float(x[m:].mean())
    residual_ss = float(np.sum((x[:m] - first) ** 2) + np.sum((x[m:] - second) ** 2))
    f = _f_of_step(constant_ss, residual_ss, n)
    p = _largest_f_tail(f / variance_factor, n, before.size, shortest / n)
    return Step(m - 1, m, first, second, constant_ss, residual_ss, f, p, n)


def _f_of_step(constant_ss: float, residual_ss: float, n: int) -> float:
    gain = constant_ss - residual_ss
    if residual_ss <= 1e-14 * constant_ss:
        return math.inf if constant_ss > 0 else 0.0
    return gain / (residual_ss / (n - 2))


def _largest_f_tail(f: float, n: int, positions: int, margin: float) -> float:
    single = float(special.fdtrc(1, n - 2, max(f, 0.0)))
    bonferroni = positions * single
    x = -float(special.ndtri(single / 2)) if single > 0 else math.inf
    if not 1 < x < math.inf:
        return min(1.0, bonferroni)
    log_range = 2 * math.log((1 - margin) / margin)
    bridge = x * math.exp(-x * x / 2) / math.sqrt(2 * math.pi) * (log_range * (1 - 1 / x**2) + 4 / x**2)
    return min(1.0, bonferroni, bridge)


def best_segments(values: ArrayLike, *, steps: int, shortest: int) -> Segments | None:
    """The cut into `steps` + 1 constant stretches, each of `shortest` readings or more, with the least residual SS.

    Exact, by dynamic programming (Bai & Perron 2003) over n² segment costs. NaN readings are left out. None where the
    readings do not hold that many stretches.
    """
    x = present(values)
    n = x.size
    if n < (steps + 1) * shortest or n == 0:
        return None
    cost = _segment_costs(x, shortest)
    best, cuts = cost[0], []
    for _ in range(steps):
        through = best[:, None] + np.vstack([cost[1:], np.full(n, math.inf)])
        cuts.append(np.argmin(through, axis=0))
        best = through.min(axis=0)
    ends, at = [], n - 1
    for cut in reversed(cuts):
        at = int(cut[at])
        ends.append(at)
    return Segments(tuple(end + 1 for end in reversed(ends)), float(best[-1]), n)


def _segment_costs(x: FloatArray, shortest: int) -> FloatArray:
    """Residual SS of x[i..j] about its mean at [i, j]; inf where the stretch is too short."""
    centred = x - x.mean()
    one, two = (np.concatenate([[0.0], np.cumsum(power)]) for power in (centred, centred**2))
    count = np.arange(1, x.size + 1)[None, :] - np.arange(x.size)[:, None]
    is_long = count >= shortest
    size = np.where(is_long, count, 1)
    ss = (two[None, 1:] - two[:-1, None]) - (one[None, 1:] - one[:-1, None]) ** 2 / size
    return np.where(is_long, np.maximum(ss, 0.0), math.inf)
