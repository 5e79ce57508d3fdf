"""Groups compared like for like: one common slope on a covariate, and each group's mean moved to the same covariate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from pipeline.statistics.regression import LeastSquares, least_squares

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike

    from pipeline.statistics.arrays import FloatArray


@dataclass(frozen=True)
class AdjustedMean:
    """A group's raw mean, and its mean at the overall covariate mean with standard error, in the readings' unit."""

    group: str
    raw_mean: float
    mean: float
    error: float
    n: int


@dataclass(frozen=True)
class PartialF:
    """An F test of some terms: their sum of squares given the others, F, and its p."""

    ss: float
    f: float
    p: float


@dataclass(frozen=True, eq=False)
class Ancova:
    """Analysis of covariance. `slope` is common to all groups, in reading units per covariate unit.

    `groups` tests the adjusted means, `covariate` the slope, `equal_slopes` whether one slope will do (None where
    the readings cannot tell).
    """

    slope: float
    slope_error: float
    covariate_mean: float
    means: tuple[AdjustedMean, ...]
    groups: PartialF
    covariate: PartialF
    equal_slopes: PartialF | None
    fit: LeastSquares


def ancova(groups: Sequence[str], covariate: ArrayLike, y: ArrayLike) -> Ancova:
    """Compare the groups' readings y (n,) at the same covariate (n,); rows with a NaN are left out.

    Snedecor & Cochran, Statistical Methods, ch. 14. Groups keep the order of first appearance. Raises ValueError for
    fewer than two groups or too few readings, LinAlgError where the covariate does not vary within any group.
    """
    x, values = np.asarray(covariate, dtype=np.float64), np.asarray(y, dtype=np.float64)
    kept = ~(np.isnan(x) | np.isnan(values))
    names = [name for name, keep in zip(groups, kept, strict=True) if keep]
    x, values, order = x[kept], values[kept], list(dict.fromkeys(names))
    if len(order) < 2:
        raise ValueError(f"expected two groups or more, got {len(order)}")
    member = np.asarray([[name == group for group in order] for name in names], dtype=np.float64)
    centred = (x - x.mean())[:, None]
    one = np.ones((x.size, 1))
    # The constant comes first, the other groups are differences from the first: sums of squares about the mean.
    full = least_squares(np.hstack([one, member[:, 1:], centred]), values)
    return Ancova(
        slope=float(full.coefficients[-1]),
        slope_error=float(full.errors[-1]),
        covariate_mean=float(x.mean()),
        means=_adjusted_means(order, member, values, full),
        groups=_partial_f(least_squares(np.hstack([one, centred]), values), full),
        covariate=_partial_f(least_squares(np.hstack([one, member[:, 1:]]), values), full),
        equal_slopes=_equal_slopes(member, x, values, full),
        fit=full,
    )


def _adjusted_means(
    order: list[str], member: FloatArray, values: FloatArray, full: LeastSquares
) -> tuple[AdjustedMean, ...]:
    found = []
    for at, group in enumerate(order):
        pick = np.zeros(full.coefficients.size)
        pick[0] = 1
        if at:
            pick[at] = 1
        inside = member[:, at] > 0
        error = float(np.sqrt(pick @ full.covariance @ pick))
        found.append(
            AdjustedMean(group, float(values[inside].mean()), float(pick @ full.coefficients), error, int(inside.sum()))
        )
    return tuple(found)


def _partial_f(smaller: LeastSquares, larger: LeastSquares) -> PartialF:
    ss, terms = smaller.residual_ss - larger.residual_ss, smaller.df - larger.df
    f = ss / terms / (larger.residual_ss / larger.df) if larger.residual_ss > 0 else np.inf
    return PartialF(ss, float(f), float(special.fdtrc(terms, larger.df, max(float(f), 0.0))))


def _equal_slopes(member: FloatArray, x: FloatArray, values: FloatArray, common: LeastSquares) -> PartialF | None:
    """Whether letting each group have its own slope fits better by more than chance."""
    inside_mean = (member.T @ x) / member.sum(axis=0)
    own = member * (x[:, None] - inside_mean)
    if x.size <= 2 * member.shape[1] or (own == 0).all(axis=0).any():
        return None
    one = np.ones((x.size, 1))
    return _partial_f(common, least_squares(np.hstack([one, member[:, 1:], own]), values))
