"""The logbook: what people did, saw and decided, kept for good beside the fleet and only ever added to.

Nothing in it is derived, so nothing derived ever touches it. A wrong note is answered by another note.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, tzinfo
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Final, Self
from uuid import uuid4
from zoneinfo import ZoneInfo

from pipeline.problems import Problem, declare

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

FILE_NAME: Final = "logbook.sqlite"

VERSION: Final = 2
"""The shape of the file. An older one is brought up with the next note, and a copy kept; version 1 bears no number."""

DEFAULT_DEFERRAL: Final = timedelta(days=1)
"""A deferral without an end holds until the next morning. Common practice, no published source."""

_WAIT_S: Final = 30.0
"""How long one writer waits for another; a note takes milliseconds."""

_SQL: Final = Path(__file__).parent / "sql" / "logbook"

declare(
    {
        "logbook_unreadable": "the logbook cannot be read",
        "logbook_unwritable": "the note cannot be written",
        "logbook_newer": "a newer version of Morning Watch wrote the logbook",
    }
)


class Kind(StrEnum):
    """What a note tells; `meaning` says it in a sentence."""

    meaning: str

    CLEANED = "cleaned", "a part was cleaned, such as a throttle body or a connector"
    INSPECTED = "inspected", "somebody looked, and the text says what was seen"
    REPLACED = "replaced", "a part was replaced by another one"
    ADJUSTED = "adjusted", "something mechanical was adjusted, such as a cable, a linkage or a stop"
    NEW_TARGET = "new_target", "a shift target was re-set in the controller"
    NEW_TABLE = "new_table", "a cell or more of a calibration table was changed"
    REBASELINE = "rebaseline", "what the engine does now is its baseline from here on"
    SERVICE = "service", "the engine had its service"
    DEFER = "defer", "a finding is known and left as it is until a given time"
    REMARK = "remark", "anything else worth knowing"

    def __new__(cls, word: str, meaning: str = "") -> Self:
        """A kind is its word; the meaning goes with it."""
        kind = str.__new__(cls, word)
        kind._value_ = word
        kind.meaning = meaning
        return kind


REBASING: Final = frozenset({Kind.REPLACED, Kind.NEW_TARGET, Kind.NEW_TABLE, Kind.REBASELINE})
"""After a note of these kinds the engine is compared with itself from then on."""

ANSWERING: Final = frozenset(
    {
        Kind.CLEANED,
        Kind.INSPECTED,
        Kind.REPLACED,
        Kind.ADJUSTED,
        Kind.NEW_TARGET,
        Kind.NEW_TABLE,
        Kind.SERVICE,
    }
)
"""Kinds that say something was done about what stood before them. A remark or a deferral leaves a finding open."""


class LogbookError(Exception):
    """The logbook cannot be used; `problem` says why and what to do."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(problem)

    def __str__(self) -> str:
        return self.problem.sentence()


@dataclass(frozen=True)
class Note:
    """One entry. `engine` None is the whole boat; `at` is when the thing was done, `written_at` when it was noted.

    `corrects` is the number of an earlier note that this one puts right and that no longer counts.
    All times are aware, and in UTC as they are read. `until` is the end of a deferral, exclusive, and None for every
    other kind.
    """

    note_id: int
    boat: str
    engine: str | None
    kind: Kind
    text: str
    author: str | None
    at: datetime
    until: datetime | None
    written_at: datetime
    corrects: int | None = None

    def concerns(self, boat: str, engine: str) -> bool:
        """Whether the note is about this engine, by itself or with its whole boat."""
        return self.boat == boat and self.engine in {None, engine}

    def in_zone(self, zone: tzinfo) -> Note:
        """The same note with its times on another clock, so that its day is the one people there would name."""
        until = None if self.until is None else self.until.astimezone(zone)
        return replace(self, at=self.at.astimezone(zone), until=until, written_at=self.written_at.astimezone(zone))

    def defers_at(self, moment: datetime) -> bool:
        """Whether the note is a deferral in force at a moment."""
        return self.until is not None and self.at <= moment < self.until


def add_note(  # noqa: PLR0913 - what a note is made of
    folder: Path,
    boat: str,
    engine: str | None,
    kind: str,
    text: str,
    at: datetime,
    author: str | None = None,
    until: datetime | None = None,
    *,
    corrects: int | None = None,
    entry: str | None = None,
) -> Note:
    """Write one note into the logbook of a fleet folder, which is made where there is none, and give it back.

    `at` and `until` are aware. A deferral without `until` lasts `DEFAULT_DEFERRAL`. `entry` names one act of writing:
    what is written twice under one name, as by a second press of a button, is written once, and the first is given.

    Raises:
        ValueError: an unknown kind, an empty text, a time without a zone, an end for what is no deferral or before it,
            a correction of a note that is not there.
        LogbookError: the logbook cannot be written.
    """
    note = replace(_note(boat, engine, Kind(kind), text.strip(), author, at, until), corrects=corrects)
    try:
        with _opened_to_write(folder) as connection:
            return _written(connection, note, entry)
    except (sqlite3.Error, OSError) as error:
        raise LogbookError(_trouble("logbook_unwritable", folder, error)) from error


def in_force(written: Iterable[Note]) -> tuple[Note, ...]:
    """The notes that count, in the order given: those that a later one corrects are left out.

    A correction that is itself corrected puts nothing right, so what it was about counts again.
    """
    notes_ = tuple(written)
    corrected: set[int] = set()
    for note in sorted(notes_, key=lambda each: -each.note_id):
        if note.corrects is not None and note.note_id not in corrected:
            corrected.add(note.corrects)
    return tuple(note for note in notes_ if note.note_id not in corrected)


def notes(
    folder: Path,
    boat: str | None = None,
    engine: str | None = None,
    as_of: datetime | None = None,
) -> tuple[Note, ...]:
    """The notes of a fleet, a boat or an engine, oldest first; a note on a whole boat counts for each of its engines.

    With `as_of`, those of things done up to that moment, inclusive, whenever they were written down. A fleet without a
    logbook has no notes, and reading makes no file.

    Raises:
        ValueError: an engine without its boat, or an `as_of` without a zone.
        LogbookError: the file is no logbook.
    """
    if engine is not None and boat is None:
        raise ValueError("an engine is known by its boat: give both")
    if not _has_begun(folder / FILE_NAME):
        return ()
    asked = {"boat": boat, "engine": engine, "as_of": None if as_of is None else _as_text(as_of)}
    try:
        with closing(_opened_to_read(folder)) as connection:
            _version(connection)
            return tuple(_from_row(row) for row in connection.execute(_statement("notes"), asked))
    except (sqlite3.Error, ValueError) as error:
        raise LogbookError(_trouble("logbook_unreadable", folder, error)) from error


def note_rows(written: Iterable[Note], timezone: str) -> list[dict[str, str | int | None]]:
    """Notes as rows for a table or an export: times as ISO 8601 text with the offset of `timezone`, an IANA name."""
    zone = ZoneInfo(timezone)
    return [
        {
            "note": note.note_id,
            "boat": note.boat,
            "engine": note.engine,
            "at": _in_zone(note.at, zone),
            "kind": note.kind.value,
            "text": note.text,
            "author": note.author,
            "until": None if note.until is None else _in_zone(note.until, zone),
            "written_at": _in_zone(note.written_at, zone),
            "corrects": note.corrects,
        }
        for note in written
    ]


def _note(
    boat: str, engine: str | None, kind: Kind, text: str, author: str | None, at: datetime, until: datetime | None
) -> Note:
    if not text:
        raise ValueError("a note says something: its text is empty")
    if kind is Kind.DEFER and until is None:
        until = _in_utc(at) + DEFAULT_DEFERRAL
    if until is not None and (kind is not Kind.DEFER or _in_utc(until) <= _in_utc(at)):
        raise ValueError("only a deferral has an end, and it comes after the deferral's own time")
    end = None if until is None else _in_utc(until)
    return Note(0, boat, engine, kind, text, author, _in_utc(at), end, datetime.now(UTC))


def _written(connection: sqlite3.Connection, note: Note, entry: str | None) -> Note:
    """The note as it stands in the logbook after writing: the earlier one where the entry was there already."""
    if note.corrects is not None and _found(connection, note_id=note.corrects) is None:
        raise ValueError(f"there is no note {note.corrects} to correct")
    row = connection.execute(_statement("add_note"), {**_stored(note), "entry": entry}).fetchone()
    found = _found(connection, note_id=row[0]) if row else _found(connection, entry=entry)
    if found is None:
        raise sqlite3.DatabaseError("the note that was written cannot be read back")
    return found


def _found(connection: sqlite3.Connection, note_id: int | None = None, entry: str | None = None) -> Note | None:
    row = connection.execute(_statement("note"), {"note_id": note_id, "entry": entry}).fetchone()
    return None if row is None else _from_row(row)


def _columns(connection: sqlite3.Connection) -> frozenset[str]:
    return frozenset(row[1] for row in connection.execute("pragma table_info(notes)"))


@contextmanager
def _opened_to_write(folder: Path) -> Iterator[sqlite3.Connection]:
    """One transaction; fully synchronised, because a note that was confirmed must outlive a power cut."""
    address = folder / FILE_NAME
    with closing(sqlite3.connect(address, timeout=_WAIT_S, isolation_level="IMMEDIATE")) as connection:
        connection.row_factory = sqlite3.Row
        connection.execute("pragma synchronous = full")
        version = _version(connection)
        if version < VERSION and _columns(connection):
            _keep_copy(connection, folder / f"logbook-version-{version}.sqlite")
        connection.executescript(_statement("schema"))
        _renew(connection)
        if version < VERSION:
            connection.execute(f"pragma user_version = {VERSION}")
        with suppress(sqlite3.OperationalError):
            # Only this change of mode does not wait for another writer. It lasts, so the next note makes up for it.
            connection.execute("pragma journal_mode = wal")
        with connection:
            yield connection


def _version(connection: sqlite3.Connection) -> int:
    """The version of a logbook.

    Raises:
        LogbookError: it is a newer one than this program knows.
    """
    version = max(1, int(connection.execute("pragma user_version").fetchone()[0]))
    if version > VERSION:
        way_out = "Use that version. Nothing has been changed."
        raise LogbookError(
            Problem(FILE_NAME, None, "logbook_newer", f"version {VERSION}", f"version {version}", way_out)
        )
    return version


def _keep_copy(connection: sqlite3.Connection, target: Path) -> None:
    """The logbook as it was, whole, before it is brought up; an earlier copy stays as it is."""
    if target.exists():
        return
    part = target.with_name(f"{target.name}.{uuid4().hex}.part")  # two people may write at once
    with closing(sqlite3.connect(part)) as copy:
        connection.backup(copy)
    part.replace(target)


def _renew(connection: sqlite3.Connection) -> None:
    """Give a logbook of an older version the columns that it lacks; what stands in it stays as it is."""
    for name, kind in (("corrects", "integer"), ("entry", "text")):
        if name not in _columns(connection):
            # two people may write the first note after a new version at once: the second finds the column there
            with suppress(sqlite3.OperationalError):
                connection.execute(f"alter table notes add column {name} {kind}")
    connection.execute("create unique index if not exists one_note_an_entry on notes (entry)")
    connection.commit()


def _has_begun(path: Path) -> bool:
    """Whether a first note was ever written: while it is, the file is there and empty."""
    try:
        return path.stat().st_size > 0
    except FileNotFoundError:
        return False


def _opened_to_read(folder: Path) -> sqlite3.Connection:
    address = (folder / FILE_NAME).resolve().as_uri()
    connection = sqlite3.connect(f"{address}?mode=ro", uri=True, timeout=_WAIT_S)
    connection.row_factory = sqlite3.Row
    return connection


def _statement(name: str) -> str:
    return (_SQL / f"{name}.sql").read_text(encoding="utf-8")


def _stored(note: Note) -> dict[str, str | int | None]:
    return {
        "boat": note.boat,
        "engine": note.engine,
        "kind": note.kind.value,
        "note_text": note.text,
        "author": note.author,
        "done_at": _as_text(note.at),
        "until_at": None if note.until is None else _as_text(note.until),
        "written_at": _as_text(note.written_at),
        "corrects": note.corrects,
    }


def _from_row(row: sqlite3.Row) -> Note:
    """A note by the names of its columns: an older logbook gets the new ones with the next note, not by reading."""
    until = row["until_at"]
    return Note(
        row["note_id"],
        row["boat"],
        row["engine"],
        Kind(row["kind"]),
        row["note_text"],
        row["author"],
        datetime.fromisoformat(row["done_at"]),
        None if until is None else datetime.fromisoformat(until),
        datetime.fromisoformat(row["written_at"]),
        row["corrects"] if "corrects" in row.keys() else None,  # noqa: SIM118 - a row is searched by its values
    )


def _in_utc(moment: datetime) -> datetime:
    if moment.utcoffset() is None:
        raise ValueError(f"a time without a zone: {moment.isoformat()}")
    return moment.astimezone(UTC)


def _as_text(moment: datetime) -> str:
    return _in_utc(moment).isoformat(timespec="microseconds")


def _in_zone(moment: datetime, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).isoformat(timespec="seconds")


def _trouble(code: str, folder: Path, error: Exception) -> Problem:
    way_out = f"Look at {folder / FILE_NAME}; put a copy of it back if it is damaged. Nothing has been changed."
    return Problem(FILE_NAME, None, code, "a logbook in SQLite", str(error), way_out)
