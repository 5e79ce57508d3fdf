"""Like for like: what a reading would be expected to be at its temperature and voltage, learned from a baseline."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from pipeline.statistics.regression import huber_fit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike

    from pipeline.statistics.arrays import BoolArray, FloatArray

RANGE_MARGIN: Final = 0.1
"""A covariate beyond the baseline's range by this share of it still counts as inside (common practice, no published
source)."""


@dataclass(frozen=True)
class SlopePrior:
    """A slope expected before any reading, in reading units per covariate unit, and how far it may be off (1 sd)."""

    slope: float
    sd: float


@dataclass(frozen=True, eq=False)
class Expectation:
    """What a baseline of n readings expects at given covariates, p of them.

    Expected = level + slopes · (covariates - centre). `covariance` (p+1, p+1) is of (level, slopes); `is_learned` (p,)
    tells which slopes anything is known about, from the readings or a prior. `scale` is the robust residual sd;
    `low`, `high`, `sd` (p,) describe the covariates seen. `df` are the residual degrees of freedom.
    """

    level: float
    slopes: FloatArray
    covariance: FloatArray
    scale: float
    centre: FloatArray
    low: FloatArray
    high: FloatArray
    sd: FloatArray
    is_learned: BoolArray
    n: int
    df: int


@dataclass(frozen=True, eq=False)
class Adjusted:
    """Readings less what the baseline expects, in the readings' unit, shape (m,); NaN where the reading is NaN.

    `error` is the standard error of the expectation alone: it grows with the distance from the baseline's covariates
    and is inf where a slope is unknown. `total_error` adds one reading's own scatter: residual / total_error is what a
    monitor takes. `is_outside` marks readings at covariates the baseline never saw.
    """

    residual: FloatArray
    expected: FloatArray
    error: FloatArray
    total_error: FloatArray
    is_outside: BoolArray


def _columns(covariates: Sequence[ArrayLike], n: int) -> FloatArray:
    return np.asarray([np.asarray(c, dtype=np.float64) for c in covariates]).reshape(len(covariates), n).T


def learn_expectation(
    y: ArrayLike,
    covariates: Sequence[ArrayLike] = (),
    *,
    priors: Sequence[SlopePrior | None] | None = None,
    resolution: float = 0.0,
) -> Expectation | None:
    """Learn from baseline readings y (n,) how they depend on the covariates (p of shape (n,)); None without a reading.

    Huber regression; each slope is pulled to its prior by adding precisions (ridge-like), so a baseline whose
    temperatures hardly differ keeps the prior slope and a wide one follows the readings. Without a prior a slope needs
    three readings more than there are coefficients, and a covariate that varies; else it counts as unknown: slope 0,
    error inf away from the baseline's mean. A NaN reading is left out; a NaN covariate stands at the mean of the
    others. `resolution` is the rounding of the readings, in their unit. `scale` of one or two readings means nothing.
    """
    values = np.asarray(y, dtype=np.float64)
    kept = ~np.isnan(values)
    table, values = _columns(covariates, values.size)[kept], values[kept]
    n, p = table.shape
    if not n:
        return None
    chosen = list(priors) if priors is not None else [None] * p
    seen = ~np.isnan(table)
    centre = np.asarray([float(np.mean(c[s])) if s.any() else 0.0 for c, s in zip(table.T, seen.T, strict=True)])
    off = np.where(seen, table - centre, 0.0)
    sd = np.sqrt(np.mean(off**2, axis=0))
    has_prior = np.asarray([prior is not None for prior in chosen], dtype=np.bool_)
    varies = np.ptp(off, axis=0) > 1e-9 * np.maximum(np.abs(centre), 1.0)
    can_learn = varies & (n >= p + 1 + 3)
    used = can_learn | has_prior
    design = np.hstack([np.ones((n, 1)), np.where(used, off, 0.0)])
    prior = np.asarray([0.0, *(q.slope if q else 0.0 for q in chosen)])
    prior_sd = np.asarray([math.inf, *(q.sd if q else math.inf for q in chosen)])
    fit = huber_fit(design, values, prior=prior, prior_sd=prior_sd, resolution=resolution)
    return Expectation(
        level=float(fit.coefficients[0]),
        slopes=fit.coefficients[1:],
        covariance=fit.covariance,
        scale=fit.scale,
        centre=centre,
        low=np.min(off, axis=0, initial=math.inf) + centre,
        high=np.max(off, axis=0, initial=-math.inf) + centre,
        sd=sd,
        is_learned=used,
        n=n,
        df=max(1, n - 1 - int(can_learn.sum())),
    )


def adjust(expectation: Expectation, y: ArrayLike, covariates: Sequence[ArrayLike] = ()) -> Adjusted:
    """Readings y (m,) less what the baseline expects at their covariates (p of shape (m,), as it was learned).

    A NaN covariate stands at the baseline's mean, and slope times the baseline's sd of that covariate is added to the
    error. Raises ValueError on another number of covariates.
    """
    values = np.asarray(y, dtype=np.float64)
    table = _columns(covariates, values.size)
    if table.shape[1] != expectation.slopes.size:
        raise ValueError(f"expected {expectation.slopes.size} covariates, got {table.shape[1]}")
    is_missing = np.isnan(table)
    off = np.where(is_missing, 0.0, table - expectation.centre)
    expected = expectation.level + off @ expectation.slopes
    error = _error(expectation, off, is_missing)
    room = RANGE_MARGIN * (expectation.high - expectation.low) + 1e-9 * np.maximum(1.0, np.abs(expectation.centre))
    is_outside = ~is_missing & ((table < expectation.low - room) | (table > expectation.high + room))
    return Adjusted(
        residual=values - expected,
        expected=expected,
        error=error,
        total_error=np.hypot(error, expectation.scale),
        is_outside=np.asarray(is_outside.any(axis=1)),
    )


def _error(expectation: Expectation, off: FloatArray, is_missing: BoolArray) -> FloatArray:
    design = np.hstack([np.ones((off.shape[0], 1)), np.where(expectation.is_learned, off, 0.0)])
    variance = np.einsum("ij,jk,ik->i", design, expectation.covariance, design)
    variance = variance + is_missing @ (expectation.slopes * expectation.sd) ** 2
    is_unknown = (~expectation.is_learned & (np.abs(off) > 1e-9 * np.maximum(1.0, np.abs(expectation.centre)))).any(
        axis=1
    )
    return np.where(is_unknown, math.inf, np.sqrt(np.maximum(variance, 0.0)))
