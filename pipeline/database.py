"""The only module that imports DuckDB: how connections are opened, and how small answers are fetched.

Everything else takes a `Database` as an argument or asks for one here.
"""

from __future__ import annotations

import atexit
import errno
import os
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import duckdb

Database = duckdb.DuckDBPyConnection
DatabaseError = duckdb.Error
OutOfMemory = duckdb.OutOfMemoryException
StorageError: Final[tuple[type[Exception], ...]] = (
    duckdb.IOException,
    duckdb.FatalException,
    duckdb.OutOfMemoryException,
)
"""What DuckDB raises where a disk or the memory fails it, and never for a query that is wrong."""

_NO_ROOM: Final = (errno.EACCES, errno.EDQUOT, errno.EMFILE, errno.ENFILE, errno.ENOSPC, errno.EROFS)
_OUT_OF_REACH: Final = (*_NO_ROOM, errno.EIO, errno.ENOENT, errno.ESTALE, errno.ETIMEDOUT)

_PRIVATE: Final = threading.local()
_SAFE: Final[dict[str, str | bool | int | float | list[str]]] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
}


SCRATCH_MB: Final = 400
"""Memory (MB) that a thread's private database holds: a log of 2 GB then takes less than 1 GB in all, and no longer."""


@cache
def _bounds() -> dict[str, str]:
    """Where a private database goes for more: a folder of our own, as DuckDB's would be the current one."""
    folder = TemporaryDirectory(prefix="morningwatch-", ignore_cleanup_errors=True)
    atexit.register(folder.cleanup)
    return {"memory_limit": f"{SCRATCH_MB}MB", "temp_directory": folder.name}


def scratch() -> Database:
    """This thread's private in-memory database, one worker thread, UTC. Tables made in it stay until replaced.

    What exceeds `SCRATCH_MB` goes to a temporary folder of this process, which is removed when it ends.
    """
    held: Database | None = getattr(_PRIVATE, "database", None)
    if held is None:
        held = in_utc_and_silent(duckdb.connect(":memory:", config={**_SAFE, **_bounds(), "threads": "1"}))
        _PRIVATE.database = held
    return held


@contextmanager
def page_by_page(db: Database) -> Iterator[None]:
    """Read Parquet files without fetching a whole row group at once: one may hold all of a log of gigabytes.

    For files of our own, whose row groups are small, fetching is the quicker way.
    """
    db.execute("set disable_parquet_prefetching = true")
    try:
        yield
    finally:
        db.execute("set disable_parquet_prefetching = false")


def open_readonly(path: Path) -> Database:
    """A read-only connection of its own to a published snapshot."""
    return in_utc_and_silent(duckdb.connect(str(path), read_only=True, config=_SAFE))


def open_writable(path: Path) -> Database:
    """The one writing connection to a working file; other processes are locked out while it is open."""
    return in_utc_and_silent(duckdb.connect(str(path), config=_SAFE))


def in_utc_and_silent(db: Database) -> Database:
    """The same connection or cursor, its session set up: a cursor inherits nothing of that."""
    db.execute("set TimeZone = 'UTC'")
    # DuckDB has been seen to draw a bar on stdout once a query takes two seconds, in the midst of an answer in JSON
    db.execute("set enable_progress_bar = false")
    db.execute("set enable_progress_bar_print = false")
    return db


def rows(db: Database, sql: str, parameters: Sequence[object] | Mapping[str, object] = ()) -> list[dict[str, Any]]:
    """All rows of a query as dicts. The result is read to its end, so the connection is free again."""
    answer = db.execute(sql, parameters)
    names = [column[0] for column in answer.description or []]
    return [dict(zip(names, row, strict=True)) for row in answer.fetchall()]


def is_of_the_machine(error: BaseException | None) -> bool:
    """Whether an error tells of the machine (disk, memory, rights, network) and nothing of the file that was read."""
    if isinstance(error, OSError):
        return error.errno is not None  # a library that finds packed data damaged raises it without a number
    if isinstance(error, duckdb.OutOfMemoryException):
        return True
    return _says(error, _OUT_OF_REACH)


def is_no_room(error: BaseException) -> bool:
    """Whether the machine has no room (disk, open files) or no right for what is asked: nothing is damaged."""
    return _says(error, _NO_ROOM)


def is_whole(path: Path) -> bool:
    """Whether every row of every table of a database file can be read; each block bears a checksum."""
    try:
        with open_readonly(path) as db:
            for schema, table in db.execute("select schema_name, table_name from duckdb_tables()").fetchall():
                # the hash of whole rows: a mere count is answered without reading a block
                db.execute(f'select bit_xor(hash(every)) from "{schema}"."{table}" as every').fetchall()
    except DatabaseError:
        return False
    return True


def _says(error: BaseException | None, numbers: Sequence[int]) -> bool:
    """Whether the operating system gave one of these errors, itself or in the words of DuckDB."""
    if isinstance(error, OSError):
        return error.errno in numbers
    return isinstance(error, StorageError) and any(os.strerror(number) in str(error) for number in numbers)
