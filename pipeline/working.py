"""The working database: event rows, readings and lists of logs, brought up to date in bulk and then published.

It remembers beside the rows what they were made from, so a build that was killed simply goes on with the next ingest.
"""

from __future__ import annotations

from contextlib import contextmanager, suppress
from functools import cache
from hashlib import blake2b
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple, Self

import pyarrow as pa

from pipeline import extract
from pipeline.catalogue import read_query
from pipeline.database import Database, DatabaseError, open_writable, rows
from pipeline.gears import LevelSeen
from pipeline.store import STORE_VERSION, Store

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence
    from datetime import datetime
    from types import TracebackType

EngineLog = tuple[str, str]
"""engine_id and log_id."""

_ROOM: Final = Path(__file__).parent
_KEYS: Final = pa.schema([("engine_id", pa.string()), ("log_id", pa.string())])
_MEASURED: Final = pa.schema(
    [*_KEYS, ("chain_key", pa.string()), ("started_at", pa.timestamp("us", "UTC")), ("error", pa.string())]
)


class Measured(NamedTuple):
    """What one log's events in the working database were made from, and when the log begins.

    `error` says why it has none although it was read; trying again with the same queries would not help.
    """

    chain_key: str
    started_at: datetime
    error: str | None = None


class Working:
    """The open working database; a context manager. Opening drops and recreates one that is damaged or outdated."""

    def __init__(self, store: Store) -> None:
        self.db = _open(store)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.db.close()

    def measured(self) -> dict[EngineLog, Measured]:
        """Every log that has been measured, by engine and log."""
        sql = "select engine_id, log_id, chain_key, started_at, error from build.measured"
        return {(engine_id, log_id): Measured(*rest) for engine_id, log_id, *rest in self.db.execute(sql).fetchall()}

    def failures(self) -> dict[EngineLog, str]:
        """Why logs that were read have no events, by engine and log."""
        found = self.db.execute(
            "select engine_id, log_id, error from build.measured where error is not null"
        ).fetchall()
        return {(engine_id, log_id): error for engine_id, log_id, error in found}

    def levels_seen(self, engine_id: str, samples: Mapping[str, Path]) -> list[LevelSeen]:
        """The levels of an engine's shift target in its logs (sample file by log id); each log is looked at once."""
        known = {
            log_id
            for (log_id,) in self.db.execute(
                "select log_id from build.target_levels where engine_id = ?", [engine_id]
            ).fetchall()
        }
        for log_id in sorted(set(samples) - known):
            self._look_at_levels(engine_id, log_id, samples[log_id])
        found = self.db.execute(
            """
            select log_id, target_pct, seconds, rpm_max, starts
            from build.target_levels
            where engine_id = ? and target_pct is not null
            """,
            [engine_id],
        ).fetchall()
        return [
            LevelSeen(target, seconds or 0.0, rpm, starts)
            for log_id, target, seconds, rpm, starts in found
            if log_id in samples
        ]

    def _look_at_levels(self, engine_id: str, log_id: str, samples: Path) -> None:
        try:
            query = f"insert into build.target_levels select ?, ?, * from ({read_query('working', 'target_levels')})"
            self.db.execute(query.replace("$samples", "?"), [engine_id, log_id, str(samples)])
        except DatabaseError:
            return  # a broken sample file is found and healed where its events are made

    def fact(self, name: str) -> str | None:
        """A remembered fact about the build."""
        return _fact(self.db, name)

    def remember(self, name: str, fact: str) -> None:
        """Remember a fact about the build, in place of what was remembered under that name."""
        self.db.execute("insert or replace into build.facts values (?, ?)", [name, fact])

    @contextmanager
    def change(self) -> Iterator[None]:
        """One transaction: all of what is done within it, or nothing."""
        self.db.execute("begin transaction")
        try:
            yield
        except BaseException:
            with suppress(DatabaseError):  # a database that a disk failed is closed already, and says so once more
                self.db.execute("rollback")
            raise
        self.db.execute("commit")
        self.db.execute("checkpoint")  # here, because closing would keep quiet about a full disk

    def forget(self, gone: Collection[EngineLog]) -> None:
        """Remove the event rows of these logs."""
        if not gone:
            return
        with self._lent("gone_logs", pa.Table.from_pylist([_key(each) for each in sorted(gone)], _KEYS)):
            for table in (*(f"events.{name}" for name in extract.EVENT_TABLES), "build.measured"):
                self.db.execute(f"""
                    delete from {table} using gone_logs
                    where {table}.engine_id = gone_logs.engine_id and {table}.log_id = gone_logs.log_id
                """)

    def add(self, events: Sequence[Mapping[str, pa.Table]], made_from: Mapping[EngineLog, Measured]) -> None:
        """Add the event tables of several batches, and note what each log's rows were made from."""
        known = self._event_tables()
        for name in extract.EVENT_TABLES if events else ():
            content = pa.concat_tables([tables[name] for tables in events])
            if name in known:
                self._insert(f"events.{name}", content)
            else:
                self.put(f"events.{name}", content)
        noted = [{**_key(each), **measured._asdict()} for each, measured in made_from.items()]
        self._insert("build.measured", pa.Table.from_pylist(noted, _MEASURED))

    def complete(self) -> None:
        """Make the event tables that no log has made yet, without rows."""
        missing = set(extract.EVENT_TABLES) - self._event_tables()
        if missing:
            empty = extract.empty_tables()
            for name in sorted(missing):
                self.put(f"events.{name}", empty[name])

    def put(self, table: str, content: pa.Table) -> None:
        """Replace a whole table."""
        with self._lent("whole_table", content):
            self.db.execute(f"create or replace table {table} as from whole_table")

    def _event_tables(self) -> set[str]:
        found = self.db.execute("select table_name from duckdb_tables() where schema_name = 'events'").fetchall()
        return {name for (name,) in found}

    def _insert(self, table: str, content: pa.Table) -> None:
        if content.num_rows:
            with self._lent("new_rows", content):
                self.db.execute(f"insert into {table} by name from new_rows")

    @contextmanager
    def _lent(self, name: str, content: pa.Table) -> Iterator[None]:
        self.db.register(name, content)
        try:
            yield
        finally:
            self.db.unregister(name)


def _key(engine_log: EngineLog) -> dict[str, str]:
    return {"engine_id": engine_log[0], "log_id": engine_log[1]}


def _open(store: Store) -> Database:
    try:
        db = open_writable(store.working_path)
        if _is_current(db):
            return db
        db.close()
    except DatabaseError:
        pass  # damaged: it holds nothing that cannot be made again
    store.discard_working()
    return _new(store.working_path)


def _is_current(db: Database) -> bool:
    """Whether the database was made by the queries of this program; an empty or strange file raises DatabaseError."""
    try:
        return (_fact(db, "version"), _fact(db, "recipe")) == (str(STORE_VERSION), _recipe())
    except DatabaseError:
        db.close()
        raise


def _fact(db: Database, name: str) -> str | None:
    found = rows(db, "select fact from build.facts where name = ?", [name])
    return str(found[0]["fact"]) if found else None


def _new(path: Path) -> Database:
    db = open_writable(path)
    db.execute((_ROOM / "sql" / "working" / "schema.sql").read_text(encoding="utf-8"))
    facts = {"version": str(STORE_VERSION), "recipe": _recipe()}
    db.executemany("insert into build.facts values (?, ?)", [list(fact) for fact in facts.items()])
    return db


_MEASURING: Final = ("events", "indicators", "marts", "working")
"""The rooms of `sql/` that the working database is made by; what screens and exports ask changes nothing in it."""


@cache
def _recipe() -> str:
    """Digest of everything that turns samples into events and readings: with another recipe all is made anew."""
    modules = [_ROOM / "extract.py", _ROOM / "readings.py", _ROOM / "catalogue.py", _ROOM / "channels.py"]
    queries = sorted(path for room in _MEASURING for path in (_ROOM / "sql" / room).glob("*.sql"))
    digest = blake2b(digest_size=8)
    for path in [*modules, *queries]:
        digest.update(path.read_bytes())
    return digest.hexdigest()
