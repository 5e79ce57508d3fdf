"""SQLite files as wholes, as ledger and logbook are: copied at one moment, checked without leaving a trace."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Final

from pipeline.store import part_of, settle

if TYPE_CHECKING:
    from pathlib import Path

_WAIT_S: Final = 30.0


def _untouched(path: Path) -> sqlite3.Connection:
    """A connection that cannot write and leaves no file behind, as one to a file that is written ahead otherwise would.

    Raises:
        sqlite3.Error: there is no such file.
    """
    is_at_rest = not path.with_name(f"{path.name}-wal").exists()
    how = "immutable=1" if is_at_rest else "mode=ro"
    return sqlite3.connect(f"{path.resolve().as_uri()}?{how}", uri=True, timeout=_WAIT_S)


def copy_whole(path: Path, target: Path) -> None:
    """Copy all of a file as it is at one moment, whoever writes meanwhile; there is the whole copy or none.

    Raises:
        sqlite3.Error: the file is damaged or missing.
    """
    part = part_of(target)
    part.unlink(missing_ok=True)
    with (
        closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=_WAIT_S)) as original,
        closing(sqlite3.connect(part)) as copy,
    ):
        original.backup(copy)
        copy.execute("pragma journal_mode = delete")  # one file, nothing beside it
    settle(part, target)


def trouble(path: Path) -> str | None:
    """What is wrong with a file, in SQLite's words; None if all of it holds together."""
    try:
        with closing(_untouched(path)) as db:
            said = str(db.execute("pragma integrity_check(1)").fetchone()[0])
    except sqlite3.Error as error:
        return str(error)
    return None if said == "ok" else said.partition("\n")[0]
