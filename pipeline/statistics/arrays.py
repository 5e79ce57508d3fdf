"""What goes in and out of this room: float arrays with the missing readings left out, and intervals with open ends."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

FloatArray: TypeAlias = NDArray[np.float64]
BoolArray: TypeAlias = NDArray[np.bool_]

CONFIDENCE: Final = 0.95
"""Confidence of an interval where the caller names none (common practice, no published source)."""


@dataclass(frozen=True)
class Interval:
    """A confidence interval. An end is None where the readings leave it open; `confidence` is the one reached."""

    low: float | None
    high: float | None
    confidence: float

    def holds(self, value: float) -> bool:
        """Whether the value lies inside, ends included; an open end excludes nothing."""
        return (self.low is None or self.low <= value) and (self.high is None or value <= self.high)


def present(values: ArrayLike) -> FloatArray:
    """The readings that are there, in their order: shape (n,), NaN left out. Raises ValueError unless 1-D."""
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 1:
        raise ValueError(f"expected a one-dimensional array of readings, got shape {array.shape}")
    return array[~np.isnan(array)]


def middle(ordered: FloatArray) -> float:
    """Median of readings (n,) sorted upwards, none of them NaN. Raises IndexError on none at all."""
    half = ordered.size >> 1
    above: float = ordered.item(half)
    return above if ordered.size & 1 else (ordered.item(half - 1) + above) / 2


def median(values: FloatArray) -> float:
    """Median of readings (n,), none of them NaN; for a dozen of them a tenth of what the general routine costs.

    Raises IndexError on none at all.
    """
    ordered = values.copy()
    ordered.sort()
    return middle(ordered)


def mean_ranks(values: FloatArray) -> FloatArray:
    """Rank of each of the readings (n,), counted from 1, equal ones sharing the mean of theirs; no NaN."""
    ordered = np.sort(values)
    below, up_to = (np.searchsorted(ordered, values, side=side) for side in ("left", "right"))
    return np.asarray((below + up_to + 1) / 2)


def complete(*columns: ArrayLike) -> tuple[FloatArray, ...]:
    """The rows in which no column (n,) is NaN, in their order. Raises ValueError on unequal lengths."""
    table = np.asarray([np.asarray(column, dtype=np.float64) for column in columns])
    kept = table[:, ~np.isnan(table).any(axis=0)]
    return tuple(kept)


def in_time_order(t: ArrayLike, y: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """The complete pairs sorted by time; equal times keep the order they came in."""
    times, values = complete(t, y)
    order = np.argsort(times, kind="stable")
    return times[order], values[order]
