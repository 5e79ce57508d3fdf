"""How long a monitor runs before it signals, on average, and the limit that gives a wanted run.

Nominal figures: independent normal readings, mean and sigma known. `alarm_budget` allows for less ideal ones.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import optimize, special

if TYPE_CHECKING:
    from pipeline.statistics.arrays import FloatArray

NODES: Final = 96
"""Gauss-Legendre nodes of the integral equations, more for wide limits; twice as many change no run length below
1,000,000 by 1e-6 of itself."""

NODES_A_SIGMA: Final = 4
"""Nodes the equations need for each sigma between the limits."""

ENDLESS: Final = 1e12
"""Longer runs are given as this many readings: the linear system has no digits left for them."""

LONGEST_RUN: Final = 1e9
"""No limit is made for runs longer than this, in readings."""


@lru_cache(maxsize=8)
def _legendre(nodes: int) -> tuple[FloatArray, FloatArray]:
    points, weights = np.polynomial.legendre.leggauss(nodes)
    return points, weights


def cusum_arl_from(starts: FloatArray, k: FloatArray, h: FloatArray, shift: FloatArray, nodes: int) -> FloatArray:
    """One-sided CUSUM run lengths, many designs at once: k, h, shift of shape (m,), starts (m,) in sigmas.

    Solves L(z) = 1 + L(0) Phi(k - z - shift) + integral over 0…h of L(x) phi(x + k - z - shift) dx by Nyström's method
    (Page 1954; Goel & Wu 1971).
    """
    points, weights = _legendre(nodes)
    x = (points[None, :] + 1) * h[:, None] / 2
    w = weights[None, :] * h[:, None] / 2
    grid = np.concatenate([np.zeros((k.size, 1)), x], axis=1)
    offset = (k - shift)[:, None]
    system = _transition(grid, x, w, offset)
    np.subtract(np.eye(nodes + 1), system, out=system)
    length = np.linalg.solve(system, np.ones((k.size, nodes + 1, 1)))
    return np.asarray(1 + (_transition(starts[:, None], x, w, offset) @ length)[:, 0, 0])


def _transition(origin: FloatArray, x: FloatArray, w: FloatArray, offset: FloatArray) -> FloatArray:
    """Chance of going from each origin back to 0 (first column) and into each node, weight included."""
    away = offset - origin
    chance = np.empty((*away.shape, x.shape[1] + 1))
    chance[:, :, 0] = special.ndtr(away)
    # Worked in place: many designs at once are megabytes, and fresh memory for every step costs more than the sums.
    into_nodes = chance[:, :, 1:]
    np.add(x[:, None, :], away[:, :, None], out=into_nodes)
    np.square(into_nodes, out=into_nodes)
    into_nodes *= -0.5
    np.exp(into_nodes, out=into_nodes)
    into_nodes *= (w / math.sqrt(2 * math.pi))[:, None, :]
    return chance


def _density(z: FloatArray) -> FloatArray:
    """Density of the standard normal law."""
    return np.asarray(np.exp(-0.5 * z**2) / math.sqrt(2 * math.pi))


@lru_cache(maxsize=4096)
def one_sided_cusum_arl(k: float, h: float, shift: float = 0.0, head_start: float = 0.0) -> float:
    """Average run length of the upper CUSUM, in readings; k, h, shift of the mean and head start in sigmas.

    At most ENDLESS. Trap: in control this is twice the two-sided figure. Raises ValueError unless k >= 0 and h > 0.
    """
    if k < 0 or h <= 0:
        raise ValueError(f"expected k >= 0 and h > 0, got {k} and {h}")
    one = np.ones(1)
    nodes = max(NODES, 32 * math.ceil(NODES_A_SIGMA * h / 32))
    run = float(cusum_arl_from(head_start * one, k * one, h * one, shift * one, nodes)[0])
    return run if 0 < run < ENDLESS else ENDLESS


def two_sided_cusum_arl(k: float, h: float, shift: float = 0.0, head_start: float = 0.0) -> float:
    """Average run length of the two-sided CUSUM, in readings: 1/ARL = 1/ARL+ + 1/ARL- from a start at zero.

    With a head start on both sides Lucas & Crosier (1982): (A+ Z- + Z+ A- - Z+ Z-) / (Z+ + Z-), Z from zero, A ahead.
    """
    up, down = (one_sided_cusum_arl(k, h, side * shift) for side in (1, -1))
    ahead_up, ahead_down = (one_sided_cusum_arl(k, h, side * shift, head_start) for side in (1, -1))
    # Divided through by the larger, so that nothing cancels.
    if up > down:
        up, down, ahead_up, ahead_down = down, up, ahead_down, ahead_up
    return (ahead_up + (ahead_down / down - 1) * up) / (1 + up / down)


@lru_cache(maxsize=1024)
def cusum_limit(arl: float, k: float = 0.5, *, is_two_sided: bool = True) -> float:
    """The h, in sigmas, that gives a wanted in-control run length in readings. Raises ValueError outside 2 … 5e8."""
    _check_run(arl)
    wanted = 2 * arl if is_two_sided else arl
    # Doubling from a narrow limit keeps clear of the very wide ones, where the equation has lost its digits.
    wide = 1.0
    while one_sided_cusum_arl(k, wide) < wanted:
        wide *= 2
    return float(optimize.brentq(lambda h: math.log(one_sided_cusum_arl(k, h) / wanted), 1e-6, wide, xtol=1e-9))


def _check_run(arl: float) -> None:
    if not 2 <= arl <= LONGEST_RUN / 2:
        raise ValueError(f"expected a run length from 2 to {LONGEST_RUN / 2:g} readings, got {arl}")


@lru_cache(maxsize=4096)
def ewma_arl(weight: float, width: float, shift: float = 0.0) -> float:
    """Average run length of the two-sided EWMA with steady limits, in readings; shift in sigmas of a reading.

    Crowder (1987): L(u) = 1 + (1/w) integral over ±width sqrt(w/(2-w)) of L(y) phi((y - (1-w) u)/w - shift) dy.
    """
    nodes = max(NODES, math.ceil(24 / math.sqrt(weight)))
    points, weights = _legendre(nodes)
    edge = width * math.sqrt(weight / (2 - weight))
    y, w = points * edge, weights * edge / weight
    start = np.concatenate([[0.0], y])
    kernel = w * _density((y - (1 - weight) * start[:, None]) / weight - shift)
    length = np.linalg.solve(np.eye(nodes) - kernel[1:], np.ones(nodes))
    return float(1 + kernel[0] @ length)


@lru_cache(maxsize=1024)
def ewma_width(arl: float, weight: float) -> float:
    """The limit width L, in sigmas of z, that gives a wanted in-control run length in readings."""
    _check_run(arl)
    return float(optimize.brentq(lambda width: math.log(ewma_arl(weight, width) / arl), 0.05, 7.5, xtol=1e-9))


def shewhart_arl(width: float, shift: float = 0.0) -> float:
    """Average run length, in readings, of single readings against limits at ± width sigmas."""
    return float(1 / (special.ndtr(shift - width) + special.ndtr(-width - shift)))
