"""All channels and columns at once: the likeliest assignment, and how sure each pair of it is.

A pair's confidence weighs it against every other use of its channel and its column, and against neither being used: two
columns that fit equally share it, so that nobody takes a guess for knowledge.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.optimize import linear_sum_assignment

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Matrix = NDArray[np.float64]

_ROUNDS: Final = 200
_LEAST: Final = -12.0
"""Log odds below which a pair counts as impossible."""
_MOST: Final = 15.0
"""Log odds above which nothing gets surer."""


def assigned(log_odds: Matrix) -> list[tuple[int, int]]:
    """Pairs (row, column) of the likeliest assignment; no row or column twice, and only pairs likelier than none."""
    gains = np.maximum(log_odds, 0.0)
    rows, columns = linear_sum_assignment(gains, maximize=True)
    return [(int(row), int(column)) for row, column in zip(rows, columns, strict=True) if gains[row, column] > 0]


def confidences(log_odds: Matrix) -> Matrix:
    """The belief in every pair, 0…1; those of a row, and those of a column, add up to about 1 at most.

    Belief propagation on matchings: each pair is weighed against what its row and its column could do without it
    (Bayati, Gamarnik, Katz, Nair and Tetali 2007, where it is shown to settle at one point whatever the weights).
    """
    weights = np.where(log_odds > _LEAST, np.exp(np.clip(log_odds, _LEAST, _MOST)), 0.0)
    free_row, free_column = np.ones(weights.shape), np.ones(weights.shape)
    for _ in range(_ROUNDS):
        used = weights * free_column
        next_row = 1.0 / (1.0 + used.sum(axis=1, keepdims=True) - used)
        used = weights * free_row
        next_column = 1.0 / (1.0 + used.sum(axis=0, keepdims=True) - used)
        free_row, free_column = np.sqrt(free_row * next_row), np.sqrt(free_column * next_column)
    odds = weights * free_row * free_column
    beliefs: Matrix = odds / (1.0 + odds)
    return beliefs
