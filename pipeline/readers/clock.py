"""When each row of a log was taken: start, zone, daylight saving, midnight, and the rules for rows out of order.

Rules for rows, in this order:

1. A row whose time cannot be read is left out.
2. Times before 2000 or more than a day after the file's own time come from a clock that was not set. A few such rows
   are left out. Where the clock was set while logging, the rows before are moved next to those after. Where all are so,
   a start in the metadata or the file's name replaces the clock; without one the log is refused.
3. Rows that step back in time are left out: as few as give an order that never falls.
4. Rows with equal stamps (a clock coarser than the sampling) are spread evenly up to the next stamp, but over no more
   than the clock's usual step and no more than 2 s. Rows closer than 1 ms come from a clock that stood: left out.
5. More than 5 % of rows left out: the log is refused.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, Final, Literal
from zoneinfo import ZoneInfo

import numpy as np

from pipeline.problems import Problem
from pipeline.readers.header import is_number
from pipeline.readers.request import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    Seconds = NDArray[np.float64]
    Mask = NDArray[np.bool_]

Kind = Literal["elapsed", "epoch", "zoned", "local", "clock"]
"""elapsed: seconds since the start; epoch: seconds since 1970 UTC; zoned: text with an offset; local: a date and time
in the boat's zone; clock: time of day."""

DAY_S: Final = 86_400.0
EPOCH_FROM_S: Final = 1e9
"""Seconds above this are seconds since 1970 (the contract's rule); as elapsed time they would be 31 years."""

FAR_S: Final = 1e10
"""The year 2286, and 1653: a stamp beyond is no time, whatever digits it has."""

FIRST_CREDIBLE_S: Final = datetime(2000, 1, 1, tzinfo=UTC).timestamp()
MAX_SPREAD_S: Final = 2.0
MIN_STEP_S: Final = 0.001
MAX_LOST_SHARE: Final = 0.05
_ROLLOVER_S: Final = 12 * 3600.0
_FOLD_S: Final = 15 * 60.0
"""Zones repeat an hour, Lord Howe Island half an hour; a step back of more than this inside it is the second pass."""

_FACTOR: Final = {"s": 1.0, "ms": 0.001, "epoch_s": 1.0, "epoch_ms": 0.001}
_OFFSET: Final = re.compile(r"\d{1,2}:\d{2}.*(Z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2})\Z", re.IGNORECASE)
_CLOCK: Final = re.compile(r"\d{1,3}:\d{2}(:\d{2})?([.,]\d+)?\Z")
_DATE_FIRST: Final = re.compile(r"\d{4}[-/]\d{1,2}[-/]\d{1,2}")


@dataclass(frozen=True)
class Start:
    """When a log began, as far as anything says so.

    `at_s` is in epoch seconds; `day` is the local date alone, where no time of day is known. `assumed`: only the file's
    own time says so.
    """

    at_s: float | None
    day: date | None
    assumed: bool


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


# ---- which kind of time -----------------------------------------------------------------------------------------


def kind_of(unit: str | None, first_cells: Iterable[str], file: str) -> tuple[Kind, float]:
    """Kind and factor of a text time column with this unit (None: by its looks), judged by its first filled cell.

    Raises:
        Refusal: the first cell is no time of that unit.
    """
    first = next((cell.strip() for cell in first_cells if cell.strip()), "")
    if unit in _FACTOR or (unit is None and is_number(first.replace(",", "."))):
        return _numeric_kind(unit or "s", first, file)
    if unit == "clock" or (unit is None and _CLOCK.match(first)):
        return _expected(_CLOCK.match(first) is not None, "clock", "a time of day such as 07:10:00.050", first, file)
    zoned: Kind = "zoned" if _OFFSET.search(first) else "local"
    is_date = _DATE_FIRST.match(first) is not None
    return _expected(is_date, zoned, "an ISO 8601 time such as 2026-06-14T07:10:00", first, file)


def _expected(fits: bool, kind: Kind, expected: str, got: str, file: str) -> tuple[Kind, float]:  # noqa: FBT001
    if not fits:
        raise Refusal(
            Problem(file, None, "time_unreadable", expected, got or "blank cells",
                    "Give the time's unit in the channel map: s, ms, epoch_s, epoch_ms, iso8601 or clock.")
        )  # fmt: skip
    return kind, 1.0


def _numeric_kind(unit: str, first: str, file: str) -> tuple[Kind, float]:
    number = first.replace(",", ".")
    if not is_number(number):
        _expected(False, "elapsed", f"a number, as the time is in {unit}", first, file)  # noqa: FBT003
    return numeric_kind(unit, float(number))


def numeric_kind(unit: str | None, first: float) -> tuple[Kind, float]:
    """Kind and factor of a numeric time column; more than 1e9 seconds are seconds since 1970."""
    factor = _FACTOR.get(unit or "s", 1.0)
    is_epoch = (unit or "").startswith("epoch") or first * factor > EPOCH_FROM_S
    return ("epoch" if is_epoch else "elapsed"), factor


# ---- the start ---------------------------------------------------------------------------------------------------

_NAME_STAMP: Final = re.compile(
    r"(?<!\d)(\d{4})-?(\d{2})-?(\d{2})[T_ ](\d{2})[-:.]?(\d{2})(?:[-:.]?(\d{2}))?(?!\d)(Z|[+-]\d{4})?"
)
_NAME_DAY: Final = re.compile(r"(?<!\d)(\d{4})-?(\d{2})-?(\d{2})(?!\d)")
_START_KEYS: Final = ("start", "begin", "first", "recorded", "recording")
_TIME_KEYS: Final = ("date", "time", "timestamp", "datetime")
_NO_START_KEYS: Final = frozenset({
    "end", "stop", "finish", "last", "duration", "elapsed", "total", "interval", "sample", "sampling", "rate", "period",
    "zone", "timezone", "offset", "step", "export", "exported", "created", "modified", "saved", "printed",
    "calibration", "build", "firmware", "service", "due", "compile", "release", "delta", "trigger",
})  # fmt: skip


def find_start(metadata: Sequence[tuple[str, str]], path: Path, zone: str) -> Start:
    """The start of a log: from a metadata line, else the file's name, else the file's own time, marked as assumed."""
    told = _from_metadata(metadata, zone)
    named = _from_name(path.name, zone)
    if told is not None and told.at_s is None and named is not None and named.at_s is not None:
        return named
    return told or named or Start(path.stat().st_mtime, None, assumed=True)


def _from_metadata(metadata: Sequence[tuple[str, str]], zone: str) -> Start | None:
    days: list[date] = []
    clocks: list[time] = []
    for _, value in sorted(_start_lines(metadata), key=lambda line: line[0]):
        stamp = read_stamp(value, zone)
        if stamp is not None:
            return Start(stamp, None, assumed=False)
        days += filter(None, [_read_day(value)])
        clocks += filter(None, [_read_clock(value)])
    if days and clocks:
        return Start(_to_epoch(datetime.combine(days[0], clocks[0]), zone), None, assumed=False)
    return Start(None, days[0], assumed=False) if days else None


def _start_lines(metadata: Sequence[tuple[str, str]]) -> Iterable[tuple[int, str]]:
    """Values of the lines whose key names a start, a date or a time, with their rank: a start counts first."""
    for key, value in metadata:
        words = set(re.findall(r"[a-z]+", re.sub(r"([a-z])([A-Z])", r"\1 \2", key).casefold()))
        if words & _NO_START_KEYS:
            continue
        if any(word.startswith(_START_KEYS) for word in words):
            yield 0, value
        elif any(word.startswith(_TIME_KEYS) or word.endswith(("date", "time")) for word in words):
            yield 1, value


def _from_name(name: str, zone: str) -> Start | None:
    for found in _NAME_STAMP.finditer(name):
        stamp = _stamp_of_parts(found, zone)
        if stamp is not None:
            return Start(stamp, None, assumed=False)
    for found in _NAME_DAY.finditer(name):
        day = _day(int(found[1]), int(found[2]), int(found[3]))
        if day is not None:
            return Start(None, day, assumed=False)
    return None


def _stamp_of_parts(found: re.Match[str], zone: str) -> float | None:
    year, month, day, hour, minute, second = (int(part or 0) for part in found.groups()[:6])
    try:
        moment = datetime(year, month, day, hour, minute, second)  # noqa: DTZ001 - the zone is added below
    except ValueError:
        return None
    offset = found[7]
    return datetime.fromisoformat(moment.isoformat() + offset).timestamp() if offset else _to_epoch(moment, zone)


_STAMP_FORMS: Final = (
    "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M", "%Y/%m/%d %H:%M:%S", "%Y/%m/%d %H:%M", "%Y%m%d %H%M%S",
    "%d %b %Y %H:%M:%S", "%d %B %Y %H:%M:%S", "%d %b %Y %H:%M", "%d %B %Y %H:%M", "%d-%b-%Y %H:%M:%S",
    "%b %d %Y %H:%M:%S", "%B %d %Y %H:%M:%S", "%a %b %d %H:%M:%S %Y", "%A %d %B %Y %H:%M:%S",
)  # fmt: skip
_DAY_FORMS: Final = (
    "%Y-%m-%d", "%d.%m.%Y", "%Y/%m/%d", "%Y%m%d", "%d %b %Y", "%d %B %Y", "%d-%b-%Y", "%b %d %Y", "%B %d %Y",
)  # fmt: skip
_CLOCK_FORMS: Final = ("%H:%M:%S.%f", "%H:%M:%S", "%H:%M", "%I:%M:%S %p", "%I:%M %p")


def read_stamp(text: str, zone: str) -> float | None:
    """A date with a time of day, as people write it, in epoch seconds; without an offset it is local to `zone`.

    None where it is none, or where day and month could be each other ('03/04/2026').
    """
    tidy = " ".join(text.replace(",", " ").split())
    if is_number(tidy) and float(tidy) > EPOCH_FROM_S and not re.match(r"20\d{6}(\d{6})?\Z", tidy):
        return float(tidy) if float(tidy) < EPOCH_FROM_S * 100 else float(tidy) / 1000.0
    try:
        iso = datetime.fromisoformat(re.sub(r"\s*(UTC|GMT)\Z", "Z", tidy)) if re.search(r"\d[T ]\d", tidy) else None
    except ValueError:
        iso = None
    moment = iso or _by_forms(_unslashed(tidy), _STAMP_FORMS)
    return None if moment is None else _to_epoch(moment, zone)


def _unslashed(text: str) -> str:
    """'14/06/2026' or '06/14/2026' as '14.06.2026', where only one reading is possible; others unchanged."""
    found = re.match(r"(\d{1,2})/(\d{1,2})/(\d{4})(.*)", text)
    if not found or (int(found[1]) <= 12 and int(found[2]) <= 12 and found[1] != found[2]):
        return text
    day, month = (found[1], found[2]) if int(found[1]) > 12 or found[1] == found[2] else (found[2], found[1])
    return f"{day}.{month}.{found[3]}{found[4]}"


def _by_forms(text: str, forms: Sequence[str]) -> datetime | None:
    for form in forms:
        try:
            return datetime.strptime(text, form)  # noqa: DTZ007 - the zone is added by the caller
        except ValueError:
            continue
    return None


def _read_day(text: str) -> date | None:
    moment = _by_forms(_unslashed(" ".join(text.replace(",", " ").split())), _DAY_FORMS)
    return moment.date() if moment else None


def _read_clock(text: str) -> time | None:
    moment = _by_forms(text.strip(), _CLOCK_FORMS)
    return moment.time() if moment else None


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _to_epoch(moment: datetime, zone: str) -> float:
    return (moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(zone))).timestamp()


# ---- from the column to epoch seconds -----------------------------------------------------------------------------


def plan(kind: Kind, factor: float, first: float | None, start: Start, zone: str) -> tuple[TimeReading, bool]:
    """How to read the column, and whether the start is only assumed.

    `first` is the first row's time in seconds: since 1970 for `local` (as if the zone were UTC), since midnight for
    `clock`; for these the shift holds for that row, and `settle` sees to the others.
    """
    if kind == "elapsed":
        at_s = start.at_s if start.at_s is not None else _midnight(start.day, zone)
        return TimeReading(kind, factor, at_s), start.assumed or start.at_s is None
    if kind == "local":
        offset_s = _offset_s(first or 0.0, zone)
        return TimeReading(kind, factor, -offset_s, offset_s), False
    if kind == "clock":
        day_s = _day_of_clock(first or 0.0, start, zone)
        offset_s = _offset_s(day_s + (first or 0.0), zone)
        return TimeReading(kind, factor, day_s - offset_s, offset_s), start.assumed
    return TimeReading(kind, factor, 0.0), False


def _midnight(day: date | None, zone: str) -> float:
    return _to_epoch(datetime.combine(day or date(1970, 1, 1), time()), zone)


def _offset_s(local_s: float, zone: str, fold: int = 0) -> float:
    """The zone's offset from UTC in seconds at a local time given as if it were UTC."""
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=max(-FAR_S, min(local_s, FAR_S)))
    offset = moment.replace(tzinfo=ZoneInfo(zone), fold=fold).utcoffset()
    return offset.total_seconds() if offset is not None else 0.0


def _day_of_clock(first: float, start: Start, zone: str) -> float:
    """Local midnight (as if UTC) of the day of the first row.

    With a known start the day that puts the row nearest to it; with only the file's own time, which is the log's end,
    the last day that does not put the row after it.
    """
    if start.at_s is None:
        return (start.day or date(1970, 1, 1)).toordinal() * DAY_S - date(1970, 1, 1).toordinal() * DAY_S
    utc = datetime.fromtimestamp(start.at_s, UTC)
    local_s = start.at_s + (utc.astimezone(ZoneInfo(zone)).utcoffset() or timedelta()).total_seconds()
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
    moved[keep] = _zoned(time_s[keep], clock, problems)
    moved[keep], credible = _credible(moved[keep], clock, problems)
    keep[keep] = credible
    backward = ~_rising(moved[keep])
    if backward.any():
        problems.append(_stepping_back(clock, first_line, keep, backward))
        keep[keep] = ~backward
    spread, standing, count = _spread(moved[keep])
    moved[keep] = spread
    keep[keep] = ~standing
    _refuse_losses(keep, clock, problems)
    return Settled(moved[keep], keep, count, tuple(problems))


def _is_sound(time_s: Seconds, clock: LogClock) -> bool:
    """Whether nothing has to be done: the usual case, told by one pass."""
    if time_s.size == 0 or not bool(np.all(np.diff(time_s) > 0)) or not bool(np.isfinite(time_s[[0, -1]]).all()):
        return False
    in_zone = clock.reading.kind not in {"local", "clock"} or not _transitions(time_s[0], time_s[-1], clock.zone)
    return in_zone and time_s[0] >= FIRST_CREDIBLE_S and time_s[-1] <= _last_credible_s(clock)


def _last_credible_s(clock: LogClock) -> float:
    """A day after the file's own time; no limit where that itself is before 2000."""
    return clock.file_time_s + DAY_S if clock.file_time_s >= FIRST_CREDIBLE_S else float("inf")


def _problem(clock: LogClock, line: int | None, code: str, expected: str, got: str, way_out: str) -> Problem:
    return Problem(clock.file, line, code, expected, got, way_out)


# ---- local times --------------------------------------------------------------------------------------------------


def _zoned(time_s: Seconds, clock: LogClock, problems: list[Problem]) -> Seconds:
    """Local times with the offset in force at each row, not only at the first."""
    if clock.reading.kind not in {"local", "clock"}:
        return time_s
    local_s = time_s + clock.reading.offset_s
    return _utc(_unrolled(local_s) if clock.reading.kind == "clock" else local_s, clock, problems)


def _unrolled(local_s: Seconds) -> Seconds:
    """Times of day over midnight: a fall of more than twelve hours is the next day."""
    falls = np.concatenate(([0.0], np.cumsum(np.diff(local_s) < -_ROLLOVER_S)))
    return np.asarray(local_s + falls * DAY_S, dtype=np.float64)


@dataclass(frozen=True)
class _Transition:
    """A change of a zone's offset, at `at_s` in epoch seconds."""

    at_s: float
    before_s: float
    after_s: float


def _transitions(first_s: float, last_s: float, zone: str) -> list[_Transition]:
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


def _pinned(mark: int, step: int, zone: str) -> _Transition:
    before = _utc_offset_s(mark, zone)
    low, high = mark, mark + step
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if _utc_offset_s(middle, zone) == before else (low, middle)
    return _Transition(float(high), before, _utc_offset_s(high, zone))


def _utc(local_s: Seconds, clock: LogClock, problems: list[Problem]) -> Seconds:
    """Local times (as if UTC) to UTC. A repeated hour is taken as the log's own order tells it."""
    first = float(np.min(local_s))
    offset = np.full(local_s.size, _offset_s(first, clock.zone))
    for change in _transitions(first - offset[0], float(np.max(local_s)) - offset[0], clock.zone):
        # In a skipped hour, which no clock should show, the offset before goes on.
        turn = change.at_s + max(change.before_s, change.after_s)
        offset[local_s >= turn] = change.after_s
        if change.after_s < change.before_s:
            again = (local_s >= change.at_s + change.after_s) & (local_s < turn)
            second = _second_pass(local_s, again, clock, problems)
            offset[again] = np.where(second, change.after_s, change.before_s)[again]
    return np.asarray(local_s - offset, dtype=np.float64)


def _second_pass(local_s: Seconds, again: Mask, clock: LogClock, problems: list[Problem]) -> Mask:
    """For rows in the repeated hour: whether they lie in its second pass.

    A step back by more than `_FOLD_S` inside it starts the second pass. Without one, rows that run on into the time
    after the hour are its second pass, rows that come from before are its first.
    """
    rows = np.flatnonzero(again)
    if rows.size == 0:
        return again
    back = rows[1:][np.diff(local_s[rows]) < -_FOLD_S]
    if back.size:
        return np.asarray(np.arange(local_s.size) >= back[0], dtype=np.bool_)
    comes_from_before = rows[0] > 0
    runs_on = rows[-1] + 1 < local_s.size
    if not comes_from_before and not runs_on:
        problems.append(_problem(clock, None, "repeated_hour", "a time with its offset", "local times",
                                 "The first pass was taken; let the logger write UTC."))  # fmt: skip
    return np.full(local_s.size, runs_on and not comes_from_before)


# ---- rules for rows -----------------------------------------------------------------------------------------------


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


def _rising(time_s: Seconds) -> Mask:
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


def _stepping_back(clock: LogClock, first_line: int | None, keep: Mask, backward: Mask) -> Problem:
    row = int(np.flatnonzero(keep)[np.argmax(backward)])
    line = None if first_line is None else first_line + row
    return _problem(clock, line, "rows_step_back", "times that never fall", f"{int(backward.sum())} rows out of order",
                    "They were left out.")  # fmt: skip


def _spread(time_s: Seconds) -> tuple[Seconds, Mask, int]:
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


def _refuse_losses(keep: Mask, clock: LogClock, problems: Sequence[Problem]) -> None:
    lost = int((~keep).sum())
    if lost <= MAX_LOST_SHARE * keep.size:
        return
    why = problems[0].code.replace("_", " ") if problems else "times unreadable or the clock stood"
    raise Refusal(
        _problem(clock, None, "too_many_rows_lost", f"at most {MAX_LOST_SHARE:.0%} of rows to be left out",
                 f"{lost} of {keep.size} ({why})", "Check the time's unit in the channel map and the logger's clock.")
    )  # fmt: skip
