"""Rows into order: which step back, which share a stamp, and where the clock stood."""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Seconds = NDArray[np.float64]
    Mask = NDArray[np.bool_]

MAX_SPREAD_S: Final = 2.0
MIN_STEP_S: Final = 0.001


def rising(time_s: Seconds) -> Mask:
    """The rows of a longest order that never falls (patience sorting): the others step back or stand out."""
    if time_s.size < 2 or bool(np.all(np.diff(time_s) >= 0)):
        return np.ones(time_s.size, dtype=np.bool_)
    tails: list[float] = []
    tail_rows: list[int] = []
    previous = np.full(time_s.size, -1, dtype=np.int64)
    for row, value in enumerate(time_s.tolist()):
        at = bisect_right(tails, value)
        previous[row] = tail_rows[at - 1] if at else -1
        tails[at : at + 1] = [value]
        tail_rows[at : at + 1] = [row]
    keep = np.zeros(time_s.size, dtype=np.bool_)
    row = tail_rows[-1]
    while row >= 0:
        keep[row] = True
        row = int(previous[row])
    return keep


def spread(time_s: Seconds) -> tuple[Seconds, Mask, int]:
    """Equal stamps spread up to the next one; a mask of rows of a standing clock; how many rows were moved."""
    is_new = np.concatenate(([True], np.diff(time_s) > 0))
    if is_new.all():
        return time_s, ~is_new, 0
    starts = np.flatnonzero(is_new)
    group = np.cumsum(is_new) - 1
    sizes = np.diff(np.append(starts, time_s.size))
    steps = np.diff(time_s[starts])
    usual = min(float(np.median(steps)) if steps.size else MAX_SPREAD_S, MAX_SPREAD_S)
    span = np.minimum(np.append(steps, usual), usual)
    place = np.arange(time_s.size) - starts[group]
    shift = place * span[group] / sizes[group]
    standing = (place > 0) & (span[group] / sizes[group] < MIN_STEP_S)
    return time_s + np.where(standing, 0.0, shift), standing, int(((place > 0) & ~standing).sum())
