"""Whether readings have become more scattered, whatever their level."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from pipeline.statistics.arrays import FloatArray, median, present
from pipeline.statistics.level import spread

if TYPE_CHECKING:
    from numpy.typing import ArrayLike


@dataclass(frozen=True)
class SpreadChange:
    """Spread now over spread before (robust), and the two-sided p that both are alike; NaN where one is unknown."""

    ratio: float
    p: float
    n_before: int
    n_now: int


def spread_change(before: ArrayLike, now: ArrayLike, *, resolution: float = 0.0) -> SpreadChange:
    """Compare the scatter of two sets of readings about their own medians; NaN readings are left out.

    Ratio of robust spreads, each at least what rounding to `resolution` leaves; p by Brown & Forsythe (1974): Levene's
    test about the medians, which holds up on skewed and heavy-tailed readings. Fewer than three on a side: ratio
    and p are NaN. A spread before of 0 gives a ratio of inf (or 1 where both are 0).
    """
    first, second = present(before), present(now)
    if min(first.size, second.size) < 3:
        return SpreadChange(math.nan, math.nan, first.size, second.size)
    old, new = spread(first, resolution=resolution), spread(second, resolution=resolution)
    ratio = new / old if old else (math.inf if new else 1.0)
    return SpreadChange(ratio, _brown_forsythe(first, second), first.size, second.size)


def _brown_forsythe(first: FloatArray, second: FloatArray) -> float:
    """The p of a one-way F test on the distances from each set's own median; 1 where there is no scatter at all."""
    if not np.ptp(first) and not np.ptp(second):
        return 1.0
    away, away_now = (np.abs(x - median(x)) for x in (first, second))
    n, m = away.size, away_now.size
    middle = (away.sum() + away_now.sum()) / (n + m)
    between = n * (away.mean() - middle) ** 2 + m * (away_now.mean() - middle) ** 2
    within = np.sum((away - away.mean()) ** 2) + np.sum((away_now - away_now.mean()) ** 2)
    if not within:
        return 0.0 if between else math.nan
    return float(special.fdtrc(1, n + m - 2, (n + m - 2) * between / within))
