"""Two monitors that watch standardised readings for a small lasting shift: tabular CUSUM and EWMA."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import accumulate
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from pipeline.statistics.arrays import BoolArray, FloatArray

Side = Literal["up", "down"]


@dataclass(frozen=True, eq=False)
class Cusum:
    """Tabular CUSUM. `upper` and `lower` are the sums in the readings' unit, shape (n,), both positive.

    `signal` is the index of the first reading beyond the limit, None without one, `side` the sum that signalled.
    `last_before` is the index of the last reading before the shift seems to have begun (-1: before the first); the
    first after is the next reading. `new_mean` estimates the level since, `run` counts the readings it rests on.
    """

    upper: FloatArray
    lower: FloatArray
    limit: float
    signal: int | None
    side: Side | None
    last_before: int | None
    run: int
    new_mean: float | None


@dataclass(frozen=True, eq=False)
class Ewma:
    """Exponentially weighted mean `z` with its limits, all in the readings' unit, shape (n,); first signal and side."""

    z: FloatArray
    low: FloatArray
    high: FloatArray
    signal: int | None
    side: Side | None


def cusum(values: ArrayLike, *, target: float, sigma: float, k: float, h: float, head_start: float = 0.0) -> Cusum:
    """Two-sided tabular CUSUM: C+ = max(0, C+ + x - target - K), C- alike downwards, signal when C > H.

    Readings (n,) in time order; K = k sigma, H = h sigma, and both sums start at head_start sigma (Lucas & Crosier
    1982 take h / 2). Reads on after a signal without a reset. A NaN reading holds both sums. For one side only, look
    at one sum. New mean: target + K + C+ / N+ (Montgomery). Raises ValueError unless sigma > 0.
    """
    if sigma <= 0:
        raise ValueError(f"sigma must be positive, got {sigma}")
    x = np.asarray(values, dtype=np.float64)
    allowance, limit = k * sigma, h * sigma
    is_read = ~np.isnan(x)
    deviation = np.where(is_read, x - target, 0.0)
    held = np.where(is_read, allowance, 0.0)
    upper = _reflected(deviation - held, head_start * sigma)
    lower = _reflected(-deviation - held, head_start * sigma)
    signal, side = _first_beyond(upper > limit, lower > limit)
    if signal is None or side is None:
        return Cusum(upper, lower, limit, None, None, None, 0, None)
    total = upper if side == "up" else lower
    zeros = np.flatnonzero(total[: signal + 1] == 0)
    last_before = int(zeros[-1]) if zeros.size else -1
    run = int(is_read[last_before + 1 : signal + 1].sum())
    away = allowance + float(total[signal]) / run
    return Cusum(upper, lower, limit, signal, side, last_before, run, target + (away if side == "up" else -away))


def _reflected(increments: FloatArray, start: float) -> FloatArray:
    """The running sum that is put back to 0 whenever it falls below: the free sum less its own lowest point so far."""
    free = start + np.cumsum(increments)
    return np.asarray(free - np.minimum(0.0, np.minimum.accumulate(free)))


def _first_beyond(above: BoolArray, below: BoolArray) -> tuple[int | None, Side | None]:
    beyond = np.flatnonzero(above | below)
    if not beyond.size:
        return None, None
    first = int(beyond[0])
    return first, "up" if above[first] else "down"


def ewma(
    values: ArrayLike, *, target: float, sigma: float, weight: float, width: float, is_steady: bool = False
) -> Ewma:
    """EWMA z = weight x + (1 - weight) z from z0 = target, limits target ± width sigma sqrt(w/(2-w) (1 - (1-w)^2i)).

    `is_steady` drops the last factor (NIST e-Handbook 6.3.2.4). Readings (n,) in time order; a NaN reading holds z and
    the limits, and i counts readings that are there. Raises ValueError unless sigma > 0 and 0 < weight <= 1.
    """
    if sigma <= 0 or not 0 < weight <= 1:
        raise ValueError(f"sigma must be positive and weight in (0, 1], got {sigma} and {weight}")
    x = np.asarray(values, dtype=np.float64)
    is_read = ~np.isnan(x)
    count = np.cumsum(is_read)
    steps = (weight * (x[is_read] - target)).tolist()
    smoothed = accumulate(steps, lambda before, step: (1 - weight) * before + step, initial=0.0)
    z = target + np.asarray(list(smoothed))[count]
    share = np.ones(x.size) if is_steady else 1 - (1 - weight) ** (2.0 * count)
    half = width * sigma * math.sqrt(weight / (2 - weight)) * np.sqrt(share)
    signal, side = _first_beyond((z > target + half) & is_read, (z < target - half) & is_read)
    return Ewma(z, target - half, target + half, signal, side)
