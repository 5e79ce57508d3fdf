"""One engine's readings against its own baseline at like temperature and voltage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from pipeline.catalogue import Indicator
from pipeline.history import FloatArray, Series
from pipeline.statistics.adjust import Expectation, SlopePrior, adjust, learn_expectation
from pipeline.statistics.trend import mann_kendall, theil_sen

BASELINE_RUNS: Final = 12
"""Runs that make a baseline (common practice, no published source)."""

FEWEST_RUNS: Final = 5
"""Below this the engine is still being learned and nothing is said about movement."""

MOVING_P: Final = 0.001
"""A trend this unlikely by chance within the baseline's own runs (Mann-Kendall, two-sided), of a size worth telling,
means that the engine was moving already: its first FEWEST_RUNS runs are the baseline then, or the baseline would hold
half of the fault. A healthy series meets it about once in a thousand."""


@dataclass(frozen=True, eq=False)
class LikeForLike:
    """Readings of one epoch less what the baseline expects, (n,) in the indicator's unit, NaN where it cannot be told.

    `error` (n,) is the standard error of the expectation, `scale` the run-to-run spread, `resolution` how
    coarsely readings come, `baseline_n` the runs that made the baseline; `expectation` says what it depends on.
    """

    residual: FloatArray
    error: FloatArray
    scale: float
    resolution: float
    baseline_n: int
    expectation: Expectation


def like_for_like(series: Series, values: FloatArray, indicator: Indicator) -> LikeForLike | None:
    """Learn the baseline from the first runs and take it from all of them; None while there are too few.

    `values` are the readings to use in place of the series' own, the fleet's common movement taken out.
    """
    if len(series) < FEWEST_RUNS:
        return None
    known = [name for name in indicator.covariates if not np.isnan(_covariate(series, name)).all()]
    covariates = [_covariate(series, name) for name in known]
    priors = tuple(_prior(indicator, name) for name in known)
    resolution = max(indicator.resolution, seen_resolution(series.value))
    expectation = _first(BASELINE_RUNS, values, covariates, priors, resolution)
    if expectation is None:
        return None
    adjusted = adjust(expectation, values, covariates)
    worth = worth_telling(indicator, expectation.level)
    at_s, residual = series.at_s[:BASELINE_RUNS], adjusted.residual[:BASELINE_RUNS]
    if not indicator.looks_back and _is_moving(at_s.tobytes(), residual.tobytes(), worth):
        expectation = _first(FEWEST_RUNS, values, covariates, priors, resolution) or expectation
        adjusted = adjust(expectation, values, covariates)
    return LikeForLike(
        residual=adjusted.residual,
        error=adjusted.error,
        scale=max(expectation.scale, resolution / np.sqrt(12)),
        resolution=resolution,
        baseline_n=expectation.n,
        expectation=expectation,
    )


def worth_telling(indicator: Indicator, level: float) -> float:
    """The movement that is watched, in the indicator's unit: the header's drift, or the watch limit; 0 without any."""
    if indicator.drift.watch is None:
        return indicator.limits.watch or 0.0
    return indicator.drift.watch * (abs(level) if indicator.drift.is_share else 1.0)


def _first(
    runs: int,
    values: FloatArray,
    covariates: Sequence[FloatArray],
    priors: tuple[SlopePrior | None, ...],
    resolution: float,
) -> Expectation | None:
    first = slice(0, runs)
    return _learned(values[first].tobytes(), tuple(each[first].tobytes() for each in covariates), priors, resolution)


@lru_cache(maxsize=40_000)
def _is_moving(at_s: bytes, residual: bytes, worth: float) -> bool:
    """Whether the runs of a baseline themselves moved one way, by at least half of what is worth telling.

    Asked of the bytes of float arrays and remembered, as what was learned of them is.
    """
    times, values = np.frombuffer(at_s), np.frombuffer(residual)
    trend = theil_sen(times, values)
    if trend is None or abs(trend.slope) * float(np.ptp(times)) < worth / 2:
        return False
    return mann_kendall(times, values).p < MOVING_P


@lru_cache(maxsize=40_000)
def _learned(
    values: bytes, covariates: tuple[bytes, ...], priors: tuple[SlopePrior | None, ...], resolution: float
) -> Expectation | None:
    """The baseline of these very readings, given as the bytes of float arrays.

    A baseline stays the same from one morning to the next, and learning it is the dearest part of a judgement: a
    program that judges again, or compares with the morning before, finds it here. Nobody writes into the answer.
    """
    return learn_expectation(
        np.frombuffer(values), [np.frombuffer(each) for each in covariates], priors=priors, resolution=resolution
    )


def seen_resolution(values: FloatArray) -> float:
    """How coarsely the readings come, where they come in steps: a log of 5 Hz tells a transit to 0.2 s and no better.

    The usual gap between the distinct values; 0 where the values hardly repeat.
    """
    distinct = np.unique(np.round(values, 6))
    if distinct.size < 2 or distinct.size > len(values) / 3:
        return 0.0
    return float(np.median(np.diff(distinct)))


def _covariate(series: Series, name: str) -> FloatArray:
    return series.temp_c if name == "temp_c" else series.battery_v


def _prior(indicator: Indicator, name: str) -> SlopePrior | None:
    found = indicator.priors.get(name)
    return None if found is None else SlopePrior(*found)
