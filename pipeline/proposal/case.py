"""One column weighed as one channel: what a look at its values is given, and what it answers.

The weights are common practice, no published source; `tests/proposal` holds the confidence that comes of them against
what truly stands in logs whose names were taken away.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from pipeline.proposal.signals import Around, Signal

if TYPE_CHECKING:
    from collections.abc import Callable

Evidence = tuple[float, str]
"""Log odds (natural units) and what was seen; no words where it is not worth saying."""

IMPOSSIBLE: Final = -9.0
"""Values that the channel cannot have."""


@dataclass(frozen=True)
class Case:
    """One column as a candidate: its values in the canonical unit, its texts, and the log around it."""

    signal: Signal
    texts: tuple[str, ...]
    around: Around


def inside(low: float, high: float, words: str, weight: float = 0.5) -> Callable[[Case], Evidence]:
    """Nearly all values lie in a range that the channel keeps to."""

    def look(case: Case) -> Evidence:
        share = case.signal.within(low, high)
        if share >= 0.98:
            return weight, words
        return (-1.5, "") if share >= 0.9 else (-4.0, "") if share >= 0.5 else (IMPOSSIBLE, "")

    return look


def moves(least: float, weight: float = -3.0) -> Callable[[Case], Evidence]:
    """A signal that hardly moves shows nothing of the channel."""
    return lambda case: (weight, "") if case.signal.high - case.signal.low < least else (0.0, "")


def glides(case: Case) -> Evidence:
    """What answers to heat or wear moves without jumps."""
    return (0.7, "") if case.signal.roughness < 0.02 else (-2.0, "")


def warms(signal: Signal) -> bool:
    """Whether it rises as a cold engine's temperatures do; °C or °F."""
    return signal.high - signal.low > 12 and signal.climb > 0.6 and is_smooth(signal)


def is_smooth(signal: Signal) -> bool:
    """Whether its path is short for what it covers: heat does not jump to and fro."""
    coarse = signal.found[:: max(1, signal.found.size // 60)]
    path = float(np.abs(np.diff(coarse)).sum())
    return path < 3.0 * max(float(np.ptp(coarse)), 2.0)
