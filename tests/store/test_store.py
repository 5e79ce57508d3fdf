"""Snapshots appear whole, the last three are kept, and a reader never sees one change under its hands."""

from __future__ import annotations

import os
import re
import threading
from typing import TYPE_CHECKING

import pytest

from pipeline.database import in_utc_and_silent, open_writable, rows, scratch
from pipeline.store import STORE_VERSION, Store, StoreError, settle

if TYPE_CHECKING:
    from pathlib import Path


def _publish(store: Store, edition: int) -> None:
    store.folder.mkdir(exist_ok=True)
    db = open_writable(store.working_path)
    db.execute("create schema if not exists build")
    db.execute("create or replace table build.facts (name varchar primary key, fact varchar)")
    db.execute("insert into build.facts values ('version', ?), ('edition', ?)", [str(STORE_VERSION), str(edition)])
    db.execute(f"create or replace table edition as select {edition} as number")
    db.close()
    assert store.publish(str(edition))


def _number(store: Store) -> int:
    return int(rows(store.reader(), "select number from edition")[0]["number"])


def test_a_store_without_a_snapshot_says_what_to_do(tmp_path: Path) -> None:
    assert Store(tmp_path).snapshot() is None
    with pytest.raises(StoreError, match="morningwatch ingest"):
        Store(tmp_path).reader()


def test_a_reader_sees_the_newest_snapshot(tmp_path: Path) -> None:
    store = Store(tmp_path)
    for edition in (1, 2, 3):
        _publish(store, edition)
        assert _number(store) == edition


def test_the_last_three_snapshots_are_kept(tmp_path: Path) -> None:
    store = Store(tmp_path)
    for edition in range(1, 13):
        _publish(store, edition)
    kept = sorted(path.name for path in store.folder.iterdir())
    assert kept == [
        "CURRENT",
        "snapshot-10.duckdb",
        "snapshot-11.duckdb",
        "snapshot-12.duckdb",
        "working.duckdb",
    ]


def test_a_cursor_keeps_its_snapshot_although_that_is_superseded_and_removed(tmp_path: Path) -> None:
    store = Store(tmp_path)
    _publish(store, 1)
    held = store.reader()
    for edition in range(2, 7):
        _publish(store, edition)
    assert rows(held, "select number from edition") == [{"number": 1}]
    assert _number(store) == 6


def test_readers_are_in_utc_and_cannot_write(tmp_path: Path) -> None:
    store = Store(tmp_path)
    _publish(store, 1)
    assert rows(store.reader(), "select current_setting('TimeZone') as zone") == [{"zone": "UTC"}]
    with pytest.raises(Exception, match="read-only"):
        store.reader().execute("create table more as select 1")


def test_a_current_that_names_anything_but_a_snapshot_is_no_snapshot(tmp_path: Path) -> None:
    store = Store(tmp_path)
    _publish(store, 1)
    (store.folder / "CURRENT").write_text("../../elsewhere.duckdb\n", encoding="utf-8")
    assert store.snapshot() is None


def test_a_settled_file_replaces_the_old_one_whole(tmp_path: Path) -> None:
    final, part = tmp_path / "a", tmp_path / "a.part"
    final.write_text("old", encoding="utf-8")
    part.write_text("new", encoding="utf-8")
    settle(part, final)
    assert final.read_text(encoding="utf-8") == "new"
    assert not part.exists()


def test_a_second_holder_is_told_who_is_first_and_waits(tmp_path: Path) -> None:
    """The first lets go when the second is told about it, so nothing here depends on time."""
    store = Store(tmp_path)
    told: list[str] = []
    let_go = threading.Event()
    holding = threading.Event()

    def hold() -> None:
        with store.exclusive():
            holding.set()
            let_go.wait(timeout=30)

    def hear(sentence: str) -> None:
        told.append(sentence)
        let_go.set()

    first = threading.Thread(target=hold)
    first.start()
    assert holding.wait(timeout=30)
    with Store(tmp_path).exclusive(hear):
        assert let_go.is_set()
    first.join()

    assert len(told) == 1
    who = rf"process {os.getpid()}, since \S+\+00:00"
    assert re.fullmatch(rf"Another ingest \({who}\) is at work in this fleet folder; waiting for it to end.", told[0])


def test_the_lock_is_free_again_after_an_error(tmp_path: Path) -> None:
    store = Store(tmp_path)
    with pytest.raises(KeyError), store.exclusive():
        raise KeyError
    with store.exclusive(lambda _: pytest.fail("the lock is still held")):
        pass


def test_no_connection_draws_a_progress_bar_among_the_answers(tmp_path: Path) -> None:
    with open_writable(tmp_path / "some.duckdb") as writable:
        asked = "select distinct value from duckdb_settings() where name like 'enable_progress_bar%'"
        sessions = (scratch(), writable, in_utc_and_silent(writable.cursor()))
        assert [db.execute(asked).fetchall() for db in sessions] == [[("false",)]] * 3
