"""The monitor of one series: whether what came after the baseline stands out, within the budget of false alarms."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from pipeline.catalogue import Indicator
from pipeline.season.like_for_like import LikeForLike
from pipeline.statistics.alarm_budget import CusumDesign, cusum_for_budget
from pipeline.statistics.monitor import cusum

NOW_RUNS: Final = 5
"""Runs that make the level now."""

RUN_LENGTH: Final = 40_000.0
"""Readings between false signals of one monitor, in control. About 30 monitors an engine read about 1.3 runs a day, so
one false signal in about 1,000 engine-days: the budget of false watches. A signal alone is no finding yet; the movement
must also reach the size in the indicator's header."""

POOLED: Final = 8.0
"""Degrees of freedom that the fleet's usual spread counts for beside the engine's own baseline."""

LAG_ONE: Final = 0.2
"""Resemblance of neighbouring runs that the monitors allow for; twelve runs are too few to measure it on each."""

SIGMAS_SHARED: Final = 5.0
"""Spreads that the level must stand off where neighbouring readings share their runs."""

WILD: Final = 8.0
"""One wild run counts for no more than this many spreads."""


def pooled(found: LikeForLike | None, usual_scale: float | None) -> float | None:
    """The engine's own spread and the fleet's usual one, weighed by how much each rests on."""
    if found is None:
        return usual_scale
    if usual_scale is None:
        return found.scale
    own = max(1.0, found.baseline_n - 1.0)
    return math.sqrt((own * found.scale**2 + POOLED * usual_scale**2) / (own + POOLED))


def is_signalled(found: LikeForLike, scale: float | None, indicator: Indicator) -> bool:
    """Whether the monitor of the runs after the baseline stands above its limit now."""
    later = slice(found.baseline_n, None)
    residual = found.residual[later]
    if scale is None or not residual.size:
        return False
    total = np.hypot(found.error[later], scale)
    standardised = np.where(np.isfinite(total), residual / np.where(np.isfinite(total), total, 1.0), 0.0)
    if indicator.looks_back:
        # readings that share their runs make no independent sum: the level itself must stand out
        return bool(abs(np.median(standardised[-NOW_RUNS:])) > SIGMAS_SHARED)
    design = monitor_design(found.baseline_n)
    if design is None:
        return False
    run = cusum(np.clip(standardised, -WILD, WILD), target=0.0, sigma=1.0, k=design.k, h=design.h)
    return bool(max(run.upper[-1], run.lower[-1]) > run.limit)


def monitor_design(baseline_n: int) -> CusumDesign | None:
    """The monitor on a baseline of so many runs that keeps to the budget; None where that is too short for one."""
    return cusum_for_budget(RUN_LENGTH, baseline_n=baseline_n, spread_df=baseline_n - 1 + POOLED, lag_one=LAG_ONE)
