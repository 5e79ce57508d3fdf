"""One log into the store: read it and write one sample file an engine. Plain and picklable: it runs anywhere.

The files are written as parts; whoever keeps the ledger gives them their names with `settle_all` before listing them.
Waiting for the disk is left to that side, so that it does not hold up the reading of the next log.
"""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import blake2b, file_digest
from typing import TYPE_CHECKING, Final

from pipeline.channels import CHANNELS
from pipeline.database import Database, DatabaseError, is_of_the_machine, scratch
from pipeline.ledger import EngineLogEntry
from pipeline.problems import Problem, declare
from pipeline.readers import LogRead, ReadRequest, read_log
from pipeline.readers.request import out_of_reach
from pipeline.store import StoreError, part_of, settle

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_FORMAT: Final = "format parquet, parquet_version v2, compression snappy"
"""Measured on logs of 20 min: the encodings of version 2 make smaller files than zstd over those of version 1, and
writing them takes two thirds of the time."""

declare({"log_unreadable": "the log cannot be read"})


@dataclass(frozen=True)
class TakeJob:
    """A log to read, and the store folder its samples go to."""

    request: ReadRequest
    log_id: str
    store_folder: Path


@dataclass(frozen=True)
class Taken:
    """What reading a log gave: the reader's verdict, and what was written for each engine (nothing if refused)."""

    read: LogRead
    samples: tuple[EngineLogEntry, ...]


def take(job: TakeJob) -> Taken:
    """Read a log and write its samples. A log that cannot be read is a refusal, never an exception.

    Raises:
        StoreError: if the samples cannot be written.
    """
    db = scratch()
    try:
        read = read_log(db, job.request)
        samples = _written(db, job, read) if read.status == "taken" else ()
    except OSError as error:
        return _refused(out_of_reach(error, job.request))
    except DatabaseError as error:
        if is_of_the_machine(error):
            return _refused(out_of_reach(error, job.request))
        expected, way_out = "a log in one of the known formats", "Copy the log again from the logger."
        got = str(error).partition("\n")[0]
        return _refused(Problem(job.request.file, None, "log_unreadable", expected, got, way_out))
    finally:
        db.execute("drop table if exists log_rows")  # or its memory stays taken while the next log is read
    return Taken(read, samples)


def settle_all(taken: Taken, store_folder: Path) -> None:
    """Give the sample files of a log their names, each whole and safe on the disk."""
    for each in taken.samples:
        final = store_folder / each.samples
        settle(part_of(final), final)


def _written(db: Database, job: TakeJob, read: LogRead) -> tuple[EngineLogEntry, ...]:
    """What was written for each engine. A disk that fails here says nothing about the log."""
    try:
        return tuple(_write_all(db, job, read))
    except (OSError, DatabaseError) as error:
        raise StoreError(f"Samples of {job.request.file} cannot be written: {error}") from error


def _write_all(db: Database, job: TakeJob, read: LogRead) -> Iterator[EngineLogEntry]:
    for engine in job.request.engines:
        channels = read.columns.get(engine.id, ())
        if not channels:
            continue
        samples = f"samples/{engine.engine_id}/{job.log_id}.parquet"
        part = _write(db, job.store_folder / samples, engine.id, channels)
        size = part.stat().st_size
        yield EngineLogEntry(engine.engine_id, job.log_id, samples, size, tuple(channels), digest_of(part))


def digest_of(path: Path) -> str:
    """What the bytes of a sample file are known by: 16 hex digits of their BLAKE2b digest."""
    with path.open("rb") as file:
        return file_digest(file, blake2b).hexdigest()[:16]


def _write(db: Database, final: Path, engine_id: str, channels: tuple[str, ...]) -> Path:
    """Write one engine's samples as a part of the file to be."""
    final.parent.mkdir(parents=True, exist_ok=True)
    part = part_of(final)
    target = str(part).replace("'", "''")
    columns = ",\n".join(_column(name, engine_id, name in channels) for name in CHANNELS)
    db.execute(f"copy (select time_s, {columns} from log_rows) to '{target}' ({_FORMAT})")
    return part


def _column(channel: str, engine_id: str, is_logged: bool) -> str:  # noqa: FBT001 - private, called in one place
    kind = "double" if channel == "engine_hours" else "float"
    return f'"{engine_id}.{channel}" as "{channel}"' if is_logged else f'cast(null as {kind}) as "{channel}"'


def _refused(problem: Problem) -> Taken:
    read = LogRead(
        status="refused",
        problems=(problem,),
        rows=0,
        rows_dropped=0,
        rows_spread=0,
        start_assumed=False,
        started_s=None,
        ended_s=None,
        columns={},
    )
    return Taken(read, ())
