"""A step in readings that look back over ten runs: it comes as a ramp, and is told from growth by what each leaves."""

from __future__ import annotations

from typing import Final

import numpy as np

from pipeline.history import FloatArray
from pipeline.season.like_for_like import FEWEST_RUNS

LOOK_BACK_RUNS: Final = 10
"""Runs over which such a step is smeared."""


def smeared_step(values: FloatArray) -> int | None:
    """Index where a step began that ten-run readings smear into a ramp, if that fits better than any bend.

    Both pictures have three numbers, so the residual sums of squares can be compared.
    """
    places = np.arange(FEWEST_RUNS, len(values) - 2)
    if not places.size:
        return None
    since = np.arange(len(values))[None, :] - places[:, None] + 1
    bends = np.maximum(since, 0.0)
    ramps = np.minimum(bends / LOOK_BACK_RUNS, 1.0)
    ramp_left, bend_left = _left(ramps, values), _left(bends, values)
    return int(places[np.argmin(ramp_left)]) if ramp_left.min() <= CLEARLY_LESS * bend_left.min() else None


CLEARLY_LESS: Final = 0.75
"""Growth that ended looks much like a smeared step, so a step must leave clearly less than growth leaves."""


def _left(pictures: FloatArray, values: FloatArray) -> FloatArray:
    """Residual sum of squares of values (n,) on a level and each picture (m, n), shape (m,)."""
    off = pictures - pictures.mean(axis=1, keepdims=True)
    deviation = values - values.mean()
    explained = (off @ deviation) ** 2 / np.maximum((off**2).sum(axis=1), 1e-12)
    return np.asarray(deviation @ deviation - explained)
