"""Straight-line and multiple regression: least squares by orthogonal steps, and Huber's robust form with priors."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import linalg

from pipeline.statistics.level import spread

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from pipeline.statistics.arrays import FloatArray

HUBER_K: Final = 1.345
"""Residuals beyond this many scales are pulled in: 95 % efficiency on normal errors (Huber 1981)."""

_ABSOLUTE_TURNS = 8


@dataclass(frozen=True, eq=False)
class LeastSquares:
    """An ordinary fit of p coefficients: values, standard errors and covariance; residual sd has n - p in it."""

    coefficients: FloatArray
    errors: FloatArray
    covariance: FloatArray
    residual_sd: float
    residual_ss: float
    model_ss: float
    r_squared: float
    f: float
    df: int


@dataclass(frozen=True, eq=False)
class RobustFit:
    """A Huber fit of p coefficients with covariance, robust residual scale and the weight (0 … 1) of each reading."""

    coefficients: FloatArray
    covariance: FloatArray
    scale: float
    weights: FloatArray
    n: int


def least_squares(design: ArrayLike, y: ArrayLike) -> LeastSquares:
    """Fit y (n,) on the columns of `design` (n, p), the first of which is the constant, by QR with pivoting.

    Columns are scaled to unit length first; together that keeps 8 to 10 digits on NIST's Longley data. Sums of
    squares are about the mean. Raises ValueError unless n > p, LinAlgError on columns that repeat each other. No NaN.
    """
    x, values = np.asarray(design, dtype=np.float64), np.asarray(y, dtype=np.float64)
    n, p = x.shape
    if n <= p:
        raise ValueError(f"{p} coefficients need more than {n} readings")
    length = np.linalg.norm(x, axis=0)
    q, r, order = linalg.qr(x / np.where(length > 0, length, 1.0), mode="economic", pivoting=True)
    if abs(r[-1, -1]) <= 1e-12 * abs(r[0, 0]):
        raise np.linalg.LinAlgError("a column of the design repeats the others")
    inverse = np.empty((p, p))
    inverse[order] = linalg.solve_triangular(r, np.eye(p))
    inverse = inverse / length[:, None]
    coefficients = inverse @ (q.T @ values)
    # One step of refinement wins back the digits that nearly parallel columns cost.
    coefficients = coefficients + inverse @ (q.T @ (values - x @ coefficients))
    residual_ss = float(np.sum((values - x @ coefficients) ** 2))
    total_ss = float(np.sum((values - values.mean()) ** 2))
    df, variance = n - p, residual_ss / (n - p)
    covariance = variance * inverse @ inverse.T
    return LeastSquares(
        coefficients=coefficients,
        errors=np.sqrt(np.diag(covariance)),
        covariance=covariance,
        residual_sd=math.sqrt(variance),
        residual_ss=residual_ss,
        model_ss=total_ss - residual_ss,
        r_squared=1 - residual_ss / total_ss if total_ss else math.nan,
        f=(total_ss - residual_ss) / (p - 1) / variance if p > 1 and variance else math.nan,
        df=df,
    )


def huber_weights(residuals: FloatArray, scale: float) -> FloatArray:
    """Weight of each residual, 1 within HUBER_K scales and falling as 1/|r| beyond; a scale of 0 keeps exact ones."""
    size = np.abs(residuals)
    if scale <= 0:
        return np.asarray((size == 0).astype(np.float64) if (size == 0).any() else np.ones(size.size))
    return np.asarray(np.minimum(1.0, HUBER_K * scale / np.maximum(size, HUBER_K * scale)))


def huber_fit(
    design: FloatArray, y: FloatArray, *, prior: FloatArray, prior_sd: FloatArray, resolution: float = 0.0
) -> RobustFit:
    """Huber's robust regression of y (n,) on `design` (n, p) by reweighting, pulled to a prior where data say little.

    `prior` (p,) are the coefficients expected beforehand and `prior_sd` (p,) how far they may be off (inf: nothing
    known), so the fit is ridge-like: precisions add. A direction that neither data nor prior settle stays at 0 with
    a covariance of 0 there: the caller must say so. Scale: robust spread of the residuals, grown by sqrt(n / (n - p))
    for the coefficients fitted, never below rounding to `resolution`. No NaN.
    """
    n = y.size
    precision = np.diag(np.where(np.isinf(prior_sd), 0.0, 1 / np.square(prior_sd)))
    fitted = int(np.sum(np.ptp(design, axis=0) > 0)) + 1
    grow = math.sqrt(n / max(1, n - fitted))
    floor = max(1e-12 * float(np.max(np.abs(y), initial=0.0)), 1e-100)
    coefficients, weights = prior, np.ones(n)
    scale = max(grow * spread(y - design @ prior, resolution=resolution), floor)
    # First turns towards the least sum of absolute residuals, so that wild readings do not set the scale; and without
    # the prior where the readings can do without it, so that a wrong prior does not hide behind the scatter it makes.
    is_enough = n >= fitted + 3
    for turn in range(_ABSOLUTE_TURNS + 30):
        is_first = turn < _ABSOLUTE_TURNS
        pull = precision * 1e-12 if is_first and is_enough else precision
        last, (coefficients, covariance) = coefficients, _pulled(design, y, weights / scale**2, pull, prior)
        residuals = y - design @ coefficients
        scale = max(grow * spread(residuals, resolution=resolution), floor)
        weights = huber_weights(residuals, scale / 20 if is_first else scale)
        # Closer than a thousandth of its own error a coefficient need not be known.
        if turn > _ABSOLUTE_TURNS and (np.square(coefficients - last) <= 1e-6 * np.diag(covariance)).all():
            break
    return RobustFit(coefficients, covariance, scale, weights, n)


def _pulled(
    design: FloatArray, y: FloatArray, weights: FloatArray, precision: FloatArray, prior: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Weighted coefficients and covariance with the prior's precision added to the readings'."""
    weighted = design.T * weights
    covariance = np.asarray(np.linalg.pinv(weighted @ design + precision, rcond=1e-13, hermitian=True), np.float64)
    return covariance @ (weighted @ y + precision @ prior), covariance
