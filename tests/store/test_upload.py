"""Names that come from elsewhere, and how a brought log is saved beside what is there."""

from __future__ import annotations

import gzip
import os
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import zstandard
from hypothesis import given
from hypothesis import strategies as st

from pipeline.inbox_files import scan
from pipeline.proposal import propose
from pipeline.readers.packed import RATIO_FROM
from pipeline.register import load_register
from pipeline.upload import look, safe_name, save, with_start

if TYPE_CHECKING:
    from collections.abc import Callable

REGISTER = """
[fleet]
name = "One"
timezone = "UTC"

[[boat]]
id = "petrel"

[[boat.engine]]
id = "port"

[[boat.engine]]
id = "starboard"
"""
LOG = b"time,rpm\n" + b"".join(b"%d,600\n" % second for second in range(60))


@pytest.fixture
def fleet(tmp_path: Path) -> Path:
    (tmp_path / "fleet.toml").write_text(REGISTER, encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        ("2026-06-14_0710.csv", "2026-06-14_0710.csv"),
        ("Törn 3 (Mai).csv", "Törn 3 (Mai).csv"),
        ("../../x.csv", "x.csv"),
        ("/etc/passwd", "passwd"),
        ("C:\\logs\\x.csv", "x.csv"),
        ("..", "log"),
        ("", "log"),
        ("x\0.csv", "x.csv"),
        ("x\n.csv", "x.csv"),
        ("\u202evsc.exe.csv", "vsc.exe.csv"),
        (".hidden.csv", "hidden.csv"),
        (".csv", "log.csv"),
        ("~$x.csv", "$x.csv"),
        ("CON", "log_CON"),
        ("nul.csv", "log_nul.csv"),
        ("COM1.tar.csv", "log_COM1.tar.csv"),
        ('a:b?"c".csv', "a_b__c_.csv"),
        ("x.csv. .", "x.csv"),
        ("x.csv.part", "x_csv_part_"),
        ("x.tmp", "x_tmp_"),
        ("x.csv~", "x_csv_"),
    ],
)
def test_a_name_becomes_one_that_stays_in_its_folder(sent: str, kept: str) -> None:
    assert safe_name(sent) == kept


def test_a_name_that_is_too_long_keeps_its_ending() -> None:
    kept = safe_name("ö" * 400 + ".csv.gz")
    assert kept.endswith("ö.csv.gz")
    assert len(kept.encode()) <= 120


@given(st.text(max_size=300) | st.binary(max_size=300).map(lambda each: each.decode("utf-8", "surrogateescape")))
def test_whatever_it_is_called_the_inbox_sees_it_and_its_name_is_settled(name: str) -> None:
    kept = safe_name(name)
    assert safe_name(kept) == kept
    assert Path(kept).name == kept
    assert not kept.startswith(".")
    assert not kept.lower().endswith((".part", ".tmp", ".crdownload", "~"))
    assert len(os.fsencode(kept)) <= 200


def test_a_start_goes_before_the_name() -> None:
    assert with_start("../x.csv", datetime(2026, 6, 14, 7, 10, tzinfo=UTC)) == "2026-06-14_071000_x.csv"


def test_a_saved_log_is_whole_and_leaves_no_trace_of_the_writing(fleet: Path) -> None:
    register = load_register(fleet)
    names = [save(register, "petrel", "port", "x.csv.gz", content) for content in (b"one", b"two", b"three")]
    assert names == [f"inbox/petrel/port/x{number}.csv.gz" for number in ("", "-2", "-3")]
    assert [(fleet / name).read_bytes() for name in names] == [b"one", b"two", b"three"]
    assert set((fleet / "inbox/petrel/port").iterdir()) == {fleet / name for name in names}


def test_where_the_file_system_has_no_links_nothing_is_written_over_either(
    fleet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr("pipeline.upload.os.link", no_links)
    register = load_register(fleet)
    names = [save(register, "petrel", None, "x.csv", content) for content in (b"one", b"two")]
    assert names == ["inbox/petrel/x.csv", "inbox/petrel/x-2.csv"]
    assert [(fleet / name).read_bytes() for name in names] == [b"one", b"two"]
    assert len(scan(fleet)) == 2


def test_a_log_goes_to_a_boat_and_an_engine_of_the_register_only(fleet: Path) -> None:
    with pytest.raises(KeyError):
        save(load_register(fleet), "../petrel", None, "x.csv", LOG)
    with pytest.raises(KeyError):
        save(load_register(fleet), "petrel", "../port", "x.csv", LOG)
    assert not (fleet / "inbox").exists()


def test_a_log_is_looked_at_as_it_would_be_read_where_it_goes(fleet: Path) -> None:
    register = load_register(fleet)
    whole, one = look(register, "petrel", None, "a.csv", LOG), look(register, "petrel", "port", "a.csv", LOG)
    assert whole.status == "bad"
    assert whole.reason is not None
    assert "which engine" in whole.reason
    assert one.status == "good"
    assert one.trial is not None
    assert [(each.engine, each.runs, each.channels) for each in one.trial.engines] == [("port", 1, ("rpm",))]
    assert list(fleet.iterdir()) == [fleet / "fleet.toml"], "nothing was left behind"


LIMITED = f"{REGISTER}\n[reading]\nmax_mb = 1\n"
"""Raw rows of more than a megabyte pack to a fifth of it."""
LONG_LOG = b"time,rpm\n" + b"".join(b"%d,%d\n" % (second, second * 7919 % 6000) for second in range(150_000))
BOMB = LOG + b"\n" * (RATIO_FROM + 1_000_000)


def _open_files() -> set[str]:
    return {str(each.readlink()) for each in Path("/proc/self/fd").iterdir() if each.is_symlink()}


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="this system does not list open files there")
@pytest.mark.parametrize("pack", [gzip.compress, zstandard.compress], ids=["gz", "zst"])
@pytest.mark.parametrize(
    ("content", "register", "said"),
    [(BOMB, REGISTER, "the archive is no log's"), (LONG_LOG, LIMITED, "more than 1 MB when unpacked")],
    ids=["bomb", "beyond max_mb"],
)
def test_what_a_small_archive_becomes_is_held_to_the_readers_limits_and_nothing_stays_open(
    fleet: Path, pack: Callable[[bytes], bytes], content: bytes, register: str, said: str
) -> None:
    (fleet / "fleet.toml").write_text(register, encoding="utf-8")
    known = load_register(fleet)
    name = f"2026-06-14_0710.csv.{'gz' if pack is gzip.compress else 'zst'}"
    look(known, "petrel", "port", "a.csv", LOG)  # what is opened once and kept is open now
    before = _open_files()

    looked = look(known, "petrel", "port", name, pack(content))

    assert looked.status == "bad"
    assert said in str(looked.reason)
    assert {file for file in _open_files() - before if "morningwatch" in file or ".csv" in file} == set()
    assert list(fleet.iterdir()) == [fleet / "fleet.toml"]


@pytest.mark.parametrize("pack", [gzip.compress, zstandard.compress], ids=["gz", "zst"])
def test_a_map_is_proposed_within_the_fleets_own_limits(
    fleet: Path, tmp_path_factory: pytest.TempPathFactory, pack: Callable[[bytes], bytes]
) -> None:
    (fleet / "fleet.toml").write_text(LIMITED, encoding="utf-8")
    log = tmp_path_factory.mktemp("sent") / f"2026-06-14_0710.csv.{'gz' if pack is gzip.compress else 'zst'}"
    log.write_bytes(pack(LONG_LOG))

    (problem,) = propose(log, limits=load_register(fleet).reading).problems

    assert problem.code == "too_large"
    assert propose(log).problems == (), "the usual limits hold it"
