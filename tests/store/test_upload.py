"""Names that come from elsewhere, and how a brought log is saved beside what is there."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.inbox_files import scan
from pipeline.register import load_register
from pipeline.upload import look, safe_name, save, with_start

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
