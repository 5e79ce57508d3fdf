"""What a backup saved comes back byte for byte, and nothing comes back that was not put in."""

from __future__ import annotations

import json
import shutil
import stat
import warnings
import zipfile
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pytest

from pipeline.backup import MANIFEST, BackupError, backup
from pipeline.logbook import add_note, notes
from pipeline.restore import restore

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.store.conftest import Fleet

START_S = 1_700_000_000.0
TABLES = ("events.runs", "events.signals", "marts.readings", "marts.logs", "marts.engine_logs")


def _content(fleet: Fleet) -> list[Any]:
    return [fleet.rows(f"from {table} order by all") for table in TABLES]


@pytest.fixture
def lived(fleet: Fleet) -> Fleet:
    """A fleet with notes, a schedule, a refused file and a log whose file is gone."""
    fleet.log("heron/gone.csv", start_s=START_S - 86_400)
    fleet.log("heron/one.csv")
    fleet.log("petrel/port/two.csv")
    fleet.write("petrel/empty.csv", "")
    (fleet.folder / "schedule.csv").write_text("boat,departs,note\n", encoding="utf-8")
    add_note(fleet.folder, "heron", None, "remark", "written by hand", datetime(2026, 1, 2, tzinfo=UTC))
    add_note(fleet.folder, "petrel", "port", "cleaned", "throttle body", datetime(2026, 1, 3, tzinfo=UTC))
    fleet.ingest()
    fleet.path("heron/gone.csv").unlink()
    fleet.ingest()
    return fleet


def test_a_whole_backup_gives_the_same_fleet_again(lived: Fleet, tmp_path: Path) -> None:
    backup(lived.folder, tmp_path / "saved.zip", with_samples=True, with_logs=True)
    again = replace(lived, folder=tmp_path / "again")
    restore(tmp_path / "saved.zip", again.folder)
    assert again.counts() == (0, 0, 2, 1)
    assert _content(again) == _content(lived)
    assert notes(again.folder) == notes(lived.folder)
    for name in ("fleet.toml", "schedule.csv", "inbox/heron/one.csv"):
        assert (again.folder / name).read_bytes() == (lived.folder / name).read_bytes()
        assert (again.folder / name).stat().st_mtime_ns == (lived.folder / name).stat().st_mtime_ns


def test_a_small_backup_with_the_inbox_beside_it_gives_the_same_tables(lived: Fleet, tmp_path: Path) -> None:
    """All but the log whose file is gone: its samples were not saved."""
    backup(lived.folder, tmp_path / "saved.zip")
    again = replace(lived, folder=tmp_path / "again")
    restore(tmp_path / "saved.zip", again.folder)
    shutil.copytree(lived.folder / "inbox", again.folder / "inbox", dirs_exist_ok=True)
    again.ingest()
    assert again.listed() == [each for each in lived.listed() if each[0] != "heron/gone.csv"]
    assert again.spans() == [each for each in lived.spans() if each[1] != "heron/gone.csv"]
    assert notes(again.folder) == notes(lived.folder)


def test_a_backup_of_a_fleet_without_a_store_holds_what_there_is(fleet: Fleet, tmp_path: Path) -> None:
    assert backup(fleet.folder, tmp_path / "saved.zip", with_samples=True, with_logs=True) == 1
    assert not fleet.store.folder.exists()
    with pytest.raises(BackupError, match="no fleet folder"):
        backup(tmp_path / "elsewhere", tmp_path / "other.zip")


def test_a_damaged_logbook_is_not_saved_as_if_it_were_sound(lived: Fleet, tmp_path: Path) -> None:
    path = lived.folder / "logbook.sqlite"
    path.write_bytes(path.read_bytes()[:100] + b"\x55" * 5000)
    with pytest.raises(BackupError, match="is damaged"):
        backup(lived.folder, tmp_path / "saved.zip")
    assert list(tmp_path.glob("saved*")) == []


def test_a_folder_that_holds_something_is_refused_unless_told_and_then_kept_beside(
    lived: Fleet, tmp_path: Path
) -> None:
    backup(lived.folder, tmp_path / "saved.zip", with_samples=True, with_logs=True)
    before, later = _content(lived), datetime(2026, 2, 3, tzinfo=UTC)
    add_note(lived.folder, "heron", None, "remark", "written after the backup", later)
    with pytest.raises(BackupError, match="not empty"):
        restore(tmp_path / "saved.zip", lived.folder)
    restore(tmp_path / "saved.zip", lived.folder, replace=True)
    lived.ingest()
    assert _content(lived) == before
    assert len(notes(lived.folder)) == 2
    kept = tmp_path / "kept"
    kept.mkdir()
    shutil.copyfile(lived.folder / "logbook.sqlite.before-restore", kept / "logbook.sqlite")
    assert [note.text for note in notes(kept)][-1] == "written after the backup"
    assert (lived.folder / "store.before-restore" / "ledger.sqlite").exists()
    with pytest.raises(BackupError, match="earlier restore"):
        restore(tmp_path / "saved.zip", lived.folder, replace=True)


def test_a_log_of_the_inbox_is_never_written_over(lived: Fleet, tmp_path: Path) -> None:
    backup(lived.folder, tmp_path / "saved.zip", with_logs=True)
    changed = lived.log("heron/one.csv", seconds=60).read_bytes()
    with pytest.raises(BackupError, match="other bytes"):
        restore(tmp_path / "saved.zip", lived.folder, replace=True)
    assert lived.path("heron/one.csv").read_bytes() == changed
    assert not list(lived.folder.glob("*.before-restore"))


Document = dict[str, Any]
Change = "Callable[[Document, dict[str, bytes]], None]"


def _forged(saved: Path, change: Callable[[Document, dict[str, bytes]], None], mode: int = stat.S_IFREG) -> Path:
    """A backup rewritten after `change` had its way with its manifest and files."""
    with zipfile.ZipFile(saved) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    document = json.loads(files.pop(MANIFEST))
    change(document, files)
    target = saved.with_name("forged.zip")
    with zipfile.ZipFile(target, "w") as archive:
        for name, data in files.items():
            info = zipfile.ZipInfo("placeholder")
            info.filename, info.external_attr = name, (mode | 0o644) << 16
            archive.writestr(info, data)
        archive.writestr(MANIFEST, json.dumps(document))
    return target


def _slip(name: str) -> Callable[[Document, dict[str, bytes]], None]:
    """A file of another name: the manifest tells of it, size and digest are right."""

    def change(document: Document, files: dict[str, bytes]) -> None:
        document["files"][name] = document["files"]["schedule.csv"]
        files[name] = files["schedule.csv"]

    return change


TRICKS = [
    "../outside.csv", "inbox/../../outside.csv", "/outside.csv", "inbox//outside.csv", "inbox/./outside.csv",
    "inbox\\..\\..\\outside.csv", "inbox/C:outside.csv", "outside.csv", "store/CURRENT", "store/working.duckdb",
    "inbox/",
]  # fmt: skip


@pytest.mark.parametrize("name", TRICKS)
def test_a_name_that_has_no_place_in_a_fleet_folder_is_refused(lived: Fleet, tmp_path: Path, name: str) -> None:
    backup(lived.folder, tmp_path / "saved.zip")
    forged = _forged(tmp_path / "saved.zip", _slip(name))
    with pytest.raises(BackupError, match="no file of a fleet folder"):
        restore(forged, tmp_path / "deep" / "again")
    assert not list(tmp_path.rglob("*outside*"))
    assert not (tmp_path / "deep").exists()


def test_a_link_in_place_of_a_file_is_refused(lived: Fleet, tmp_path: Path) -> None:
    backup(lived.folder, tmp_path / "saved.zip")
    forged = _forged(tmp_path / "saved.zip", lambda _document, _files: None, stat.S_IFLNK)
    with pytest.raises(BackupError, match="no file of a fleet folder"):
        restore(forged, tmp_path / "again")


def _change_a_byte(_: Document, files: dict[str, bytes]) -> None:
    files["fleet.toml"] = files["fleet.toml"].replace(b"petrel", b"patrel")


def _add_a_file(_: Document, files: dict[str, bytes]) -> None:
    files["inbox/heron/more.csv"] = b"time,rpm"


def _leave_a_file_out(_: Document, files: dict[str, bytes]) -> None:
    del files["logbook.sqlite"]


def _grow_a_file(_: Document, files: dict[str, bytes]) -> None:
    files["schedule.csv"] += b"x" * 10_000_000


def _leave_the_register_out(document: Document, files: dict[str, bytes]) -> None:
    del files["fleet.toml"], document["files"]["fleet.toml"]


def _be_newer(document: Document, _: dict[str, bytes]) -> None:
    document["store"] += 1


def _be_of_a_newer_format(document: Document, _: dict[str, bytes]) -> None:
    document["format"] += 1


def _say_nothing(document: Document, _: dict[str, bytes]) -> None:
    document.clear()


FORGERIES = [
    (_change_a_byte, "checksum differs"),
    (_add_a_file, "does not hold the files"),
    (_leave_a_file_out, "does not hold the files"),
    (_grow_a_file, "checksum differs"),
    (_leave_the_register_out, "holds no fleet.toml"),
    (_be_newer, "newer version"),
    (_be_of_a_newer_format, "newer version"),
    (_say_nothing, "no backup of Morning Watch"),
]


@pytest.mark.parametrize(("change", "said"), FORGERIES, ids=lambda each: getattr(each, "__name__", None))
def test_a_backup_that_is_not_what_it_says_changes_nothing(
    lived: Fleet, tmp_path: Path, change: Callable[[Document, dict[str, bytes]], None], said: str
) -> None:
    backup(lived.folder, tmp_path / "saved.zip")
    forged = _forged(tmp_path / "saved.zip", change)
    again = tmp_path / "again"
    again.mkdir()
    with pytest.raises(BackupError, match=said):
        restore(forged, again)
    assert list(again.iterdir()) == []


def test_a_file_twice_under_one_name_is_refused(lived: Fleet, tmp_path: Path) -> None:
    backup(lived.folder, tmp_path / "saved.zip")
    with warnings.catch_warnings(action="ignore"), zipfile.ZipFile(tmp_path / "saved.zip", "a") as archive:
        archive.writestr("fleet.toml", "another")
    with pytest.raises(BackupError, match="does not hold the files"):
        restore(tmp_path / "saved.zip", tmp_path / "again")


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9, 0.999])
def test_a_backup_that_is_cut_off_is_refused(lived: Fleet, tmp_path: Path, share: float) -> None:
    backup(lived.folder, tmp_path / "saved.zip", with_samples=True)
    whole = (tmp_path / "saved.zip").read_bytes()
    (tmp_path / "saved.zip").write_bytes(whole[: int(len(whole) * share)])
    with pytest.raises(BackupError, match="no backup that can be read"):
        restore(tmp_path / "saved.zip", tmp_path / "again")
