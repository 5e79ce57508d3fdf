"""The ledger: every file seen in the inbox, every log taken and every sample file made, in SQLite.

It is written last, after the files it speaks of are safe on the disk, so what it lists can be relied on.
"""

from __future__ import annotations

import json
import secrets
import sqlite3
from contextlib import closing, contextmanager
from dataclasses import asdict
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal, NamedTuple, Self

from pipeline.problems import Problem
from pipeline.sqlite_files import copy_whole
from pipeline.store import STORE_VERSION, other_version

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from types import TracebackType

_SQL: Final = Path(__file__).parent / "sql" / "ledger"
_WAIT_S: Final = 30.0
"""How long a write waits for another process's write; an ingest writes for milliseconds at a time."""

FileStatus = Literal["taken", "refused"]


class LedgerError(Exception):
    """The ledger cannot be used; the message says what to do."""


class FileEntry(NamedTuple):
    """One file of the inbox. `log_id` and `reading_key` are None where the file stands where no log can be read."""

    file: str
    size_bytes: int
    modified_ns: int
    status: FileStatus
    log_id: str | None
    reading_key: str | None
    problems: tuple[Problem, ...] = ()
    is_present: bool = True


class LogEntry(NamedTuple):
    """One log taken. `reading_key` says what it was read with; times are seconds since 1970, UTC."""

    log_id: str
    reading_key: str
    boat_id: str
    file: str
    started_s: float
    ended_s: float
    rows_kept: int
    rows_dropped: int
    rows_spread: int
    is_start_assumed: bool


class EngineLogEntry(NamedTuple):
    """One engine's samples of one log. `samples` is relative to the store folder.

    `samples_digest` is the BLAKE2b digest of the file's bytes (16 hex digits); None where an older version wrote it.
    """

    engine_id: str
    log_id: str
    samples: str
    samples_bytes: int
    channels: tuple[str, ...]
    samples_digest: str | None = None


class Ledger:
    """An open ledger; a context manager. Each recording method is one transaction.

    What was listed once is remembered until this ledger changes something: only the ingest that holds the store's lock
    writes, and it lists every log several times.

    Raises:
        LedgerError: when opened, if a newer version of the program made the file.
        sqlite3.DatabaseError: when opened, if the file is damaged.
    """

    def __init__(self, path: Path) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        self._path = path
        self._db = sqlite3.connect(path, timeout=_WAIT_S, isolation_level=None)
        self._files: dict[str, FileEntry] | None = None
        self._logs: dict[str, LogEntry] | None = None
        self._engine_logs: tuple[EngineLogEntry, ...] | None = None
        try:
            self._prepare(path)
        except BaseException:
            self._db.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._db.close()

    def files(self) -> Mapping[str, FileEntry]:
        """Every file ever seen and not overwritten since, by its path relative to the fleet folder.

        An entry with problems that this version does not know is left out, so that the file is read again.
        """
        if self._files is None:
            found = (_file_entry(row) for row in self._rows("files", FileEntry))
            self._files = {entry.file: entry for entry in found if entry is not None}
        return self._files

    def logs(self) -> Mapping[str, LogEntry]:
        """Every log taken, by its id."""
        if self._logs is None:
            self._logs = {row[0]: _log_entry(row) for row in self._rows("logs", LogEntry)}
        return self._logs

    def engine_logs(self) -> tuple[EngineLogEntry, ...]:
        """Every sample file, by engine and log."""
        if self._engine_logs is None:
            self._engine_logs = tuple(_engine_log_entry(row) for row in self._rows("engine_logs", EngineLogEntry))
        return self._engine_logs

    def revision(self) -> str:
        """Another word whenever something changed that a reader of the store could see; no two ledgers share one."""
        rows = self._db.execute("select value from counters where name in ('ledger', 'revision') order by name")
        return "-".join(str(row[0]) for row in rows.fetchall())

    def keep_copy(self, path: Path) -> None:
        """Write all of the ledger to another file, whole or not at all."""
        copy_whole(self._path, path)

    def renew_identity(self) -> None:
        """Say that this is another ledger than the one it was copied from: what both recorded since may differ."""
        with self._change():
            self._identify()

    def record(self, entry: FileEntry, log: LogEntry | None = None, samples: Iterable[EngineLogEntry] = ()) -> None:
        """What became of a file, with the log read from it. A log whose last file was overwritten goes."""
        with self._change():
            before = self._held(entry.file)
            self._put("files", _file_row(entry))
            if log is not None:
                self._put_log(log, samples)
            if before is not None:
                self._drop_unheld(before)
            self._revise()

    def seen(self, states: Iterable[tuple[str, int, int]]) -> None:
        """Files with the bytes they were known by, given as file, size and time: nothing changes for a reader."""
        statement = "update files set size_bytes = ?, modified_ns = ?, is_present = 1 where file = ?"
        with self._change():
            self._db.executemany(statement, [(size, modified, file) for file, size, modified in states])

    def moved(self, log_id: str, file: str) -> None:
        """The log's bytes stand under another name now; names under which they no longer stand are forgotten."""
        with self._change():
            self._db.execute("update logs set file = ? where log_id = ?", (file, log_id))
            self._db.execute("delete from files where log_id = ? and is_present = 0", (log_id,))
            self._revise()

    def absent(self, files: Iterable[str]) -> None:
        """These files are no longer in the inbox: refused ones are forgotten, logs are kept."""
        gone = [(file,) for file in files]
        with self._change():
            self._db.executemany("delete from files where file = ? and status = 'refused'", gone)
            self._db.executemany("update files set is_present = 0 where file = ?", gone)
            self._revise()

    def drop_log(self, log_id: str) -> None:
        """A log whose samples are lost and cannot be read again is no longer listed."""
        with self._change():
            self._db.execute("delete from files where log_id = ? and is_present = 0", (log_id,))
            self._db.execute("delete from logs where log_id = ?", (log_id,))
            self._revise()

    def discarded(self) -> tuple[str, ...]:
        """Sample files no log needs any more and which are still to be removed."""
        return tuple(each for (each,) in self._db.execute("select samples from discarded order by samples").fetchall())

    def forget_discarded(self, samples: Iterable[str]) -> None:
        """These sample files have been removed."""
        with self._change():
            self._db.executemany("delete from discarded where samples = ?", [(each,) for each in samples])

    def _prepare(self, path: Path) -> None:
        self._db.execute("pragma journal_mode = wal")
        self._db.execute("pragma synchronous = normal")  # a power cut may lose the last entries: those are read again
        self._db.execute("pragma foreign_keys = on")
        self._db.execute("pragma recursive_triggers = on")  # so that 'insert or replace' fires the delete trigger
        with self._db:
            self._db.execute("begin immediate")
            self._bring_up(path)
        if self._db.execute("pragma quick_check(1)").fetchone()[0] != "ok":
            raise sqlite3.DatabaseError(f"{path} is damaged")

    def _bring_up(self, path: Path) -> None:
        """Make the tables, or change those of an older version step by step; all that was known stays known."""
        version = int(self._db.execute("pragma user_version").fetchone()[0])
        if version > STORE_VERSION:
            raise LedgerError(other_version(str(path), version))
        if version == STORE_VERSION:
            return
        steps = ["schema"] if version == 0 else [f"from_{older}" for older in range(version, STORE_VERSION)]
        for step in steps:
            for statement in _statements((_SQL / f"{step}.sql").read_text(encoding="utf-8")):
                self._db.execute(statement)
        self._identify()
        self._db.execute(f"pragma user_version = {STORE_VERSION}")

    def _identify(self) -> None:
        self._db.execute("insert or replace into counters values ('ledger', ?)", (secrets.randbits(48),))

    @contextmanager
    def _change(self) -> Iterator[None]:
        """One transaction; what was listed before it is forgotten."""
        self._files = self._logs = self._engine_logs = None
        with self._db:
            self._db.execute("begin immediate")
            yield

    def _rows(self, table: str, kind: type[FileEntry | LogEntry | EngineLogEntry]) -> list[tuple[Any, ...]]:
        """All rows of a table, their values in the order of the entry's fields, by its first two."""
        with closing(self._db.execute(f"select {', '.join(kind._fields)} from {table} order by 1, 2")) as cursor:
            return cursor.fetchall()

    def _put(self, table: str, row: Mapping[str, Any]) -> None:
        marks = ", ".join("?" for _ in row)
        self._db.execute(f"insert or replace into {table} ({', '.join(row)}) values ({marks})", tuple(row.values()))

    def _put_log(self, log: LogEntry, samples: Iterable[EngineLogEntry]) -> None:
        self._db.execute("delete from logs where log_id = ?", (log.log_id,))
        self._put("logs", log._asdict())
        for each in samples:
            self._put("engine_logs", {**each._asdict(), "channels": json.dumps(each.channels)})

    def _held(self, file: str) -> str | None:
        """The log whose bytes this path held until now; a file that had been cleared away before holds none."""
        sql = "select log_id from files where file = ? and status = 'taken' and is_present"
        row = self._db.execute(sql, (file,)).fetchone()
        return None if row is None else str(row[0])

    def _drop_unheld(self, log_id: str) -> None:
        self._db.execute(
            "delete from logs where log_id = :id"
            " and not exists (select 1 from files where log_id = :id and status = 'taken')",
            {"id": log_id},
        )

    def _revise(self) -> None:
        self._db.execute("update counters set value = value + 1 where name = 'revision'")


def states(path: Path) -> dict[str, tuple[int, int]]:
    """Size (bytes) and time (ns) of every file the ledger knows, by its path; none where there is no ledger to read."""
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=_WAIT_S)) as db:
            found = db.execute("select file, size_bytes, modified_ns from files where is_present").fetchall()
    except sqlite3.Error:
        return {}
    return {file: (size_bytes, modified_ns) for file, size_bytes, modified_ns in found}


def _statements(script: str) -> list[str]:
    """A script cut into statements; `executescript` would commit the transaction it runs in."""
    found: list[str] = []
    gathered = ""
    for line in script.splitlines(keepends=True):
        gathered += line
        if sqlite3.complete_statement(gathered):
            found.append(gathered)
            gathered = ""
    return found


def _file_row(entry: FileEntry) -> dict[str, Any]:
    return {**entry._asdict(), "problems": json.dumps([asdict(each) for each in entry.problems])}


def _file_entry(row: tuple[Any, ...]) -> FileEntry | None:
    *known, problems, is_present = row
    try:
        return FileEntry._make([*known, _problems(problems), bool(is_present)])
    except ValueError:
        return None


def _log_entry(row: tuple[Any, ...]) -> LogEntry:
    *known, is_start_assumed = row
    return LogEntry._make([*known, bool(is_start_assumed)])


def _engine_log_entry(row: tuple[Any, ...]) -> EngineLogEntry:
    *known, channels, digest = row
    return EngineLogEntry._make([*known, _channels(channels), digest])


def _problems(written: str) -> tuple[Problem, ...]:
    return () if written == "[]" else tuple(Problem(**each) for each in json.loads(written))


@lru_cache(maxsize=1000)
def _channels(written: str) -> tuple[str, ...]:
    """The same list stands beside most of an engine's logs."""
    return tuple(json.loads(written))
