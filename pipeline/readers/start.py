"""When a log began: from its metadata, the name of its file, or the file's own time."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from pipeline.readers.cells import is_number
from pipeline.readers.time_kinds import EPOCH_FROM_S
from pipeline.readers.zones import to_epoch

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path


@dataclass(frozen=True)
class Start:
    """When a log began, as far as anything says so.

    `at_s` is in epoch seconds; `day` is the local date alone, where no time of day is known. `assumed`: only the file's
    own time says so.
    """

    at_s: float | None
    day: date | None
    assumed: bool

    def local_day(self, zone: str) -> date | None:
        """The date of the start in a zone, where anything but the file's own time says it."""
        if self.assumed or self.at_s is None:
            return self.day
        return datetime.fromtimestamp(self.at_s, ZoneInfo(zone)).date()


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
        return Start(to_epoch(datetime.combine(days[0], clocks[0]), zone), None, assumed=False)
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
    return datetime.fromisoformat(moment.isoformat() + offset).timestamp() if offset else to_epoch(moment, zone)


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
    return None if moment is None else to_epoch(moment, zone)


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
