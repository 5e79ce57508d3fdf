"""Monitor limits set from a budget of false alarms for the whole fleet and season, not from a textbook three sigma."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import optimize, special

from pipeline.statistics.autocorrelation import variance_inflation
from pipeline.statistics.run_length import ENDLESS, cusum_arl_from

if TYPE_CHECKING:
    from pipeline.statistics.arrays import FloatArray

MAD_EFFICIENCY: Final = 0.37
"""Of the MAD against the standard deviation, normal readings (asymptotic, Hampel 1974): n readings count 0.37 n."""

BASELINE_SIZES: Final = (5, 6, 7, 8, 10, 12, 15, 20, 25, 30, 40, 50, 75, 100, 150, 200, 300, 500, 1000)
"""Baseline sizes are rounded down to one of these, so that a fleet's many designs are computed once."""

WIDEST_LIMIT: Final = 60.0
"""In sigmas; a design that would need more is no monitor: the baseline is too short."""

_MEAN_POINTS, _SPREAD_POINTS, _NODES = 9, 15, 64


@dataclass(frozen=True)
class CusumDesign:
    """A two-sided CUSUM for estimated baselines: k and h in estimated sigmas; `rate` false alarms a decision."""

    k: float
    h: float
    rate: float


def expected_false_alarms(decisions: float, arl: float) -> float:
    """False alarms to expect: decisions (readings judged) / in-control average run length."""
    return decisions / arl


def run_for_budget(decisions: float, alarms: float) -> float:
    """In-control run length, in readings, that spends `alarms` false alarms on so many decisions.

    Raises ValueError unless both are positive.
    """
    if decisions <= 0 or alarms <= 0:
        raise ValueError(f"decisions and alarms must be positive, got {decisions} and {alarms}")
    return decisions / alarms


def _laws(mean_n: int, spread_df: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Equally good stand-ins for what estimating leaves open: shift and scale of standardised readings, with weights.

    The baseline's mean errs by N(0, 1/n); its variance by a chi-square over its degrees of freedom.
    """
    points, weights = special.roots_hermitenorm(_MEAN_POINTS)
    shift, share = points / math.sqrt(mean_n), weights / weights.sum()
    # Gauss-Legendre over the probability, which keeps the heavy end of few degrees of freedom in view.
    at, mass = np.polynomial.legendre.leggauss(_SPREAD_POINTS)
    too_small = np.sqrt(2 * special.gammaincinv(spread_df / 2, (at + 1) / 2) / spread_df)
    grid_shift, grid_scale = np.meshgrid(shift, 1 / too_small)
    grid_share = np.outer(mass / 2, share)
    return grid_shift.ravel() * grid_scale.ravel(), grid_scale.ravel(), grid_share.ravel()


def false_alarm_rate(k: float, h: float, mean_n: int, spread_df: float, lag_one: float = 0.0) -> float:
    """Expected false alarms a reading of a two-sided CUSUM on an estimated baseline, long run.

    The rate 1/ARL averaged over what the baseline may have got wrong: mean from `mean_n` readings, spread with
    `spread_df` degrees of freedom. Method: numerical integration of the run-length equation over both errors (ours,
    held against a simulation in the tests; the effect is the one described by Jensen, Jones-Farmer, Champ & Woodall
    2006). Residuals that are AR(1) with autocorrelation `lag_one` (0 … 0.95) have sums that wander like independent
    ones of sd sqrt((1+r)/(1-r)), less r/(1-r) times the last residual (Beveridge & Nelson 1981), taken as one sd at
    both ends of a climb. By simulation runs are then 0.95 to 1.3 times those asked for, up to r = 0.5.
    """
    shift, spread, share = _laws(mean_n, spread_df)
    wander = math.sqrt(variance_inflation(lag_one))
    scale = spread * wander
    # Beyond a limit of 40 the run is endless for any purpose, and the equation has no digits left.
    reach = np.minimum(h / scale + 2 * lag_one / (1 - lag_one) / wander, 40.0)
    run = cusum_arl_from(np.zeros(shift.size), k / scale, reach, shift / scale, _NODES)
    run = np.where((run > 0) & (run < ENDLESS), np.maximum(run, 1.0), ENDLESS)
    return 2 * float(share @ (1 / run))


@lru_cache(maxsize=4096)
def _design(arl: float, k: float, mean_n: int, spread_df: float, lag_one: float) -> CusumDesign | None:
    @lru_cache
    def excess(h: float) -> float:
        return math.log(false_alarm_rate(k, h, mean_n, spread_df, lag_one) * arl)

    if excess(WIDEST_LIMIT) > 0:
        return None
    h = float(optimize.brentq(excess, 0.5, WIDEST_LIMIT, xtol=1e-3))
    return CusumDesign(k, h, 1 / arl)


def allowance(baseline_n: int, smallest_shift: float = 1.0) -> float:
    """The k, in sigmas, that suits a baseline of so many readings: half the shift to find plus 1.5 / sqrt(n).

    Half the shift is the textbook choice; the rest is ours. The baseline's own mean is off by about 1 / sqrt(n), and a
    sum that allows less than that runs away sooner or later on a healthy engine, at any h.
    """
    return smallest_shift / 2 + 1.5 / math.sqrt(baseline_n)


def cusum_for_budget(
    arl: float, *, baseline_n: int, spread_df: float | None = None, lag_one: float = 0.0, k: float | None = None
) -> CusumDesign | None:
    """The two-sided CUSUM that keeps a wanted in-control run length although its baseline was estimated.

    `baseline_n` readings gave the centre; `spread_df` degrees of freedom the spread (default baseline_n - 1; pass
    more when it was pooled over engines, MAD_EFFICIENCY of it for a bare MAD). k defaults to `allowance(baseline_n)`.
    Sizes are rounded down to BASELINE_SIZES and `lag_one` up to a tenth, so that results are shared. None for fewer
    than five readings or where h would pass WIDEST_LIMIT.
    """
    sizes = [size for size in BASELINE_SIZES if size <= baseline_n]
    if not sizes:
        return None
    df = _rounded_down(spread_df if spread_df is not None else baseline_n - 1)
    rounded_lag = min(0.9, math.ceil(lag_one * 10 - 1e-9) / 10)
    return _design(arl, allowance(sizes[-1]) if k is None else k, sizes[-1], df, rounded_lag)


def _rounded_down(df: float) -> float:
    steps = [1.0, 2.0, 3.0, 4.0, *(float(size) for size in BASELINE_SIZES)]
    return max((step for step in steps if step <= df), default=1.0)
