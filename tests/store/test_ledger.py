"""The ledger keeps what it was told and lets go of a log exactly when nothing stands for it any more."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

import pytest

from pipeline.ledger import EngineLogEntry, FileEntry, Ledger, LedgerError, LogEntry
from pipeline.problems import Problem
from pipeline.store import STORE_VERSION

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

PROBLEM = Problem("inbox/a.csv", 3, "cut_last_row", "18 fields", "7 fields", "Nothing to do.")
FILE = FileEntry("inbox/a.csv", 10, 20, "taken", "f00d", "key", (PROBLEM,))
LOG = LogEntry("f00d", "key", "petrel", "inbox/a.csv", 1.5, 2.5, 100, 1, 2, is_start_assumed=True)
SAMPLES = EngineLogEntry("petrel/port", "f00d", "samples/petrel/port/f00d.parquet", 99, ("rpm", "lambda"))


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    with Ledger(tmp_path / "ledger.sqlite") as opened:
        yield opened


def test_what_is_recorded_is_read_back(ledger: Ledger, tmp_path: Path) -> None:
    ledger.record(FILE, LOG, [SAMPLES])
    with Ledger(tmp_path / "ledger.sqlite") as again:
        assert again.files() == {"inbox/a.csv": FILE}
        assert again.logs() == {"f00d": LOG}
        assert again.engine_logs() == (SAMPLES,)


def test_it_is_written_ahead_so_that_readers_and_a_writer_do_not_wait(ledger: Ledger, tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "ledger.sqlite") as db:
        assert db.execute("pragma journal_mode").fetchone() == ("wal",)


def test_a_log_goes_with_the_last_file_that_held_its_bytes(ledger: Ledger) -> None:
    ledger.record(FILE, LOG, [SAMPLES])
    ledger.record(FILE._replace(file="inbox/b.csv"))
    ledger.record(FILE._replace(log_id="beef"))
    assert ledger.logs() == {"f00d": LOG}
    ledger.record(FILE._replace(file="inbox/b.csv", status="refused"))
    assert ledger.logs() == {}
    assert ledger.engine_logs() == ()
    assert ledger.discarded() == (SAMPLES.samples,)


def test_a_log_outlives_a_file_that_was_cleared_away(ledger: Ledger) -> None:
    ledger.record(FILE, LOG, [SAMPLES])
    ledger.absent([FILE.file])
    ledger.record(FILE._replace(log_id="beef"))
    assert ledger.logs() == {"f00d": LOG}


def test_samples_written_again_are_not_removed(ledger: Ledger) -> None:
    ledger.record(FILE, LOG, [SAMPLES])
    ledger.record(FILE._replace(log_id="beef"))
    ledger.record(FILE, LOG, [SAMPLES])
    assert ledger.discarded() == ()


def test_samples_read_again_for_another_engine_leave_the_first_ones_to_be_removed(ledger: Ledger) -> None:
    ledger.record(FILE, LOG, [SAMPLES])
    ledger.record(FILE, LOG, [SAMPLES._replace(engine_id="petrel/starboard", samples="samples/other.parquet")])
    assert ledger.discarded() == (SAMPLES.samples,)
    ledger.forget_discarded([SAMPLES.samples])
    assert ledger.discarded() == ()


def test_a_refused_file_that_is_gone_is_forgotten(ledger: Ledger) -> None:
    ledger.record(FILE._replace(status="refused"))
    ledger.absent([FILE.file])
    assert ledger.files() == {}


def test_the_revision_rises_only_with_what_a_reader_could_see(ledger: Ledger) -> None:
    ledger.record(FILE, LOG, [SAMPLES])
    before = ledger.revision()
    ledger.seen([(FILE.file, 11, 21)])
    assert ledger.revision() == before
    assert ledger.files()[FILE.file] == FILE._replace(size_bytes=11, modified_ns=21)
    ledger.moved("f00d", "inbox/b.csv")
    assert ledger.revision() > before


def test_an_entry_with_a_problem_of_another_version_is_left_out_so_that_the_file_is_read_again(
    ledger: Ledger, tmp_path: Path
) -> None:
    ledger.record(FILE)
    with sqlite3.connect(tmp_path / "ledger.sqlite") as db:
        db.execute("update files set problems = replace(problems, 'cut_last_row', 'no_such_code')")
    assert ledger.files() == {}


def test_a_ledger_of_a_newer_version_is_refused_with_the_way_out(tmp_path: Path) -> None:
    Ledger(tmp_path / "ledger.sqlite")
    with sqlite3.connect(tmp_path / "ledger.sqlite") as db:
        db.execute(f"pragma user_version = {STORE_VERSION + 1}")
    with pytest.raises(LedgerError, match="delete the store folder"):
        Ledger(tmp_path / "ledger.sqlite")


def test_a_damaged_ledger_says_so_when_opened(tmp_path: Path) -> None:
    (tmp_path / "ledger.sqlite").write_bytes(b"not a database " * 1000)
    with pytest.raises(sqlite3.DatabaseError):
        Ledger(tmp_path / "ledger.sqlite")
