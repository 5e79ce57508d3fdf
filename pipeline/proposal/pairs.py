"""Which column follows which: a target that steps between levels, and the position that comes after it with a lag."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pipeline.proposal.signals import Mask, Signal, Values

LONGEST_LAG_S: Final = 3.0
"""A shift actuator takes some tenths of a second to a second or two (common practice, no published source)."""

_MOST_TARGETS: Final = 4
_NEAR_PCT: Final = 8.0
_APART_PCT: Final = 8.0


@dataclass(frozen=True)
class Following:
    """How one signal follows another: `lag_s` seconds behind, and how far apart the two stay once settled."""

    target: int
    position: int
    lag_s: float
    apart: float


def main_levels(signal: Signal) -> Values:
    """The two to four levels a signal holds nearly all the time, lowest first; empty where it does not."""
    values, counts = np.unique(signal.found, return_counts=True)
    kept = np.sort(values[np.argsort(-counts)[:_MOST_TARGETS]])
    if not values.size or counts.size > 60 or np.sort(counts)[-_MOST_TARGETS:].sum() < 0.97 * counts.sum():
        return np.empty(0)
    many = np.array([counts[np.searchsorted(values, level)] for level in kept]) > 0.003 * counts.sum()
    held: Values = kept[many]
    return held


def is_target_like(signal: Signal) -> bool:
    """Whether it steps between levels that lie far apart inside 0…100 %."""
    levels = main_levels(signal)
    return (
        2 <= levels.size <= _MOST_TARGETS
        and levels[0] > -5
        and levels[-1] < 105
        and float(np.diff(levels).max()) > _APART_PCT
    )


def followings(signals: Sequence[Signal], time_s: Values) -> list[Following]:
    """Every pair of a stepping signal and one that comes to the same levels after it."""
    targets = [at for at, signal in enumerate(signals) if is_target_like(signal)]
    found = []
    for target in targets:
        steps = _steps(signals[target])
        for position, signal in enumerate(signals):
            if position != target and steps.size and (each := _following(signals[target], signal, steps, time_s)):
                found.append(Following(target, position, *each))
    return found


def _steps(signal: Signal) -> NDArray[np.int64]:
    values = np.nan_to_num(signal.values)
    changed = np.flatnonzero(np.abs(np.diff(values)) > _APART_PCT / 2) + 1
    return changed[:200].astype(np.int64)


def _following(target: Signal, other: Signal, steps: NDArray[np.int64], time_s: Values) -> tuple[float, float] | None:
    """Lag (s) and distance, where `other` settles near the target and does so later than it; None where it does not."""
    if other.found.size < 10 or other.levels.size in {1, 2, 3}:
        return None
    settled = _settled(steps, time_s)
    both = settled & target.known & other.known
    if both.sum() < 10:
        return None
    apart = np.abs(other.values[both] - target.values[both])
    lags = _lags(target, other, steps, time_s)
    if float(np.percentile(apart, 80)) > _NEAR_PCT or not lags:
        return None
    lag = float(np.median(lags))
    return (lag, float(np.median(apart))) if 0 < lag <= LONGEST_LAG_S else None


def _settled(steps: NDArray[np.int64], time_s: Values) -> Mask:
    """The rows later than the longest lag after the step before them."""
    since = np.full(time_s.size, np.inf)
    for step in steps:
        since[step:] = time_s[step:] - time_s[step]
    settled: Mask = since > LONGEST_LAG_S
    return settled


def _lags(target: Signal, other: Signal, steps: NDArray[np.int64], time_s: Values) -> list[float]:
    """For each step, the seconds until the other signal has gone half the way; unanswered steps are left out."""
    lags = []
    for step in steps:
        before, after = target.values[step - 1], target.values[step]
        window = slice(int(step), int(np.searchsorted(time_s, time_s[step] + LONGEST_LAG_S)))
        gone = (other.values[window] - before) / (after - before)
        reached = np.flatnonzero(gone >= 0.5)
        if gone.size and gone[0] < 0.5 and reached.size:
            lags.append(float(time_s[window][reached[0]] - time_s[step]))
    return lags if len(lags) >= 0.5 * len(steps) else []
