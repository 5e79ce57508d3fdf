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


def _rows(covariates: Sequence[ArrayLike], n: int) -> FloatArray:
    """Covariates as one array (p, n)."""
    table = np.empty((len(covariates), n))
    for row, covariate in zip(table, covariates, strict=True):
        row[:] = covariate
    return table


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
    rows = _rows(covariates, values.size)
    is_missing = np.isnan(values)
    if is_missing.any():
        rows, values = rows[:, ~is_missing], values[~is_missing]
    p, n = rows.shape
    if not n:
        return None
    chosen = list(priors) if priors is not None else [None] * p
    centre, off = _centred(rows)
    low, high = off.min(axis=1), off.max(axis=1)
    has_prior = np.asarray([prior is not None for prior in chosen], dtype=np.bool_)
    varies = high - low > 1e-9 * np.maximum(np.abs(centre), 1.0)
    can_learn = varies & (n >= p + 1 + 3)
    used = can_learn | has_prior
    design = np.ones((p + 1, n))
    np.multiply(off, used[:, None], out=design[1:])
    prior = np.asarray([0.0, *(q.slope if q else 0.0 for q in chosen)])
    prior_sd = np.asarray([math.inf, *(q.sd if q else math.inf for q in chosen)])
    fit = huber_fit(design.T, values, prior=prior, prior_sd=prior_sd, resolution=resolution)
    return Expectation(
        level=float(fit.coefficients[0]),
        slopes=fit.coefficients[1:],
        covariance=fit.covariance,
        scale=fit.scale,
        centre=centre,
        low=low + centre,
        high=high + centre,
        sd=np.sqrt(np.square(off).mean(axis=1)),
        is_learned=used,
        n=n,
        df=max(1, n - 1 - int(np.count_nonzero(can_learn))),
    )


def _centred(rows: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean of each row, 0 where nothing is known, and the rows less it; what is missing stands at the mean."""
    is_missing = np.isnan(rows)
    if not is_missing.any():
        centre = rows.mean(axis=1)
        return centre, rows - centre[:, None]
    known = np.where(is_missing, 0.0, rows).sum(axis=1)
    centre = known / np.maximum(1, rows.shape[1] - np.count_nonzero(is_missing, axis=1))
    return centre, np.where(is_missing, 0.0, rows - centre[:, None])


def adjust(expectation: Expectation, y: ArrayLike, covariates: Sequence[ArrayLike] = ()) -> Adjusted:
    """Readings y (m,) less what the baseline expects at their covariates (p of shape (m,), as it was learned).

    A NaN covariate stands at the baseline's mean, and slope times the baseline's sd of that covariate is added to the
    error. Raises ValueError on another number of covariates.
    """
    values = np.asarray(y, dtype=np.float64)
    rows = _rows(covariates, values.size)
    if rows.shape[0] != expectation.slopes.size:
        raise ValueError(f"expected {expectation.slopes.size} covariates, got {rows.shape[0]}")
    is_missing = np.isnan(rows)
    off = np.where(is_missing, 0.0, rows - expectation.centre[:, None])
    expected = expectation.level + np.dot(expectation.slopes, off)
    error = _error(expectation, off, is_missing)
    return Adjusted(
        residual=values - expected,
        expected=expected,
        error=error,
        total_error=np.hypot(error, expectation.scale),
        is_outside=_is_outside(expectation, rows),
    )


def _same(expectation: Expectation) -> FloatArray:
    """How far covariates (p,) may lie apart by rounding alone."""
    return 1e-9 * np.maximum(1.0, np.abs(expectation.centre))


def _is_outside(expectation: Expectation, rows: FloatArray) -> BoolArray:
    room = RANGE_MARGIN * (expectation.high - expectation.low) + _same(expectation)
    is_below = rows < (expectation.low - room)[:, None]
    is_above = rows > (expectation.high + room)[:, None]
    return np.asarray((is_below | is_above).any(axis=0))


def _error(expectation: Expectation, off: FloatArray, is_missing: BoolArray) -> FloatArray:
    """Standard error of the expectation at covariates `off` (p, m) from the baseline's mean."""
    design = np.ones((off.shape[0] + 1, off.shape[1]))
    np.multiply(off, expectation.is_learned[:, None], out=design[1:])
    variance = (design * np.dot(expectation.covariance, design)).sum(axis=0)
    variance += np.dot(np.square(expectation.slopes * expectation.sd), is_missing)
    error = np.sqrt(np.maximum(variance, 0.0))
    if not expectation.is_learned.all():
        is_unknown = np.abs(off) > _same(expectation)[:, None]
        error[is_unknown[~expectation.is_learned].any(axis=0)] = math.inf
    return np.asarray(error)
