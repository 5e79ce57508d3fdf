"""Between a boat's local time and UTC: offsets of its zone, hours that occur twice or never, midnight."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Seconds = NDArray[np.float64]
    Mask = NDArray[np.bool_]

DAY_S: Final = 86_400.0
FAR_S: Final = 1e10
"""The year 2286, and 1653: a stamp beyond is no time, whatever digits it has."""

_ROLLOVER_S: Final = 12 * 3600.0
_FOLD_S: Final = 15 * 60.0
"""Zones repeat an hour, Lord Howe Island half an hour; a step back of more than this inside it is the second pass."""


def to_epoch(moment: datetime, zone: str) -> float:
    """A moment in epoch seconds; without an offset it is local to `zone`."""
    return (moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(zone))).timestamp()


def offset_s(local_s: float, zone: str, fold: int = 0) -> float:
    """The zone's offset from UTC in seconds at a local time given as if it were UTC."""
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=max(-FAR_S, min(local_s, FAR_S)))
    offset = moment.replace(tzinfo=ZoneInfo(zone), fold=fold).utcoffset()
    return offset.total_seconds() if offset is not None else 0.0


def unrolled(local_s: Seconds) -> Seconds:
    """Times of day over midnight: a fall of more than twelve hours is the next day."""
    falls = np.concatenate(([0.0], np.cumsum(np.diff(local_s) < -_ROLLOVER_S)))
    return np.asarray(local_s + falls * DAY_S, dtype=np.float64)


@dataclass(frozen=True)
class Transition:
    """A change of a zone's offset, at `at_s` in epoch seconds."""

    at_s: float
    before_s: float
    after_s: float


def transitions(first_s: float, last_s: float, zone: str) -> list[Transition]:
    """Changes of the zone's offset from a day before the first time to a day after the last, at most a year's worth."""
    step = 6 * 3600
    start = int(first_s - DAY_S) // step * step
    marks = range(start, int(min(last_s, first_s + 366 * DAY_S) + DAY_S) + step, step)
    offsets = [_utc_offset_s(mark, zone) for mark in marks]
    pairs = zip(marks, offsets, offsets[1:], strict=False)
    return [_pinned(mark, step, zone) for mark, here, there in pairs if here != there]


def _utc_offset_s(at_s: float, zone: str) -> float:
    offset = datetime.fromtimestamp(at_s, ZoneInfo(zone)).utcoffset()
    return offset.total_seconds() if offset is not None else 0.0


def _pinned(mark: int, step: int, zone: str) -> Transition:
    before = _utc_offset_s(mark, zone)
    low, high = mark, mark + step
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if _utc_offset_s(middle, zone) == before else (low, middle)
    return Transition(float(high), before, _utc_offset_s(high, zone))


def utc(local_s: Seconds, zone: str) -> tuple[Seconds, bool]:
    """Local times (as if UTC) to UTC, each with the offset in force at its row, and whether a pass had to be chosen.

    A repeated hour is taken as the log's own order tells it; where it tells nothing, as the first pass.
    """
    first = float(np.min(local_s))
    offset = np.full(local_s.size, offset_s(first, zone))
    had_to_choose = False
    for change in transitions(first - offset[0], float(np.max(local_s)) - offset[0], zone):
        # In a skipped hour, which no clock should show, the offset before goes on.
        turn = change.at_s + max(change.before_s, change.after_s)
        offset[local_s >= turn] = change.after_s
        if change.after_s < change.before_s:
            again = (local_s >= change.at_s + change.after_s) & (local_s < turn)
            second, is_told = _second_pass(local_s, again)
            had_to_choose = had_to_choose or not is_told
            offset[again] = np.where(second, change.after_s, change.before_s)[again]
    return np.asarray(local_s - offset, dtype=np.float64), had_to_choose


def _second_pass(local_s: Seconds, again: Mask) -> tuple[Mask, bool]:
    """For rows in the repeated hour: whether they lie in its second pass, and whether anything tells.

    A step back by more than `_FOLD_S` inside it starts the second pass. Without one, rows that run on into the time
    after the hour are its second pass, rows that come from before are its first.
    """
    rows = np.flatnonzero(again)
    if rows.size == 0:
        return again, True
    back = rows[1:][np.diff(local_s[rows]) < -_FOLD_S]
    if back.size:
        return np.asarray(np.arange(local_s.size) >= back[0], dtype=np.bool_), True
    comes_from_before = rows[0] > 0
    runs_on = rows[-1] + 1 < local_s.size
    return np.full(local_s.size, runs_on and not comes_from_before), comes_from_before or runs_on
