"""The way back from a backup, on which nothing is trusted.

A file counts only if the manifest names it, its name stays inside the fleet folder and its bytes are those that were
put in; everything is checked before anything is put in place.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import stat
import tempfile
import zipfile
from contextlib import suppress
from hashlib import blake2b
from pathlib import Path
from typing import TYPE_CHECKING, Final

from pipeline import logbook
from pipeline.backup import ALWAYS, DIGEST_BYTES, FORMAT, MANIFEST, PIECE_BYTES, BackupError, Entry
from pipeline.inbox_files import FOLDER
from pipeline.register import FILE_NAME as REGISTER
from pipeline.sqlite_files import copy_whole, trouble
from pipeline.store import STORE_VERSION

if TYPE_CHECKING:
    from collections.abc import Mapping

_FOLDERS: Final = ("store/samples", FOLDER)
_MANIFEST_BYTES: Final = 1 << 28
_ASIDE: Final = ".before-restore"


def restore(source: Path, folder: Path, *, replace: bool = False) -> int:
    """Put a backup into a fleet folder; how many files it held. All of it is checked before anything is put in place.

    A folder that holds something is refused, unless `replace`: then fleet.toml, schedule, logbook and store that are
    there are kept under their name with `.before-restore`. A log of the inbox is never written over.

    Raises:
        BackupError: the file is no sound backup, is of a newer version, or the folder is not empty.
        OSError: something cannot be read or written.
    """
    if not replace and folder.exists() and any(folder.iterdir()):
        raise BackupError(f"{folder} is not empty. Name another folder, or say --replace to put the backup into it.")
    try:
        with zipfile.ZipFile(source) as archive:
            entries = _manifest(archive)
            _check_names(archive, entries)
            return _unpack(archive, entries, folder)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError, NotImplementedError, RuntimeError) as error:
        raise BackupError(f"{source} is no backup that can be read: {error}. Take another one.") from error


def _manifest(archive: zipfile.ZipFile) -> dict[str, Entry]:
    """The files that the backup says it holds."""
    try:
        info = archive.getinfo(MANIFEST)
        if info.file_size > _MANIFEST_BYTES:
            raise BackupError("The backup's manifest is too long to be one. Take another backup.")
        document = json.loads(archive.read(info))
        versions = int(document["format"]), int(document["store"])
        if versions[0] > FORMAT or versions[1] > STORE_VERSION:
            raise BackupError(
                "The backup was made by a newer version of Morning Watch. Use that version to restore it."
            )
        return {
            str(name): Entry(int(each["size_bytes"]), int(each["modified_ns"]), str(each["digest"]))
            for name, each in document["files"].items()
        }
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise BackupError(
            f"The file is no backup of Morning Watch: its manifest is missing or damaged ({error})."
        ) from error


def _check_names(archive: zipfile.ZipFile, entries: Mapping[str, Entry]) -> None:
    """Every file of the archive once, named in the manifest, plain, and with a place in a fleet folder."""
    held = [info.filename for info in archive.infolist() if info.filename != MANIFEST]
    if sorted(held) != sorted(entries) or len({name.casefold() for name in held}) != len(held):
        raise BackupError("The backup does not hold the files that its manifest names. Take another backup.")
    for info in archive.infolist():
        kind = stat.S_IFMT(info.external_attr >> 16)
        if info.filename != MANIFEST and (kind not in {0, stat.S_IFREG} or not _has_a_place(info.filename)):
            raise BackupError(f"The backup holds {info.filename!r}, which is no file of a fleet folder. Do not use it.")
    if REGISTER not in entries:
        raise BackupError(f"The backup holds no {REGISTER}. Take another backup.")


def _has_a_place(name: str) -> bool:
    if name in ALWAYS:
        return True
    parts = name.split("/")
    is_plain = not any(sign in name for sign in "\\\0:") and not {"", ".", ".."} & set(parts)
    return is_plain and any(name.startswith(f"{folder}/") for folder in _FOLDERS)


def _unpack(archive: zipfile.ZipFile, entries: Mapping[str, Entry], folder: Path) -> int:
    """Unpack beside the fleet's files, check, and only then put in place."""
    folder.mkdir(parents=True, exist_ok=True)
    staged = Path(tempfile.mkdtemp(prefix=".restore-", dir=folder))
    try:
        for name, entry in entries.items():
            _take_out(archive, name, entry, staged / name)
        for name in ("store/ledger.sqlite", logbook.FILE_NAME):
            if name in entries and (found := trouble(staged / name)) is not None:
                raise BackupError(f"{name} in the backup is damaged: {found}. Take another backup.")
        _check_inbox(entries, staged, folder)
        _put_in_place(entries, staged, folder)
    finally:
        shutil.rmtree(staged, ignore_errors=True)
    return len(entries)


def _take_out(archive: zipfile.ZipFile, name: str, entry: Entry, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    digest, size = blake2b(digest_size=DIGEST_BYTES), 0
    with archive.open(name) as packed, target.open("xb") as file:
        while (piece := packed.read(PIECE_BYTES)) and size <= entry.size_bytes:
            file.write(piece)
            digest.update(piece)
            size += len(piece)
        file.flush()
        os.fsync(file.fileno())
    if (size, digest.hexdigest()) != (entry.size_bytes, entry.digest):
        raise BackupError(f"{name} in the backup is not what was put in: its checksum differs. Take another backup.")
    os.utime(target, ns=(entry.modified_ns, entry.modified_ns))


def _check_inbox(entries: Mapping[str, Entry], staged: Path, folder: Path) -> None:
    """A log that is there already has the same bytes: a file of the inbox is never changed."""
    for name in entries:
        there = folder / name
        if name.startswith(f"{FOLDER}/") and there.exists() and there.read_bytes() != (staged / name).read_bytes():
            raise BackupError(f"{there} is there with other bytes. Move it away, or restore into another folder.")


def _put_in_place(entries: Mapping[str, Entry], staged: Path, folder: Path) -> None:
    _move_aside(folder, (*ALWAYS[:3], "store"))
    for name in entries:
        target = folder / name
        if not (name.startswith(f"{FOLDER}/") and target.exists()):
            target.parent.mkdir(parents=True, exist_ok=True)
            (staged / name).replace(target)
    (folder / FOLDER).mkdir(exist_ok=True)


def _move_aside(folder: Path, names: tuple[str, ...]) -> None:
    """Keep what is there under another name. What SQLite has not yet written into the logbook itself goes with it."""
    taken = [folder / f"{name}{_ASIDE}" for name in names if (folder / f"{name}{_ASIDE}").exists()]
    if taken:
        raise BackupError(f"{taken[0]} is there from an earlier restore. Move it away first.")
    if (folder / logbook.FILE_NAME).exists():
        with suppress(sqlite3.Error):
            copy_whole(folder / logbook.FILE_NAME, folder / f"{logbook.FILE_NAME}{_ASIDE}")
    for name in names:
        if (folder / name).exists() and not (folder / f"{name}{_ASIDE}").exists():
            (folder / name).replace(folder / f"{name}{_ASIDE}")
    for end in ("", "-wal", "-shm"):
        (folder / f"{logbook.FILE_NAME}{end}").unlink(missing_ok=True)
