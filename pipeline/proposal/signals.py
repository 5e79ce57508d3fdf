"""The values of one column as a signal, and what the log around it shows: when the engine turned, started and idled."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    Values = NDArray[np.float64]
    Mask = NDArray[np.bool_]

TURNING_RPM: Final = 200.0
"""Contract: a run is a stretch above it."""

_MOST_LEVELS: Final = 12
_UNKNOWN_STEP_S: Final = 0.1
"""Seconds from row to row where the time cannot be read as a number: the usual logger's."""


class Signal:
    """One column's values, one a row, in some unit; blanks keep the value before them, NaN before the first."""

    def __init__(self, values: Values) -> None:
        self.values = _carried(values)
        self.known = np.isfinite(self.values)
        self.found = self.values[self.known]

    def scaled(self, factor: float, offset: float) -> Signal:
        """The same signal in another unit."""
        return self if (factor, offset) == (1.0, 0.0) else Signal(self.values * factor + offset)

    @cached_property
    def low(self) -> float:
        """The value that one in twenty lies below."""
        return _percentile(self.found, 5)

    @cached_property
    def middle(self) -> float:
        """The median."""
        return _percentile(self.found, 50)

    @cached_property
    def high(self) -> float:
        """The value that one in twenty lies above."""
        return _percentile(self.found, 95)

    @cached_property
    def span(self) -> float:
        """From the lowest to the highest value."""
        return float(np.ptp(self.found)) if self.found.size else 0.0

    @cached_property
    def levels(self) -> Values:
        """The distinct values, where there are at most twelve; empty where there are more."""
        levels = np.unique(self.found)
        return levels if levels.size <= _MOST_LEVELS else np.empty(0)

    @cached_property
    def stillness(self) -> float:
        """Share of rows whose value is that of the row before."""
        return float(np.mean(np.diff(self.found) == 0)) if self.found.size > 1 else 1.0

    @cached_property
    def roughness(self) -> float:
        """The mean step between values that differ, as a share of the usual spread: small where it glides."""
        steps = np.abs(np.diff(self.found))
        spread = self.high - self.low
        return float(steps.mean() / spread) if steps.size and spread > 0 else 0.0

    @cached_property
    def rise(self) -> float:
        """Rank correlation with time, −1…1: how steadily it rises."""
        return correlation(self.values, np.arange(self.values.size, dtype=np.float64))

    @cached_property
    def climb(self) -> float:
        """How much of its usual spread it has gained between its first twentieth and its last third, −1…1."""
        spread = self.high - self.low
        first, last = self.found[: max(1, self.found.size // 20)], self.found[-max(1, self.found.size // 3) :]
        return float((np.median(last) - np.median(first)) / spread) if spread > 0 else 0.0

    def within(self, low: float, high: float) -> float:
        """Share of values from `low` to `high`; 0 where there are none."""
        return float(np.mean((self.found >= low) & (self.found <= high))) if self.found.size else 0.0

    def at(self, mask: Mask) -> Values:
        """The known values of the rows in `mask`."""
        return self.values[mask & self.known]

    def middle_at(self, mask: Mask) -> float:
        """The median over the rows in `mask`; NaN where none is known."""
        return _percentile(self.at(mask), 50)


@dataclass(frozen=True)
class Around:
    """What else the log shows. Masks have one entry a row; without a speed nothing turned, stood or idled.

    `turning`: the engine turns; `standing`: it stands; `idling`: its slowest steady turning; `starts`: the rows within
    some seconds of a start. `time_s` are seconds since the first row, guessed where the time is no number.
    """

    rows: int
    time_s: Values
    is_timed: bool
    speed: Signal | None
    turning: Mask
    standing: Mask
    idling: Mask
    starts: Mask

    @property
    def seconds(self) -> float:
        """How long the rows last."""
        return float(self.time_s[-1] - self.time_s[0]) if self.rows > 1 else 0.0

    def with_speed(self, speed: Signal | None) -> Around:
        """The same log with its speed (rpm) known."""
        if speed is None:
            return self
        known = np.nan_to_num(speed.values, nan=0.0)
        turning = known > TURNING_RPM
        standing = speed.known & (known < 50)
        idle = _percentile(known[turning & (known < 1300)], 30)
        idling = turning & (np.abs(known - idle) < 0.15 * idle) if np.isfinite(idle) else np.zeros(self.rows, bool)
        return Around(
            self.rows, self.time_s, self.is_timed, speed, turning, standing, idling, _near_starts(turning, self.time_s)
        )


def around(rows: int, time_s: Values | None) -> Around:
    """The surroundings before anything is known but the time."""
    nothing = np.zeros(rows, bool)
    guessed = np.arange(rows, dtype=np.float64) * _UNKNOWN_STEP_S
    seconds = guessed if time_s is None else time_s
    return Around(rows, seconds, time_s is not None, None, nothing, nothing, nothing, nothing)


def correlation(first: Values, second: Values, most: int = 4000) -> float:
    """Spearman's rank correlation of the rows that both know, thinned to some thousands; 0 where one does not move."""
    both = np.isfinite(first) & np.isfinite(second)
    step = max(1, int(both.sum()) // most)
    a, b = first[both][::step], second[both][::step]
    if a.size < 10 or np.ptp(a) == 0 or np.ptp(b) == 0:
        return 0.0
    return float(np.corrcoef(_ranks(a), _ranks(b))[0, 1])


def alike(first: Values, second: Values) -> float:
    """Pearson's correlation of the rows that both know; 0 where one does not move."""
    both = np.isfinite(first) & np.isfinite(second)
    a, b = first[both], second[both]
    if a.size < 10 or np.ptp(a) == 0 or np.ptp(b) == 0:
        return 0.0
    return float(np.corrcoef(a, b)[0, 1])


def _ranks(values: Values) -> Values:
    """Mid-ranks, ties sharing theirs."""
    _, places, counts = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(counts)
    middle: Values = last - (counts - 1) / 2
    return middle[places]


def _near_starts(turning: Mask, time_s: Values) -> Mask:
    """The rows from two seconds before to three after the engine began to turn."""
    near = np.zeros(turning.size, bool)
    for start in np.flatnonzero(turning[1:] & ~turning[:-1]) + 1:
        near |= (time_s >= time_s[start] - 2) & (time_s <= time_s[start] + 3)
    return near


def _carried(values: Values) -> Values:
    known = np.isfinite(values)
    if known.all() or not known.any():
        return values
    last = np.maximum.accumulate(np.where(known, np.arange(values.size), -1))
    carried: Values = np.where(last >= 0, values[np.maximum(last, 0)], np.nan)
    return carried


def _percentile(values: Iterable[float] | Values, share: float) -> float:
    array = np.asarray(values)
    return float(np.percentile(array, share)) if array.size else float("nan")
