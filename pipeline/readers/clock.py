"""When each row of a log was taken: the rules for rows whose times are missing, unlikely, equal or out of order.

Rules for rows, in this order:

1. A row whose time cannot be read is left out.
2. Times before 2000 or more than a day after the file's own time come from a clock that was not set. A few such rows
   are left out. Where the clock was set while logging, the rows before are moved next to those after. Where all are so,
   a start in the metadata or the file's name replaces the clock; without one the log is refused.
3. A counter that ran over (16 or 32 bits) goes on where it left off. One that begins at more than a day does not count
   from the log's start: it is taken from its first row.
4. Rows that step back in time are left out: as few as give an order that never falls.
5. Rows with equal stamps (a clock coarser than the sampling) are spread evenly up to the next stamp, but over no more
   than the clock's usual step and no more than 2 s. Rows closer than 1 ms come from a clock that stood: left out.
6. More than 5 % of rows left out: the log is refused.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

import numpy as np

from pipeline.problems import Problem
from pipeline.readers.request import Refusal
from pipeline.readers.row_order import rising, spread
from pipeline.readers.zones import DAY_S, FAR_S, offset_s, to_epoch, transitions, unrolled, utc

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pipeline.readers.start import Start
    from pipeline.readers.time_kinds import Kind, TimeForm

    Seconds = NDArray[np.float64]
    Mask = NDArray[np.bool_]

FIRST_CREDIBLE_S: Final = datetime(2000, 1, 1, tzinfo=UTC).timestamp()
MAX_LOST_SHARE: Final = 0.05

COUNTERS: Final = (2**16, 2**32)
"""Where counters of 16 and 32 bits start again at nought."""
_WRAP_STEPS: Final = 3.0
"""A counter that ran over goes on with a step of the usual size, up to three of them; a clock that was set does not."""


@dataclass(frozen=True)
class TimeReading:
    """How to turn the time column to epoch seconds: time_s = column * factor + shift_s, before the rules for rows.

    `offset_s` is the part of the shift that is the zone's: time_s + offset_s is local time given as if it were UTC.
    """

    kind: Kind
    factor: float
    shift_s: float
    offset_s: float = 0.0


@dataclass(frozen=True)
class Settled:
    """Times of the rows, strictly rising, in epoch seconds, and which rows they belong to (True is kept)."""

    time_s: Seconds
    keep: Mask
    spread: int = 0
    problems: tuple[Problem, ...] = ()


def plan(form: TimeForm, first: float | None, start: Start, zone: str) -> tuple[TimeReading, bool]:
    """How to read the column, and whether the start is only assumed.

    `first` is the first row's time in seconds: since 1970 for `local` (as if the zone were UTC), since midnight for
    `clock`; for these the shift holds for that row, and `settle` sees to the others.
    """
    kind, factor = form.kind, form.factor
    if kind == "elapsed":
        at_s = start.at_s if start.at_s is not None else _midnight(start.day, zone)
        return TimeReading(kind, factor, at_s), start.assumed or start.at_s is None
    if kind == "local":
        offset = offset_s(first or 0.0, zone)
        return TimeReading(kind, factor, -offset, offset), False
    if kind == "clock":
        day_s = _day_of_clock(first or 0.0, start, zone)
        offset = offset_s(day_s + (first or 0.0), zone)
        return TimeReading(kind, factor, day_s - offset, offset), start.assumed
    return TimeReading(kind, factor, 0.0), False


def _midnight(day: date | None, zone: str) -> float:
    return to_epoch(datetime.combine(day or date(1970, 1, 1), time()), zone)


def _day_of_clock(first: float, start: Start, zone: str) -> float:
    """Local midnight (as if UTC) of the day of the first row.

    With a known start the day that puts the row nearest to it; with only the file's own time, which is the log's end,
    the last day that does not put the row after it.
    """
    if start.at_s is None:
        return (start.day or date(1970, 1, 1)).toordinal() * DAY_S - date(1970, 1, 1).toordinal() * DAY_S
    moment = datetime.fromtimestamp(start.at_s, ZoneInfo(zone))
    local_s = start.at_s + (moment.utcoffset() or timedelta()).total_seconds()
    day_s = local_s - local_s % DAY_S
    if start.assumed:
        return day_s if day_s + first <= local_s else day_s - DAY_S
    return min((day_s - DAY_S, day_s, day_s + DAY_S), key=lambda midnight: abs(midnight + first - local_s))


@dataclass(frozen=True)
class LogClock:
    """What `settle` must know beside the times: the reading used, the start, the zone and the file's own time."""

    reading: TimeReading
    start: Start
    zone: str
    file: str
    file_time_s: float


def settle(time_s: Seconds, clock: LogClock, first_line: int | None = None) -> Settled:
    """The rules for rows (see the module), applied to times in epoch seconds; NaN is a time that could not be read.

    `first_line` is the line of the first row, for messages.

    Raises:
        Refusal: the clock was not set, or too many rows are lost.
    """
    if _is_sound(time_s, clock):
        return Settled(time_s, np.ones(time_s.size, dtype=np.bool_))
    keep = np.asarray(np.abs(time_s) < FAR_S, dtype=np.bool_)
    if not keep.any():
        way_out = "Check the time's column and unit in the channel map."
        raise Refusal(_problem(clock, first_line, "time_unreadable", "times", "none that can be read", way_out))
    problems: list[Problem] = []
    moved = time_s.copy()
    moved[keep] = _zoned(_counted(time_s[keep], clock, problems), clock, problems)
    moved[keep], credible = _credible(moved[keep], clock, problems)
    keep[keep] = credible
    backward = ~rising(moved[keep])
    if backward.any():
        problems.append(_stepping_back(clock, first_line, keep, backward))
        keep[keep] = ~backward
    moved[keep], standing, count = spread(moved[keep])
    keep[keep] = ~standing
    _refuse_losses(keep, clock, problems)
    return Settled(moved[keep], keep, count, tuple(problems))


def _is_sound(time_s: Seconds, clock: LogClock) -> bool:
    """Whether nothing has to be done: the usual case, told by one pass."""
    if time_s.size == 0 or not bool(np.all(np.diff(time_s) > 0)) or not bool(np.isfinite(time_s[[0, -1]]).all()):
        return False
    if clock.reading.kind == "elapsed" and time_s[0] - clock.reading.shift_s > DAY_S:
        return False
    in_zone = clock.reading.kind not in {"local", "clock"} or not transitions(time_s[0], time_s[-1], clock.zone)
    return in_zone and time_s[0] >= FIRST_CREDIBLE_S and time_s[-1] <= _last_credible_s(clock)


def _last_credible_s(clock: LogClock) -> float:
    """A day after the file's own time; no limit where that itself is before 2000."""
    return clock.file_time_s + DAY_S if clock.file_time_s >= FIRST_CREDIBLE_S else float("inf")


def _problem(clock: LogClock, line: int | None, code: str, expected: str, got: str, way_out: str) -> Problem:
    return Problem(clock.file, line, code, expected, got, way_out)


def _zoned(time_s: Seconds, clock: LogClock, problems: list[Problem]) -> Seconds:
    """Local times with the offset in force at each row, not only at the first."""
    if clock.reading.kind not in {"local", "clock"}:
        return time_s
    local_s = time_s + clock.reading.offset_s
    moved, had_to_choose = utc(unrolled(local_s) if clock.reading.kind == "clock" else local_s, clock.zone)
    if had_to_choose:
        problems.append(_problem(clock, None, "repeated_hour", "a time with its offset", "local times",
                                 "The first pass was taken; let the logger write UTC."))  # fmt: skip
    return moved


def _counted(time_s: Seconds, clock: LogClock, problems: list[Problem]) -> Seconds:
    """Elapsed times as one count from the log's start."""
    if clock.reading.kind != "elapsed":
        return time_s
    raw = (time_s - clock.reading.shift_s) / clock.reading.factor
    counter = next((size for size in COUNTERS if _ran_over(raw, size)), None)
    if counter is not None:
        raw = raw + counter * np.concatenate(([0.0], np.cumsum(np.diff(raw) < 0)))
        problems.append(_problem(clock, None, "counter_ran_over", "a count that goes on",
                                 f"a counter of {counter.bit_length() - 1} bits", "It was counted on."))  # fmt: skip
    if raw[0] * clock.reading.factor > DAY_S:
        problems.append(_problem(clock, None, "counter_from_before", "seconds since the log's start",
                                 f"{raw[0] * clock.reading.factor:,.0f} s in the first row",
                                 "It was counted from the first row."))  # fmt: skip
        raw = raw - raw[0]
    return np.asarray(raw * clock.reading.factor + clock.reading.shift_s, dtype=np.float64)


def _ran_over(raw: Seconds, size: int) -> bool:
    """Whether every fall of a count is that of a counter of this size which starts again at nought."""
    steps = np.diff(raw)
    falls = steps < 0
    if not falls.any() or falls.all() or raw.min() < 0 or raw.max() >= size:
        return False
    usual = float(np.median(steps[~falls]))
    return bool((steps[falls] + size <= _WRAP_STEPS * max(usual, 1.0)).all())


def _credible(time_s: Seconds, clock: LogClock, problems: list[Problem]) -> tuple[Seconds, Mask]:
    """Times a logger's clock can have shown, after what can be repaired is; the mask leaves out the few others."""
    credible = (time_s >= FIRST_CREDIBLE_S) & (time_s <= _last_credible_s(clock))
    if credible.all() or (~credible).mean() <= MAX_LOST_SHARE:
        return time_s, credible
    shown = datetime.fromtimestamp(float(time_s[0]), UTC).isoformat()
    set_at = _set_while_logging(time_s, credible)
    if set_at is not None:
        way_out = "Set the logger's clock before logging."
        problems.append(_problem(clock, None, "clock_repaired", "a clock that is set", shown, way_out))
        return _moved_up(time_s, set_at), np.ones(time_s.size, dtype=np.bool_)
    if clock.reading.kind == "elapsed" or clock.start.at_s is None or clock.start.assumed:
        raise Refusal(
            _problem(clock, None, "clock_not_set", "times between 2000 and the file's own time", shown,
                     "Set the logger's clock; or name the file by its start (YYYY-MM-DD_HHMM), then that counts.")
        )  # fmt: skip
    problems.append(_problem(clock, None, "clock_replaced", "a clock that is set", shown, "Set the logger's clock."))
    return time_s - time_s[0] + clock.start.at_s, np.ones(time_s.size, dtype=np.bool_)


def _set_while_logging(time_s: Seconds, credible: Mask) -> int | None:
    """Index of the first credible row, where all before are from before 2000 and all after are credible."""
    first = int(np.argmax(credible))
    return first if first > 0 and credible[first:].all() and (time_s[:first] < FIRST_CREDIBLE_S).all() else None


def _moved_up(time_s: Seconds, first: int) -> Seconds:
    steps = np.diff(time_s[:first])
    step = float(np.median(steps[steps > 0])) if (steps > 0).any() else 1.0
    moved = time_s.copy()
    moved[:first] += time_s[first] - step - time_s[first - 1]
    return moved


def _stepping_back(clock: LogClock, first_line: int | None, keep: Mask, backward: Mask) -> Problem:
    row = int(np.flatnonzero(keep)[np.argmax(backward)])
    line = None if first_line is None else first_line + row
    return _problem(clock, line, "rows_step_back", "times that never fall", f"{int(backward.sum())} rows out of order",
                    "They were left out.")  # fmt: skip


def _refuse_losses(keep: Mask, clock: LogClock, problems: Sequence[Problem]) -> None:
    lost = int((~keep).sum())
    if lost <= MAX_LOST_SHARE * keep.size:
        return
    why = problems[0].code.replace("_", " ") if problems else "times unreadable or the clock stood"
    raise Refusal(
        _problem(clock, None, "too_many_rows_lost", f"at most {MAX_LOST_SHARE:.0%} of rows to be left out",
                 f"{lost} of {keep.size} ({why})", "Check the time's unit in the channel map and the logger's clock.")
    )  # fmt: skip
