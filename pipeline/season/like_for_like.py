"""One engine's readings against its own baseline at like temperature and voltage."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from pipeline.catalogue import Indicator
from pipeline.history import FloatArray, Series
from pipeline.statistics.adjust import Expectation, SlopePrior, adjust, learn_expectation

BASELINE_RUNS: Final = 12
"""Runs that make a baseline (common practice, no published source)."""

FEWEST_RUNS: Final = 5
"""Below this the engine is still being learned and nothing is said about movement."""


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
    first = slice(0, BASELINE_RUNS)
    resolution = max(indicator.resolution, seen_resolution(series.value))
    expectation = _learned(
        values[first].tobytes(),
        tuple(each[first].tobytes() for each in covariates),
        tuple(_prior(indicator, name) for name in known),
        resolution,
    )
    if expectation is None:
        return None
    adjusted = adjust(expectation, values, covariates)
    return LikeForLike(
        residual=adjusted.residual,
        error=adjusted.error,
        scale=max(expectation.scale, resolution / np.sqrt(12)),
        resolution=resolution,
        baseline_n=expectation.n,
        expectation=expectation,
    )


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
