"""Straight-line and multiple regression: least squares by orthogonal steps, and Huber's robust form with priors."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from operator import mul
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np
from scipy import linalg

from pipeline.statistics.level import known_spread

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from pipeline.statistics.arrays import FloatArray

_Square: TypeAlias = list[list[float]]

HUBER_K: Final = 1.345
"""Residuals beyond this many scales are pulled in: 95 % efficiency on normal errors (Huber 1981)."""

_ABSOLUTE_TURNS = 8

WORST_CONDITION: Final = 1e7
"""Largest variance times largest precision up to which normal equations are solved straight: nine digits are left."""


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
    reach = HUBER_K * scale
    return np.asarray(reach / np.maximum(size, reach))


def huber_fit(
    design: FloatArray, y: FloatArray, *, prior: FloatArray, prior_sd: FloatArray, resolution: float = 0.0
) -> RobustFit:
    """Huber's robust regression of y (n,) on `design` (n, p) by reweighting, pulled to a prior where data say little.

    `prior` (p,) are the coefficients expected beforehand and `prior_sd` (p,) how far they may be off (inf: nothing
    known), so the fit is ridge-like: precisions add. A direction that neither data nor prior settle stays at 0 with
    a covariance of 0 there: the caller must say so. Scale: robust spread of the residuals, grown by sqrt(n / (n - p))
    for the coefficients fitted, never below rounding to `resolution`. No NaN.
    """
    precision = 1 / np.square(prior_sd)
    # A column of zeros that no prior speaks of is settled by nothing: it is left out, and its place filled with 0.
    is_live = design.any(axis=0) | (precision > 0)
    if is_live.all() or not is_live.any():
        return _reweighted(np.ascontiguousarray(design.T), y, prior, precision, resolution)
    fit = _reweighted(np.ascontiguousarray(design.T[is_live]), y, prior[is_live], precision[is_live], resolution)
    coefficients, covariance = np.zeros(prior.size), np.zeros((prior.size, prior.size))
    coefficients[is_live] = fit.coefficients
    covariance[np.ix_(is_live, is_live)] = fit.covariance
    return replace(fit, coefficients=coefficients, covariance=covariance)


def _reweighted(
    rows: FloatArray, y: FloatArray, prior: FloatArray, precision: FloatArray, resolution: float
) -> RobustFit:
    """The fit on the columns of the design, given as rows (p, n), none of them without any say."""
    n = y.size
    fitted = int(np.count_nonzero(rows.max(axis=1) > rows.min(axis=1))) + 1
    grow = math.sqrt(n / max(1, n - fitted))
    floor = max(1e-12 * float(np.abs(y).max()), 1e-100)
    products = _products(rows, y)
    full_pull, expected = precision.tolist(), prior.tolist()
    faint_pull = [1e-12 * each for each in full_pull]
    coefficients: list[float] = expected
    covariance: _Square = []
    weights = np.ones(n)
    scale = max(grow * known_spread(y - np.dot(prior, rows), resolution), floor)
    # First turns towards the least sum of absolute residuals, so that wild readings do not set the scale; and without
    # the prior where the readings can do without it, so that a wrong prior does not hide behind the scatter it makes.
    is_enough = n >= fitted + 3
    for turn in range(_ABSOLUTE_TURNS + 30):
        is_first = turn < _ABSOLUTE_TURNS
        pull = faint_pull if is_first and is_enough else full_pull
        sums = np.dot(weights / scale**2, products).tolist()
        last, (coefficients, covariance) = coefficients, _pulled(sums, pull, expected)
        residuals = y - np.dot(coefficients, rows)
        scale = max(grow * known_spread(residuals, resolution), floor)
        weights = huber_weights(residuals, scale / 20 if is_first else scale)
        if turn > _ABSOLUTE_TURNS and _is_settled(coefficients, last, covariance):
            break
    return RobustFit(np.asarray(coefficients), np.asarray(covariance), scale, weights, n)


def _is_settled(now: list[float], before: list[float], covariance: _Square) -> bool:
    """Closer than a thousandth of its own error a coefficient need not be known."""
    return all((now[at] - before[at]) ** 2 <= 1e-6 * row[at] for at, row in enumerate(covariance))


def _products(rows: FloatArray, y: FloatArray) -> FloatArray:
    """What the normal equations sum, a column each, so that a turn is one product with the weights: shape (n, m).

    For each regressor (rows, (p, n)) its products with itself and the later ones, then with y.
    """
    table = np.concatenate([rows, y[None, :]])
    first, second = _upper(rows.shape[0])
    return np.asarray((table[first] * table[second]).T)


@lru_cache(maxsize=16)
def _upper(p: int) -> tuple[list[int], list[int]]:
    pairs = [(row, column) for row in range(p) for column in range(row, p + 1)]
    return [row for row, _ in pairs], [column for _, column in pairs]


def _pulled(sums: list[float], pull: list[float], prior: list[float]) -> tuple[list[float], _Square]:
    """Coefficients and covariance from the weighted sums of `_products`, the prior's precision `pull` added."""
    matrix, right = _normal_equations(sums, pull, prior)
    covariance = _inverse(matrix)
    return [sum(map(mul, row, right)) for row in covariance], covariance


def _normal_equations(sums: list[float], pull: list[float], prior: list[float]) -> tuple[_Square, list[float]]:
    p = len(pull)
    matrix: _Square = [[0.0] * p for _ in pull]
    right, at = [], 0
    for row, more in enumerate(pull):
        matrix[row][row] = sums[at] + more
        for column in range(row + 1, p):
            matrix[row][column] = matrix[column][row] = sums[at + column - row]
        at += p - row + 1
        right.append(sums[at - 1] + more * prior[row])
    return matrix, right


def _inverse(matrix: _Square) -> _Square:
    """Inverse of a symmetric matrix without negative eigenvalues; directions that hold nothing are given 0.

    Straight where that keeps its digits, by eigenvalues where the matrix is nearly singular.
    """
    inverse = _straight_inverse(matrix)
    if inverse:
        places = range(len(matrix))
        worst = max([matrix[at][at] for at in places]) * max([inverse[at][at] for at in places])
        if 0 < worst <= WORST_CONDITION:
            return inverse
    found: _Square = np.linalg.pinv(np.asarray(matrix), rcond=1e-13, hermitian=True).tolist()
    return found


def _straight_inverse(matrix: _Square) -> _Square | None:
    """Inverse by cofactors, by elimination from four columns on; None where there is none."""
    if len(matrix) == 1:
        return [[1 / matrix[0][0]]] if matrix[0][0] > 0 else None
    if len(matrix) == 2:
        (a, b), (_, d) = matrix
        size = a * d - b * b
        return [[d / size, -b / size], [-b / size, a / size]] if size > 0 else None
    if len(matrix) == 3:
        return _inverse_of_three(matrix)
    try:
        found: _Square = np.linalg.inv(np.asarray(matrix)).tolist()
    except np.linalg.LinAlgError:
        return None
    return found


def _inverse_of_three(matrix: _Square) -> _Square | None:
    (a, b, c), (_, d, e), (_, _, f) = matrix
    one, two, three = d * f - e * e, c * e - b * f, b * e - c * d
    size = a * one + b * two + c * three
    if size <= 0:
        return None
    one, two, three = one / size, two / size, three / size
    four, five, six = (a * f - c * c) / size, (b * c - a * e) / size, (a * d - b * b) / size
    return [[one, two, three], [two, four, five], [three, five, six]]
