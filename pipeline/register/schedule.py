"""The schedule: which boat leaves when, from `schedule.csv`. It is optional, and a bad line never hides the others."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from pipeline.problems import Problem, declare
from pipeline.register.words import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pipeline.register.fleet import Register

FILE_NAME: Final = "schedule.csv"
_COLUMNS: Final = ("boat", "departs")

declare(
    {
        "schedule_unreadable": "the schedule cannot be read",
        "schedule_columns": "the schedule lacks a column",
        "schedule_boat": "the schedule names a boat that is not in the register",
        "schedule_time": "the schedule has a departure that is no time",
    }
)


@dataclass(frozen=True)
class Departure:
    """One planned departure; `departs` is aware, in the fleet's time zone where the file gives no offset."""

    departs: datetime
    note: str


@dataclass(frozen=True)
class Schedule:
    """Departures by boat id, earliest first, and what was wrong with the lines left out."""

    departures: Mapping[str, tuple[Departure, ...]] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()

    def next_departure(self, boat_id: str, after: datetime) -> Departure | None:
        """The boat's first departure at or after a moment, None where none is planned."""
        return next((each for each in self.departures.get(boat_id, ()) if each.departs >= after), None)


def load_schedule(register: Register) -> Schedule:
    """Read the fleet's `schedule.csv`; a fleet without one has an empty schedule."""
    path = register.folder / FILE_NAME
    if not path.exists():
        return Schedule()
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        way_out = "Save the file as UTF-8 text, readable by you."
        return Schedule(problems=(Problem(FILE_NAME, None, "schedule_unreadable", "UTF-8 text", str(error), way_out),))
    return _schedule(list(_lines(text)), register)


def _lines(text: str) -> Iterator[tuple[int, list[str]]]:
    """Each record that is not blank, stripped; first the number of the line it begins in."""
    reader = csv.reader(io.StringIO(text))
    begins = 1
    for row in reader:
        fields = [each.strip() for each in row]
        if any(fields):
            yield begins, fields
        begins = reader.line_num + 1


def _schedule(lines: list[tuple[int, list[str]]], register: Register) -> Schedule:
    if not lines:
        return Schedule()
    line, header = lines[0]
    names = [name.casefold() for name in header]
    lacking = [name for name in _COLUMNS if name not in names]
    if lacking:
        got = ",".join(header)
        way_out = "Let the first line be: boat,departs,note"
        expected = f"a column {lacking[0]}"
        return Schedule(problems=(Problem(FILE_NAME, line, "schedule_columns", expected, got, way_out),))
    read = [_departure(number, dict(zip(names, fields, strict=False)), register) for number, fields in lines[1:]]
    return Schedule(_by_boat(read), tuple(each for each in read if isinstance(each, Problem)))


def _by_boat(read: list[tuple[str, Departure] | Problem]) -> dict[str, tuple[Departure, ...]]:
    planned = [each for each in read if not isinstance(each, Problem)]
    boats = sorted({boat for boat, _ in planned})
    return {b: tuple(sorted((d for boat, d in planned if boat == b), key=lambda d: d.departs)) for b in boats}


def _departure(line: int, fields: Mapping[str, str], register: Register) -> tuple[str, Departure] | Problem:
    boat, departs = fields.get("boat", ""), fields.get("departs", "")
    ids = [known.id for known in register.boats]
    if boat not in ids:
        hint = did_you_mean(boat, ids)
        return Problem(FILE_NAME, line, "schedule_boat", "a boat's id", f'"{boat}"', hint)
    moment = _moment(departs, register.timezone)
    if moment is None:
        way_out = "Write the day and the time, such as 2026-06-15T08:30."
        return Problem(FILE_NAME, line, "schedule_time", "an ISO 8601 date and time", f'"{departs}"', way_out)
    return boat, Departure(moment, fields.get("note", ""))


def _moment(text: str, timezone: str) -> datetime | None:
    """An aware time; None where the text is no date with a time of day."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    if ":" not in text and "T" not in text:
        return None
    return moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(timezone))
