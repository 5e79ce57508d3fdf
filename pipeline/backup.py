"""One file that holds what a fleet folder cannot make again.

It is a zip with a manifest: versions, and each file's size, time and digest. `restore.py` is the way back.
"""

from __future__ import annotations

import json
import sqlite3
import stat
import tempfile
import zipfile
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from hashlib import blake2b
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pipeline import logbook
from pipeline.inbox_files import scan
from pipeline.ledger import Ledger
from pipeline.register import FILE_NAME as REGISTER
from pipeline.sqlite_files import copy_whole, trouble
from pipeline.store import STORE_VERSION, Store, part_of, settle

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

FORMAT: Final = 1
MANIFEST: Final = "manifest.json"
ALWAYS: Final = (REGISTER, "schedule.csv", logbook.FILE_NAME, "store/ledger.sqlite")
"""The files that are always taken, where they are there."""

PIECE_BYTES: Final = 1 << 20
DIGEST_BYTES: Final = 16


class BackupError(Exception):
    """A backup cannot be made or put back; the message says why and what to do. Nothing has been changed."""


@dataclass(frozen=True)
class Entry:
    """One file of a backup: its size, its time (ns since 1970) and its BLAKE2b digest (32 hex digits)."""

    size_bytes: int
    modified_ns: int
    digest: str


def backup(
    folder: Path,
    target: Path,
    *,
    with_samples: bool = False,
    with_logs: bool = False,
    waiting: Callable[[str], None] | None = None,
) -> int:
    """Write fleet.toml, schedule, logbook and ledger, and if asked samples and logs, into one file; how many there are.

    While an ingest of this fleet is at work this waits, having told `waiting` who is.

    Raises:
        BackupError: the fleet has no fleet.toml, or its logbook is damaged.
        OSError: something cannot be read or written.
    """
    if not (folder / REGISTER).exists():
        raise BackupError(f"{folder} is no fleet folder: there is no {REGISTER} in it.")
    part = part_of(target)
    with _held(folder, waiting), tempfile.TemporaryDirectory(prefix="morningwatch-") as scratch:
        sources = _sources(folder, Path(scratch), with_samples=with_samples, with_logs=with_logs)
        try:
            entries = _write(part, sources)
            settle(part, target)
        finally:
            part.unlink(missing_ok=True)
    return len(entries)


@contextmanager
def _held(folder: Path, waiting: Callable[[str], None] | None) -> Iterator[None]:
    """Keep ingests out while we copy; where there is no store yet there is nothing to keep out."""
    store = Store(folder)
    if not store.folder.exists():
        yield
        return
    with store.exclusive(waiting):
        yield


def _sources(folder: Path, scratch: Path, *, with_samples: bool, with_logs: bool) -> dict[str, Path]:
    """What goes into the backup, by its name there; databases are copied whole first."""
    sources = {name: folder / name for name in (REGISTER, "schedule.csv") if (folder / name).exists()}
    if (folder / logbook.FILE_NAME).exists():
        sources[logbook.FILE_NAME] = _copied(folder / logbook.FILE_NAME, scratch / "logbook")
    store = Store(folder)
    if store.ledger_path.exists():
        sources["store/ledger.sqlite"] = _copied(store.ledger_path, scratch / "ledger.sqlite")
        if with_samples:
            with Ledger(sources["store/ledger.sqlite"]) as ledger:
                listed = [each.samples for each in ledger.engine_logs()]
            sources |= {
                f"store/{name}": store.samples_path(name) for name in listed if store.samples_path(name).exists()
            }
    if with_logs:
        sources |= {each.file: each.path for each in scan(folder) if each.trouble is None}
    return sources


def _copied(path: Path, target: Path) -> Path:
    try:
        copy_whole(path, target)
        found = trouble(target)
    except sqlite3.Error as error:
        found = str(error)
    if found is not None:
        raise BackupError(f"{path} is damaged ({found}) and was not saved. Run: morningwatch verify")
    return target


def _write(part: Path, sources: Mapping[str, Path]) -> dict[str, Entry]:
    entries: dict[str, Entry] = {}
    with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, allowZip64=True) as archive:
        for name, path in sources.items():
            entries[name] = _add(archive, name, path)
        archive.writestr(MANIFEST, json.dumps(_document(entries), ensure_ascii=False, indent=1))
    return entries


def _document(entries: Mapping[str, Entry]) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "store": STORE_VERSION,
        "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "files": {name: asdict(entry) for name, entry in entries.items()},
    }


def _add(archive: zipfile.ZipFile, name: str, path: Path) -> Entry:
    """Add one file. The digest is that of the bytes that went in, whoever writes meanwhile."""
    modified_ns = path.stat().st_mtime_ns
    info = zipfile.ZipInfo(name)
    info.compress_type = zipfile.ZIP_STORED if path.suffix in {".parquet", ".gz", ".zst"} else zipfile.ZIP_DEFLATED
    info.external_attr = (stat.S_IFREG | 0o644) << 16
    digest, size = blake2b(digest_size=DIGEST_BYTES), 0
    with path.open("rb") as original, archive.open(info, "w", force_zip64=True) as packed:
        while piece := original.read(PIECE_BYTES):
            packed.write(piece)
            digest.update(piece)
            size += len(piece)
    return Entry(size, modified_ns, digest.hexdigest())
