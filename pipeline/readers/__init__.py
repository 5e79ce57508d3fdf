"""Readers: any log to rows in canonical units with strictly rising times, or a refusal that says why."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Final

from pipeline.database import SCRATCH_MB, is_of_the_machine
from pipeline.problems import Problem
from pipeline.readers.csv_log import read_csv_log
from pipeline.readers.mdf4_log import read_mdf4_log
from pipeline.readers.packed import takes_too_much
from pipeline.readers.parquet_log import read_parquet_log
from pipeline.readers.request import READER_VERSION, LogRead, ReadRequest, Refusal, out_of_reach, refused

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from pipeline.database import Database

__all__ = ["LOG_SUFFIXES", "READER_VERSION", "LogRead", "ReadRequest", "is_log", "log_suffix", "read_log"]

_TEXT: Final = (".csv", ".tsv", ".txt")
_READERS: Final[dict[str, Callable[[Database, ReadRequest], LogRead]]] = {
    **{f"{text}{packed}": read_csv_log for text in _TEXT for packed in ("", ".gz", ".zst")},
    ".parquet": read_parquet_log,
    ".mf4": read_mdf4_log,
}

LOG_SUFFIXES: Final = tuple(sorted(_READERS))
"""File endings a reader exists for, in lower case."""


def log_suffix(path: Path) -> str:
    """The ending that names the format, in lower case, with what packs it: '.csv.gz'."""
    packed = path.suffix.lower() in {".gz", ".zst"}
    return "".join(path.suffixes[-2:] if packed else path.suffixes[-1:]).lower()


def is_log(path: Path) -> bool:
    """Whether a reader exists for this kind of file."""
    return log_suffix(path) in _READERS


def read_log(db: Database, request: ReadRequest) -> LogRead:
    """Read one log into the temp table `log_rows` of `db`; any defect of the file is an answer, never an exception.

    `log_rows` has time_s (DOUBLE, epoch seconds UTC, strictly rising) and one column a channel and engine, named
    "engine.channel" (FLOAT, engine_hours DOUBLE), in canonical units; blank, unreadable and non-finite cells are null.
    On a refusal the table may be absent or hold another log.
    """
    reader = _READERS.get(log_suffix(request.path))
    if reader is None:
        return refused(
            Problem(request.file, None, "unknown_format", " ".join(LOG_SUFFIXES), request.path.suffix or "no ending",
                    "Export the log to one of these, or move the file out of the inbox.")
        )  # fmt: skip
    try:
        return _within_memory(reader, db, request)
    except Refusal as refusal:
        cause = refusal.__cause__
        if cause is not None and is_of_the_machine(cause):
            return refused(out_of_reach(cause, request))
        return refused(refusal.problem)
    except OSError as error:
        if is_of_the_machine(error):
            return refused(out_of_reach(error, request))
        return refused(
            Problem(request.file, None, "damaged_file", "a readable file", error.strerror or str(error),
                    "Copy the log from the logger again.")
        )  # fmt: skip


def _within_memory(reader: Callable[[Database, ReadRequest], LogRead], db: Database, request: ReadRequest) -> LogRead:
    """Read with little memory, what is more on the disk; only where that will not do, with all that a log may take."""
    most = request.limits.max_memory_mb
    try:
        return _with_memory(min(most, SCRATCH_MB), reader, db, request)
    except Refusal as refusal:
        if most <= SCRATCH_MB or refusal.problem != takes_too_much(request):
            raise
    return _with_memory(most, reader, db, request)


def _with_memory(
    megabytes: float, reader: Callable[[Database, ReadRequest], LogRead], db: Database, request: ReadRequest
) -> LogRead:
    """The reader's answer, with no more memory for the database than so many MB.

    The limit stays: to set or lift one makes DuckDB give its memory back, which costs a fifth of reading a log.
    """
    limit = f"{megabytes:.0f}MB"
    if getattr(_HELD, "limit", None) != (id(db), limit):
        db.execute(f"set memory_limit = '{limit}'")
        _HELD.limit = (id(db), limit)
    return reader(db, request)


_HELD: Final = threading.local()
