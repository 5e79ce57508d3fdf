"""Whatever a crash leaves behind, or whatever of the store is lost, the next ingest puts right."""

from __future__ import annotations

import multiprocessing
import os
import runpy
import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from pipeline import extract
from pipeline.database import open_writable
from pipeline.logbook import add_note
from pipeline.store import StoreError

if TYPE_CHECKING:
    from collections.abc import Callable

    from pipeline.store import Store
    from tests.store.conftest import Fleet

START_S = 1_700_000_000.0
SCRIPT = str(Path(__file__).with_name("killed.py"))


def _killed_before(step: int, folder: Path) -> int | None:
    """Run an ingest that dies before its n-th step; the exit code. A forkserver's child is quick to start."""
    process = multiprocessing.get_context("forkserver").Process(
        target=runpy.run_path, args=(SCRIPT, {"folder": str(folder), "step": step})
    )
    process.start()
    process.join()
    return process.exitcode


def _content(fleet: Fleet) -> list[Any]:
    """All that a reader can see of the store, apart from the snapshot's name."""
    tables = ("events.runs", "events.signals", "marts.readings", "marts.logs", "marts.engine_logs")
    return [*(fleet.rows(f"from {table} order by all") for table in tables), fleet.samples()]


def test_an_ingest_killed_at_every_other_step_is_completed_by_the_next(fleet: Fleet, tmp_path: Path) -> None:
    multiprocessing.get_context("forkserver").set_forkserver_preload(["pipeline.ingest", "pytest", "pyarrow.parquet"])
    fleet.log("heron/grows.csv", seconds=5)
    fleet.log("heron/stays.csv", start_s=START_S + 7200)
    fleet.ingest()
    fleet.log("heron/grows.csv", seconds=60)
    fleet.log("petrel/port/new.csv")
    expected, before = replace(fleet, folder=tmp_path / "expected"), _content(fleet)
    shutil.copytree(fleet.folder, expected.folder)
    expected.ingest()
    for step in range(1, 100, 2):
        killed = replace(fleet, folder=tmp_path / f"killed_{step}")
        shutil.copytree(fleet.folder, killed.folder)
        if _killed_before(step, killed.folder) == 0:
            break
        tables = _content(killed)[:-1]
        assert tables in (before[:-1], _content(expected)[:-1]), "a reader sees the old or the new, nothing between"
        killed.ingest()
        assert _content(killed) == _content(expected)
        assert not list(killed.store.folder.rglob("*.part"))
        assert killed.counts() == (0, 0, 3, 0)
    assert step > 15, "the ingest has fewer steps than it must have: nothing was killed"


def _lose_store(store: Store) -> None:
    shutil.rmtree(store.folder)


def _lose_working(store: Store) -> None:
    store.working_path.unlink()


def _spoil_working(store: Store) -> None:
    store.working_path.write_bytes(b"no database" * 10_000)


def _empty_working(store: Store) -> None:
    store.working_path.write_bytes(b"")


def _tear_working(store: Store) -> None:
    whole = store.working_path.read_bytes()
    store.working_path.write_bytes(whole[: len(whole) // 2])


def _lose_samples(store: Store) -> None:
    shutil.rmtree(store.folder / "samples")


def _cut_samples(store: Store) -> None:
    for path in store.folder.rglob("*.parquet"):
        path.write_bytes(path.read_bytes()[:-100])


def _lose_ledger(store: Store) -> None:
    store.ledger_path.unlink()


def _spoil_ledger(store: Store) -> None:
    store.ledger_path.write_bytes(b"no database" * 10_000)


def _lose_current(store: Store) -> None:
    (store.folder / "CURRENT").unlink()


def _lose_snapshot(store: Store) -> None:
    for path in store.folder.glob("snapshot-*"):
        path.unlink()


def _spoil_snapshot(store: Store) -> None:
    for path in store.folder.glob("snapshot-*"):
        path.write_bytes(b"no database" * 10_000)


def _spoil_the_middle(path: Path) -> None:
    """Overwrite the second half but for the end: such a file opens, and only reading all of it shows the damage."""
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2] + b"\x55" * (len(whole) // 2 - 512) + whole[-512:])


def _spoil_inside_working(store: Store) -> None:
    _spoil_the_middle(store.working_path)


def _spoil_inside_snapshot(store: Store) -> None:
    current = store.snapshot()
    assert current is not None
    _spoil_the_middle(current)


def _spoil_inside_ledger(store: Store) -> None:
    _spoil_the_middle(store.ledger_path)


def _spoil_ledger_and_copy(store: Store) -> None:
    _spoil_ledger(store)
    _spoil_the_middle(store.ledger_copy_path)


def _name_a_missing_snapshot(store: Store) -> None:
    (store.folder / "CURRENT").write_text("snapshot-99.duckdb\n", encoding="utf-8")


def _put_nonsense_into_current(store: Store) -> None:
    (store.folder / "CURRENT").write_bytes(b"\xff\x00")


def _leave_an_older_ledger(store: Store) -> None:
    """The ledger as version 1 had it, and no copy of it."""
    old = store.ledger_path.with_name("old.sqlite")
    with closing(sqlite3.connect(old)) as db:
        db.executescript(Path(__file__).with_name("ledger_1.sql").read_text(encoding="utf-8"))
        db.execute("attach ? as new", [str(store.ledger_path)])
        for table in ("files", "logs", "engine_logs"):
            columns = ", ".join(row[1] for row in db.execute(f"pragma main.table_info({table})"))
            db.execute(f"insert into main.{table} select {columns} from new.{table}")
        db.execute("update counters set value = (select value from new.counters where name = 'revision')")
        db.commit()
    for path in store.folder.glob("ledger*"):
        path.unlink()
    old.rename(store.ledger_path)


def _leave_an_older_snapshot(store: Store) -> None:
    """Snapshots and working database as version 1 had them: nothing in them names a version."""
    for path in store.folder.glob("*.duckdb"):
        with open_writable(path) as db:
            db.execute("delete from build.facts where name = 'version'")


LOSSES = [
    _lose_store,
    _lose_working,
    _spoil_working,
    _empty_working,
    _tear_working,
    _lose_samples,
    _cut_samples,
    _lose_ledger,
    _spoil_ledger,
    _lose_current,
    _lose_snapshot,
    _spoil_snapshot,
    _spoil_inside_working,
    _spoil_inside_snapshot,
    _spoil_inside_ledger,
    _spoil_ledger_and_copy,
    _name_a_missing_snapshot,
    _put_nonsense_into_current,
    _leave_an_older_ledger,
    _leave_an_older_snapshot,
]


@pytest.mark.parametrize("lose", LOSSES, ids=lambda lose: lose.__name__.strip("_"))
def test_what_is_lost_of_the_store_is_made_again(fleet: Fleet, lose: Callable[[Store], None]) -> None:
    fleet.log("heron/one.csv")
    fleet.log("petrel/port/two.csv")
    fleet.write("petrel/empty.csv", "")
    add_note(fleet.folder, "heron", None, "remark", "written by hand", datetime(2026, 1, 2, tzinfo=UTC))
    logbook = [path.read_bytes() for path in sorted(fleet.folder.glob("logbook*"))]
    fleet.ingest()
    before = _content(fleet)
    lose(fleet.store)
    assert sum(fleet.counts()) == 3
    assert _content(fleet) == before
    assert fleet.counts() == (0, 0, 2, 1)
    assert [path.read_bytes() for path in sorted(fleet.folder.glob("logbook*"))] == logbook


@pytest.mark.parametrize("lose", [_lose_ledger, _spoil_ledger, _spoil_inside_ledger])
def test_a_log_whose_file_is_gone_outlives_the_ledger(fleet: Fleet, lose: Callable[[Store], None]) -> None:
    fleet.log("heron/gone.csv")
    fleet.log("petrel/port/two.csv")
    fleet.ingest()
    fleet.path("heron/gone.csv").unlink()
    fleet.ingest()
    before = _content(fleet)
    lose(fleet.store)
    assert fleet.counts() == (0, 0, 1, 0)
    assert _content(fleet) == before


def test_an_older_ledger_keeps_the_logs_whose_files_are_gone(fleet: Fleet) -> None:
    fleet.log("heron/gone.csv")
    fleet.ingest()
    fleet.path("heron/gone.csv").unlink()
    fleet.ingest()
    before = _content(fleet)
    _leave_an_older_ledger(fleet.store)
    assert fleet.counts() == (0, 0, 0, 0)
    assert _content(fleet) == before


def test_a_snapshot_of_another_version_is_not_read(fleet: Fleet) -> None:
    fleet.log("heron/one.csv")
    fleet.ingest()
    _leave_an_older_snapshot(fleet.store)
    with pytest.raises(StoreError, match="older version of Morning Watch"):
        fleet.store.reader()
    for path in fleet.store.folder.glob("snapshot-*.duckdb"):
        with open_writable(path) as db:
            db.execute("insert into build.facts values ('version', '99')")
    with pytest.raises(StoreError, match="newer version of Morning Watch"):
        fleet.store.reader()


def test_a_byte_that_changed_alone_is_found_by_a_thorough_ingest(fleet: Fleet) -> None:
    path = fleet.log("heron/one.csv")
    fleet.ingest()
    before = _content(fleet)
    samples = next(fleet.store.folder.rglob("*.parquet"))
    whole = bytearray(samples.read_bytes())
    whole[40] ^= 1
    samples.write_bytes(bytes(whole))
    assert fleet.counts() == (0, 0, 1, 0)
    assert fleet.counts(thorough=True) == (0, 1, 0, 0)
    assert _content(fleet) == before
    state = path.stat()
    path.write_bytes(path.read_bytes().replace(b"600", b"700"))
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))
    assert fleet.counts() == (0, 0, 1, 0)
    assert fleet.counts(thorough=True) == (0, 1, 0, 0)


def _spoil_one_sample_file(fleet: Fleet) -> None:
    """Overwrite a sample file by as many bytes of nonsense: only reading it shows that it is broken."""
    path = next(path for path in fleet.store.folder.rglob("*.parquet") if "heron" in str(path))
    path.write_bytes(b"\0" * path.stat().st_size)


def test_a_sample_file_found_broken_while_measuring_is_read_again(fleet: Fleet) -> None:
    fleet.log("heron/one.csv")
    fleet.log("petrel/port/two.csv")
    fleet.ingest()
    before = _content(fleet)
    _spoil_one_sample_file(fleet)
    _lose_working(fleet.store)
    assert fleet.counts() == (0, 1, 1, 0)
    assert _content(fleet) == before


def test_a_log_whose_samples_and_file_are_both_lost_is_no_longer_listed(fleet: Fleet) -> None:
    fleet.log("petrel/port/two.csv")
    fleet.log("heron/one.csv")
    fleet.ingest()
    fleet.path("heron/one.csv").unlink()
    _spoil_one_sample_file(fleet)
    _lose_working(fleet.store)
    assert fleet.counts() == (0, 0, 1, 0)
    assert fleet.listed() == [("petrel/port/two.csv", "taken")]


def test_stray_parts_of_a_killed_ingest_are_removed(fleet: Fleet) -> None:
    fleet.log("heron/one.csv")
    fleet.ingest()
    stray = fleet.store.folder / "samples" / "heron" / "main" / "0.parquet.part"
    stray.write_bytes(b"half")
    fleet.ingest()
    assert not stray.exists()


def test_a_log_that_cannot_be_measured_is_refused_each_time_and_stops_no_other(
    fleet: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    simple = extract.extract

    def fails_on_long_logs(chains: Any) -> Any:
        tables = simple(chains)
        if max(tables["runs"]["samples"].to_pylist()) > 50:
            raise OSError("too long for these queries")
        return tables

    monkeypatch.setattr(extract, "extract", fails_on_long_logs)
    fleet.log("heron/bad.csv", seconds=100)
    fleet.log("heron/good.csv", start_s=START_S + 7200)
    first = fleet.ingest()
    assert (first.taken, first.known, len(first.refused)) == (1, 0, 1)
    assert "too long for these queries" in first.refused[0].reason
    second = fleet.ingest()
    assert (second.taken, second.known, second.refused) == (0, 1, first.refused)
    assert fleet.listed() == [("heron/bad.csv", "refused"), ("heron/good.csv", "taken")]
    assert fleet.spans() == [("heron/main", "heron/good.csv", 6)]
