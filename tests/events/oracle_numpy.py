"""Runs, shifts and idle windows told a second time, sample by sample, from the words of the contract alone.

Plain loops and masks, slow and simple on purpose. Times are seconds from the log's start.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from log_maker import Log

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Mask = NDArray[np.bool_]

LONGEST_HOLE_S = 10.0


@dataclass(frozen=True)
class Shift:
    """A shift; `settled_pct` and `arrived_s` are None where no plateau can be told, `is_close` where it was close."""

    step_s: float
    from_target_pct: float
    to_target_pct: float
    settled_pct: float | None
    arrived_s: float | None
    is_close: bool


@dataclass(frozen=True)
class Idle:
    """An idle window: its first and last sample, and the means of its samples."""

    from_s: float
    to_s: float
    samples: int
    rpm_mean: float
    rpm_sd: float
    trim_mean: float
    settled_from_s: float


def values(log: Log, name: str) -> Floats:
    """A channel as stored (single precision); all NaN where the log lacks it."""
    held = log.channels.get(name)
    return np.full(log.time_s.shape, np.nan) if held is None else held.astype(np.float32).astype(np.float64)


def runs(log: Log) -> list[tuple[float, float]]:
    """First and last sample of each stretch above 200 rpm without a hole of more than 10 s."""
    found: list[tuple[float, float]] = []
    previous_s: float | None = None
    for time_s, rpm in zip(log.time_s, values(log, "rpm"), strict=True):
        if rpm > 200:
            if previous_s is not None and found and time_s - previous_s <= LONGEST_HOLE_S:
                found[-1] = (found[-1][0], time_s)
            else:
                found.append((time_s, time_s))
            previous_s = time_s
        else:
            previous_s = None
    return found


def shifts(log: Log) -> list[Shift]:
    """The shifts of every run, in time order."""
    target, position = values(log, "shift_target"), values(log, "shift_position")
    found = []
    for from_s, to_s in runs(log):
        inside = np.flatnonzero((log.time_s >= from_s) & (log.time_s <= to_s))
        steps = [after for before, after in pairwise(inside) if abs(target[after] - target[before]) > 5]
        for step, end in pairwise([*steps, inside[-1] + 1]):
            until_s = log.time_s[end] if end <= inside[-1] else to_s
            found.append(_measured(log.time_s[step:end], position[step:end], until_s, target[step - 1], target[step]))
    return found


def _measured(time_s: Floats, position: Floats, until_s: float, before: float, after: float) -> Shift:
    """Settled position and arrival, found by turns until they agree; the first guess is the last half second."""
    settled = float(np.median(position[time_s >= until_s - 0.5])) if (time_s >= until_s - 0.5).any() else np.nan
    arrived = np.nan
    for _ in range(5):
        arrived = _arrival(time_s, np.abs(position - settled) <= 2)
        plateau_s = np.nanmax([time_s[0] + 1.5, arrived + 0.5, until_s - 5])
        plateau = position[time_s >= plateau_s]
        if until_s - plateau_s < 0.5 or not plateau.size or np.isnan(arrived):
            is_close = bool(until_s - plateau_s > 0.3)
            return Shift(time_s[0], before, after, None, None, is_close)
        settled = float(np.median(plateau))
    steady = bool(np.percentile(np.abs(plateau - settled), 95) <= 1)
    is_close = bool(until_s - plateau_s < 0.7)
    return Shift(time_s[0], before, after, settled if steady else None, arrived if steady else None, is_close)


def _arrival(time_s: Floats, inside: Mask) -> float:
    """The first sample inside after which none is outside for half a second."""
    for at_s in time_s[inside]:
        if inside[(time_s >= at_s) & (time_s <= at_s + 0.5)].all():
            return float(at_s)
    return float("nan")


def idle_windows(log: Log) -> list[Idle]:
    """Windows of at least 5 s, uncut."""
    time_s, rpm, target = log.time_s, values(log, "rpm"), values(log, "rpm_target")
    near = np.where(np.isnan(target), (rpm >= 450) & (rpm <= 1000), np.abs(rpm - target) <= 150)
    rests = values(log, "pedal") <= 1
    gear = values(log, "gear") if "gear" in log.channels else _gear_of(values(log, "shift_target"))
    steps = np.array([shift.step_s for shift in shifts(log)])
    found: list[Idle] = []
    for from_s, to_s in runs(log):
        in_run = (time_s >= from_s) & (time_s <= to_s)
        since_step = time_s - np.array([max(steps[(steps <= at) & (steps > from_s)], default=-np.inf) for at in time_s])
        idle = in_run & rests & near & (time_s - from_s > 20) & (since_step > 4)
        for first, last in _stretches(idle, gear):
            if time_s[last] - time_s[first] >= 5:
                closed_s = _closed_since(time_s, rests, first)
                settled_s = max(time_s[first] - since_step[first], closed_s, from_s) + 10
                found.append(_window(log, first, last, settled_s))
    return found


def _gear_of(target: Floats) -> Floats:
    return np.where(target < 31, -1.0, np.where(target < 70, 0.0, 1.0))


def _stretches(idle: Mask, gear: Floats) -> list[tuple[int, int]]:
    found: list[tuple[int, int]] = []
    for at in np.flatnonzero(idle):
        if found and found[-1][1] == at - 1 and gear[at] == gear[at - 1]:
            found[-1] = (found[-1][0], int(at))
        else:
            found.append((int(at), int(at)))
    return found


def _closed_since(time_s: Floats, rests: Mask, first: int) -> float:
    opened = np.flatnonzero(~rests[: first + 1])
    return float(time_s[opened[-1] + 1] if opened.size else time_s[0])


def _window(log: Log, first: int, last: int, settled_s: float) -> Idle:
    span = slice(first, last + 1)
    rpm, trim, loop = (values(log, name)[span] for name in ("rpm", "fuel_trim", "fuel_closed_loop"))
    return Idle(
        float(log.time_s[first]),
        float(log.time_s[last]),
        last + 1 - first,
        float(rpm.mean()),
        float(rpm.std(ddof=1)),
        float(trim[loop == 1].mean()),
        float(settled_s),
    )


def integral_mean(log: Log, from_s: float, to_s: float, settled_s: float) -> float:
    """Mean integral of the samples between two times, from `settled_s` on."""
    kept = (log.time_s >= from_s - 1e-6) & (log.time_s <= to_s + 1e-6) & (log.time_s >= settled_s)
    return float(values(log, "idle_integral")[kept].mean()) if kept.any() else float("nan")
