"""The store folder: where its files are, how they are written so that a crash leaves nothing half done, how it is read.

All of it can be rebuilt from the inbox. Readers open the snapshot that CURRENT names and never wait for an ingest.
"""

from __future__ import annotations

import fcntl
import os
import re
import shutil
import threading
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from pipeline.database import Database, DatabaseError, in_utc_and_silent, is_whole, open_readonly, rows

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

STORE_VERSION: Final = 2
"""The shape of the ledger and of a snapshot's tables. Whoever changes either raises it: what bears a lower number is
brought up by the next ingest, what bears a higher one is left to the program that made it."""

SNAPSHOTS_KEPT: Final = 3
_ATTEMPTS: Final = 5
"""How often a reader looks again when its snapshot was superseded between reading CURRENT and opening it."""

_SNAPSHOT_NAME: Final = re.compile(r"snapshot-(\d+)\.duckdb")


class StoreError(Exception):
    """The store cannot be read; the message says what to do."""


class Store:
    """The store of one fleet folder. Cheap to make; its reading connection is shared by all threads of this object."""

    def __init__(self, fleet_folder: Path) -> None:
        self.folder = fleet_folder / "store"
        self._lock = threading.Lock()
        self._open: tuple[str, Database] | None = None

    @property
    def ledger_path(self) -> Path:
        """The ledger's file."""
        return self.folder / "ledger.sqlite"

    @property
    def working_path(self) -> Path:
        """The working database: only an ingest opens it."""
        return self.folder / "working.duckdb"

    @property
    def ledger_copy_path(self) -> Path:
        """The ledger as it was at the last publication: the next best where the ledger itself is lost."""
        return self.folder / "ledger-copy.sqlite"

    def samples_path(self, samples: str) -> Path:
        """The sample file that the ledger and `marts.engine_logs` list as `samples`."""
        return self.folder / samples

    def snapshot(self) -> Path | None:
        """The newest published snapshot; None where nothing has been published."""
        try:
            name = (self.folder / "CURRENT").read_text(encoding="utf-8", errors="replace").strip()
        except FileNotFoundError:
            return None
        return self.folder / name if _SNAPSHOT_NAME.fullmatch(name) else None

    def shows(self, edition: str) -> bool:
        """Whether the newest snapshot is this edition and all of it can be read."""
        current = self.snapshot()
        return current is not None and _holds(current, edition)

    def reader(self) -> Database:
        """A read-only cursor on the newest snapshot, for one call; close it or let it go.

        Raises:
            StoreError: where nothing has been published yet, or the snapshot cannot be opened or is of another version.
        """
        with self._lock:
            cursor = self._newest().cursor()
        return in_utc_and_silent(cursor)

    def publish(self, edition: str) -> bool:
        """Make the closed working database what readers see from now on, as the next `snapshot-N`.

        False, and nothing changed, where it is damaged or does not hold this edition. A name is never used twice: a
        reader that has it open would go on showing what it was.
        """
        number = max((_number(path) for path in _snapshots(self.folder)), default=0) + 1
        final = self.folder / f"snapshot-{number}.duckdb"
        part = part_of(final)
        shutil.copyfile(self.working_path, part)
        if not _holds(part, edition):
            part.unlink()
            return False
        settle(part, final)
        write_durably(self.folder / "CURRENT", f"{final.name}\n")
        for superseded in sorted(_snapshots(self.folder), key=_number)[:-SNAPSHOTS_KEPT]:
            superseded.unlink(missing_ok=True)
        return True

    @contextmanager
    def exclusive(self, waiting: Callable[[str], None] | None = None) -> Iterator[None]:
        """Hold the right to change the store; one process at a time has it.

        Where another has it, `waiting` is told once who, and the call waits. A killed process loses it by itself.
        """
        self.folder.mkdir(parents=True, exist_ok=True)
        with (self.folder / "ingest.lock").open("a+", encoding="utf-8") as lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                if waiting is not None:
                    waiting(_who_holds(Path(lock.name)))
                fcntl.flock(lock, fcntl.LOCK_EX)
            lock.truncate(0)
            lock.write(f"{os.getpid()}\n{datetime.now(UTC).isoformat(timespec='seconds')}\n")
            lock.flush()
            yield

    def sweep(self) -> None:
        """Remove what a killed ingest left half written. Call it only while holding `exclusive`."""
        for part in self.folder.rglob("*.part"):
            part.unlink(missing_ok=True)

    def discard_working(self) -> None:
        """Remove the working database; the next ingest builds it anew from the samples."""
        for path in (self.working_path, self.working_path.with_name(self.working_path.name + ".wal")):
            path.unlink(missing_ok=True)

    def set_aside_ledger(self) -> None:
        """Move a damaged ledger out of the way, keeping it for whoever wants to look."""
        for end in ("", "-wal", "-shm"):
            path = self.ledger_path.with_name(self.ledger_path.name + end)
            with suppress(FileNotFoundError):
                path.replace(path.with_name(f"damaged-{path.name}"))

    def restore_ledger(self) -> None:
        """Put the ledger's last copy in its place. What is left of the old one beside it goes."""
        for end in ("-wal", "-shm"):
            self.ledger_path.with_name(self.ledger_path.name + end).unlink(missing_ok=True)
        part = part_of(self.ledger_path)
        shutil.copyfile(self.ledger_copy_path, part)
        settle(part, self.ledger_path)

    def _newest(self) -> Database:
        trouble: DatabaseError | None = None
        for _ in range(_ATTEMPTS):
            path = self.snapshot()
            if path is None:
                break
            if self._open is not None and self._open[0] == path.name:
                return self._open[1]
            try:
                self._open = (path.name, _checked(open_readonly(path)))
            except DatabaseError as error:
                trouble = error
            else:
                return self._open[1]
        raise StoreError(f"Nothing to read in {self.folder} yet. Run: morningwatch ingest") from trouble


def part_of(final: Path) -> Path:
    """Where a file is written before it is whole; the next ingest removes what is left under such names."""
    return final.with_name(final.name + ".part")


def settle(part: Path, final: Path) -> None:
    """Give a completely written file its name: after a crash there is the whole new file or what was there before."""
    with part.open("rb") as written:
        os.fsync(written.fileno())
    part.replace(final)


def write_durably(path: Path, text: str) -> None:
    """Replace a small text file at once and for good."""
    part = part_of(path)
    part.write_text(text, encoding="utf-8")
    settle(part, path)


def _who_holds(lock: Path) -> str:
    process, _, since = lock.read_text(encoding="utf-8").strip().partition("\n")
    who = f"process {process or 'unknown'}{f', since {since}' if since else ''}"
    return f"Another ingest ({who}) is at work in this fleet folder; waiting for it to end."


def _snapshots(folder: Path) -> list[Path]:
    return [path for path in folder.glob("snapshot-*.duckdb") if _SNAPSHOT_NAME.fullmatch(path.name)]


def _holds(snapshot: Path, edition: str) -> bool:
    try:
        with open_readonly(snapshot) as db:
            held = _fact(db, "edition")
    except DatabaseError:
        return False
    return held == edition and is_whole(snapshot)


def _fact(db: Database, name: str) -> str | None:
    found = rows(db, "select fact from build.facts where name = ?", [name])
    return str(found[0]["fact"]) if found else None


def _checked(db: Database) -> Database:
    """The snapshot, if this program knows what stands in it.

    Raises:
        StoreError: it was made by another version.
    """
    try:
        version = int(_fact(db, "version") or 1)
    except DatabaseError:
        version = 1
    if version == STORE_VERSION:
        return db
    db.close()
    raise StoreError(other_version("The store", version))


def other_version(what: str, version: int) -> str:
    """What is to be done about something that another version of the program made."""
    if version < STORE_VERSION:
        return f"{what} was made by an older version of Morning Watch. Run: morningwatch ingest"
    return (
        f"{what} was made by a newer version of Morning Watch (version {version}, this one reads {STORE_VERSION}). "
        "Use that version, or delete the store folder: it is rebuilt from the inbox."
    )


def _number(snapshot: Path) -> int:
    found = _SNAPSHOT_NAME.fullmatch(snapshot.name)
    return int(found.group(1)) if found else 0
