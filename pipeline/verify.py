"""Looks at all that is kept, byte by byte: what the next ingest makes again, and what nothing can. It only reads."""

from __future__ import annotations

import fcntl
import shutil
import sqlite3
import tempfile
from collections import defaultdict
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pyarrow as pa
import pyarrow.parquet as pq

from pipeline.channels import CHANNELS
from pipeline.database import DatabaseError, is_whole, rows
from pipeline.inbox import log_id
from pipeline.inbox_files import scan
from pipeline.ledger import EngineLogEntry, FileEntry, Ledger, LedgerError
from pipeline.logbook import FILE_NAME as LOGBOOK
from pipeline.sqlite_files import trouble
from pipeline.store import Store, StoreError
from pipeline.take import digest_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

_INGEST: Final = "The next ingest makes it again."
_THOROUGH: Final = "morningwatch ingest --thorough makes it again."
_GONE: Final = "Nothing here can make it again: its file is no longer in the inbox. Put the file back, or a backup."


@dataclass(frozen=True)
class Fault:
    """Something that is not as it was written. `file` is relative to the fleet folder."""

    file: str
    expected: str
    got: str
    way_out: str
    can_be_remade: bool = True

    def sentence(self) -> str:
        """The whole fault in one line, place first."""
        return f"{self.file}: expected {self.expected}, got {self.got}. {self.way_out}"


@dataclass(frozen=True)
class Verified:
    """What was looked at, and every fault.

    `waiting` are files of the inbox that the next ingest will read: new or changed ones. `only_in_store` are logs whose
    file is gone from the inbox: their samples are the only copy.
    """

    logs: int
    samples: int
    faults: tuple[Fault, ...]
    waiting: tuple[str, ...]
    only_in_store: tuple[str, ...]


def verify(folder: Path, tell: Callable[[int, int], None] | None = None) -> Verified:
    """Look at ledger, samples, inbox, snapshot, working database and logbook of a fleet folder. Nothing is written.

    `tell` is called with how many files have been looked at and how many there are.

    Raises:
        StoreError: an ingest is at work.
    """
    store = Store(folder)
    with _at_rest(store), tempfile.TemporaryDirectory(prefix="morningwatch-") as scratch:
        faults = _logbook_faults(folder)
        try:
            with Ledger(_copied(store, Path(scratch))) as ledger:
                return _against(ledger, store, folder, faults, tell or (lambda _done, _total: None))
        except (sqlite3.Error, LedgerError) as error:
            way_out = str(error) if isinstance(error, LedgerError) else _INGEST
            faults.append(Fault(_place(store.ledger_path, folder), "a ledger", str(error), way_out))
            waiting = tuple(each.file for each in scan(folder))
            return Verified(0, 0, tuple(faults), waiting, ())


@contextmanager
def _at_rest(store: Store) -> Iterator[None]:
    """Keep ingests waiting while we look; without a lock file there has been none."""
    try:
        lock = (store.folder / "ingest.lock").open(encoding="utf-8")
    except FileNotFoundError:
        yield
        return
    with lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            raise StoreError("An ingest is at work in this fleet folder. Verify when it has ended.") from None
        yield


def _copied(store: Store, scratch: Path) -> Path:
    """The ledger with what is written ahead, as files: even opening the original to read would leave a trace.

    Raises:
        sqlite3.Error: there is none.
    """
    if not store.ledger_path.exists():
        raise sqlite3.OperationalError("none")
    for end in ("", "-wal"):
        path = store.ledger_path.with_name(store.ledger_path.name + end)
        if path.exists():
            shutil.copyfile(path, scratch / path.name)
    return scratch / store.ledger_path.name


def _against(
    ledger: Ledger, store: Store, folder: Path, faults: list[Fault], tell: Callable[[int, int], None]
) -> Verified:
    files, logs, listed = ledger.files(), ledger.logs(), ledger.engine_logs()
    here = {each.file: (each.size_bytes, each.modified_ns) for each in scan(folder)}
    known = {name: entry for name, entry in files.items() if here.get(name) == (entry.size_bytes, entry.modified_ns)}
    total = len(known) + len(listed)
    sources: defaultdict[str, list[str]] = defaultdict(list)
    for number, entry in enumerate(known.values()):
        tell(number, total)
        fault = _file_fault(entry, folder)
        if fault is not None:
            faults.append(fault)
        elif entry.log_id is not None:
            sources[entry.log_id].append(entry.file)
    for number, each in enumerate(listed):
        tell(len(known) + number, total)
        got = _samples_trouble(store.samples_path(each.samples), each, logs[each.log_id].rows_kept)
        if got is not None:
            faults.append(_samples_fault(store, folder, each, got, can_be_remade=each.log_id in sources))
    faults += _snapshot_faults(store, folder, ledger)
    only_here = tuple(log.file for log in logs.values() if log.log_id not in sources)
    waiting = tuple(sorted(here.keys() - known.keys()))
    return Verified(len(logs), len(listed), tuple(faults), waiting, only_here)


def _file_fault(entry: FileEntry, folder: Path) -> Fault | None:
    """A file of the inbox whose size and time are as they were, and whose bytes are not."""
    if entry.log_id is None:
        return None
    try:
        found = log_id(folder / entry.file)
    except OSError as error:
        return Fault(entry.file, "a file that opens", str(error.strerror), "Check its rights and the disk.")
    if found == entry.log_id:
        return None
    got = "others, although size and time are the same"
    return Fault(entry.file, "the bytes that were read", got, _THOROUGH)


def _samples_trouble(path: Path, entry: EngineLogEntry, rows_kept: int) -> str | None:
    """What is wrong with a sample file; None if its bytes, columns and rows are those that were written."""
    try:
        size = path.stat().st_size
        if size != entry.samples_bytes:
            return f"{size} bytes"
        if entry.samples_digest is not None and digest_of(path) != entry.samples_digest:
            return "other bytes"
        footer = pq.read_metadata(path)
        if footer.schema.names != ["time_s", *CHANNELS]:
            return "other columns"
        if footer.num_rows != rows_kept:
            return f"{footer.num_rows} rows"
        if entry.samples_digest is None:
            pq.read_table(path)
    except (OSError, pa.ArrowException) as error:
        return str(error).partition("\n")[0]
    return None


def _samples_fault(store: Store, folder: Path, entry: EngineLogEntry, got: str, *, can_be_remade: bool) -> Fault:
    same_size = _has_size(store.samples_path(entry.samples), entry.samples_bytes)
    way_out = (_THOROUGH if same_size else _INGEST) if can_be_remade else _GONE
    file = _place(store.samples_path(entry.samples), folder)
    return Fault(file, "the samples that were written", got, way_out, can_be_remade)


def _has_size(path: Path, size: int) -> bool:
    return path.exists() and path.stat().st_size == size


def _snapshot_faults(store: Store, folder: Path, ledger: Ledger) -> list[Fault]:
    current = store.snapshot()
    if current is None:
        return [Fault(_place(store.folder / "CURRENT", folder), "the name of a snapshot", "none", _INGEST)]
    faults = [
        Fault(_place(path, folder), "a database that can be read", "a damaged or missing one", _INGEST)
        for path in (current, store.working_path)
        if not is_whole(path)
    ]
    return faults or _counting_faults(store, folder, ledger)


def _counting_faults(store: Store, folder: Path, ledger: Ledger) -> list[Fault]:
    """Whether the snapshot shows what the ledger lists."""
    place = _place(store.snapshot() or store.folder, folder)
    try:
        with store.reader() as db:
            shown = {name: rows(db, f"select count(*) as n from marts.{name}")[0]["n"] for name in _expected(ledger)}
    except (StoreError, DatabaseError) as error:
        return [Fault(place, "a snapshot of this version", str(error), _INGEST)]
    return [
        Fault(place, f"{count} rows in marts.{name}", str(shown[name]), _INGEST)
        for name, count in _expected(ledger).items()
        if shown[name] != count
    ]


def _expected(ledger: Ledger) -> Mapping[str, int]:
    refused = sum(entry.status == "refused" for entry in ledger.files().values())
    return {"logs": len(ledger.logs()) + refused, "engine_logs": len(ledger.engine_logs())}


def _logbook_faults(folder: Path) -> list[Fault]:
    path = folder / LOGBOOK
    found = trouble(path) if path.exists() else None
    if found is None:
        return []
    way_out = "Nothing can make it again: put a backup of it in its place."
    return [Fault(LOGBOOK, "a logbook that holds together", found, way_out, can_be_remade=False)]


def _place(path: Path, folder: Path) -> str:
    return path.relative_to(folder).as_posix()
