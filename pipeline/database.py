"""The only module that imports DuckDB: how connections are opened, and how small answers are fetched.

Everything else takes a `Database` as an argument or asks for one here.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import duckdb

Database = duckdb.DuckDBPyConnection
DatabaseError = duckdb.Error

_PRIVATE: Final = threading.local()
_SAFE: Final[dict[str, str | bool | int | float | list[str]]] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
}


def scratch() -> Database:
    """This thread's private in-memory database, one worker thread, UTC. Tables made in it stay until replaced."""
    held: Database | None = getattr(_PRIVATE, "database", None)
    if held is None:
        held = _in_utc(duckdb.connect(":memory:", config={**_SAFE, "threads": "1"}))
        _PRIVATE.database = held
    return held


def open_readonly(path: Path) -> Database:
    """A read-only connection of its own to a published snapshot."""
    return _in_utc(duckdb.connect(str(path), read_only=True, config=_SAFE))


def open_writable(path: Path) -> Database:
    """The one writing connection to a working file; other processes are locked out while it is open."""
    return _in_utc(duckdb.connect(str(path), config=_SAFE))


def rows(db: Database, sql: str, parameters: Sequence[object] | Mapping[str, object] = ()) -> list[dict[str, Any]]:
    """All rows of a query as dicts. The result is read to its end, so the connection is free again."""
    answer = db.execute(sql, parameters)
    names = [column[0] for column in answer.description or []]
    return [dict(zip(names, row, strict=True)) for row in answer.fetchall()]


def _in_utc(db: Database) -> Database:
    db.execute("set TimeZone = 'UTC'")
    return db
