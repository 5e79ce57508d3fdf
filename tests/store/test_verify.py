"""Verifying finds every byte that is not as it was written, says what can be made again, and writes nothing."""

from __future__ import annotations

import os
import sqlite3
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest

from pipeline.logbook import FILE_NAME, add_note
from pipeline.store import Store, StoreError
from pipeline.verify import verify

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.store.conftest import Fleet

START_S = 1_700_000_000.0


@pytest.fixture
def sound(fleet: Fleet) -> Fleet:
    """Two logs taken, one file refused, one note written."""
    fleet.log("heron/one.csv")
    fleet.log("petrel/port/two.csv", start_s=START_S + 7200)
    fleet.write("petrel/empty.csv", "")
    add_note(fleet.folder, "heron", None, "remark", "written by hand", datetime(2026, 1, 2, tzinfo=UTC))
    fleet.ingest()
    return fleet


def _flip(path: Path) -> None:
    """Change one bit in the middle; size and time stay."""
    state = path.stat()
    whole = bytearray(path.read_bytes())
    whole[len(whole) // 2] ^= 1
    path.write_bytes(bytes(whole))
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))


def _samples(store: Store) -> Path:
    return next(path for path in store.folder.rglob("*.parquet") if "heron" in str(path))


def _everything(folder: Path) -> dict[str, tuple[bytes, int]]:
    files = (path for path in sorted(folder.rglob("*")) if path.is_file())
    return {str(path): (path.read_bytes(), path.stat().st_mtime_ns) for path in files}


def test_a_sound_fleet_has_no_fault_and_is_left_untouched(sound: Fleet) -> None:
    before = _everything(sound.folder)
    found = verify(sound.folder)
    assert (found.logs, found.samples, found.faults, found.waiting, found.only_in_store) == (2, 2, (), (), ())
    assert _everything(sound.folder) == before


def test_what_the_next_ingest_reads_is_no_fault(sound: Fleet) -> None:
    sound.log("heron/three.csv", start_s=START_S + 9000)
    sound.log("heron/one.csv", seconds=60)
    found = verify(sound.folder)
    assert (found.faults, found.waiting) == ((), ("inbox/heron/one.csv", "inbox/heron/three.csv"))


def _lose_snapshot(store: Store) -> None:
    (store.snapshot() or store.folder).unlink()


def _spoil_snapshot(store: Store) -> None:
    path = store.snapshot() or store.folder
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2] + b"\x55" * (len(whole) // 2))


FAULTS: list[tuple[str, Callable[[Store], None], bool]] = [
    ("store/CURRENT", lambda store: (store.folder / "CURRENT").unlink(), False),
    ("store/snapshot-1.duckdb", _lose_snapshot, False),
    ("store/snapshot-1.duckdb", _spoil_snapshot, False),
    ("store/working.duckdb", lambda store: store.working_path.unlink(), False),
    ("store/ledger.sqlite", lambda store: store.ledger_path.unlink(), False),
    ("store/ledger.sqlite", lambda store: store.ledger_path.write_bytes(b"no ledger" * 999), False),
    ("store/samples/heron/main/", lambda store: _samples(store).unlink(), False),
    ("store/samples/heron/main/", lambda store: _samples(store).write_bytes(b"short"), False),
    ("store/samples/heron/main/", lambda store: _flip(_samples(store)), True),
    ("inbox/heron/one.csv", lambda store: _flip(store.folder.parent / "inbox" / "heron" / "one.csv"), True),
]


@pytest.mark.parametrize(("file", "spoil", "needs_thorough"), FAULTS)
def test_a_fault_is_named_and_what_is_said_to_make_it_again_does(
    sound: Fleet, file: str, spoil: Callable[[Store], None], *, needs_thorough: bool
) -> None:
    spoil(sound.store)
    found = verify(sound.folder)
    assert [fault.file for fault in found.faults if not fault.file.startswith(file)] == []
    assert all(fault.can_be_remade for fault in found.faults)
    assert ("--thorough" in found.faults[0].sentence()) is needs_thorough
    sound.ingest(thorough=needs_thorough)
    assert verify(sound.folder).faults == ()


def test_a_log_whose_file_is_gone_is_named_and_its_broken_samples_cannot_be_made_again(sound: Fleet) -> None:
    sound.path("heron/one.csv").unlink()
    assert verify(sound.folder).only_in_store == ("inbox/heron/one.csv",)
    _flip(_samples(sound.store))
    (fault,) = verify(sound.folder).faults
    assert not fault.can_be_remade
    assert "Put the file back, or a backup" in fault.sentence()


def test_a_damaged_logbook_cannot_be_made_again(sound: Fleet) -> None:
    with sqlite3.connect(sound.folder / FILE_NAME) as db:
        db.execute("pragma wal_checkpoint(truncate)")
    db.close()
    path = sound.folder / FILE_NAME
    path.write_bytes(path.read_bytes()[:100] + b"\x55" * 5000)
    (fault,) = verify(sound.folder).faults
    assert (fault.file, fault.can_be_remade) == (FILE_NAME, False)


def test_it_does_not_look_while_an_ingest_is_at_work(sound: Fleet) -> None:
    with sound.store.exclusive(), pytest.raises(StoreError, match="at work"):
        verify(sound.folder)
