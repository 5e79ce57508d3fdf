"""A full disk, a file that may not be read, one that goes while it is read: it is said, and put right afterwards."""

from __future__ import annotations

import os
import shutil
import subprocess
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from pipeline import intake
from pipeline.ingest import ingest
from pipeline.register import load_register
from pipeline.store import StoreError
from pipeline.take import take

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.store.conftest import Fleet

START_S = 1_700_000_000.0
NOBODY = 65534

TABLES = ("events.runs", "events.signals", "marts.readings", "marts.logs", "marts.engine_logs")


def _content(fleet: Fleet) -> list[Any]:
    return [*(fleet.rows(f"from {table} order by all") for table in TABLES), fleet.samples()]


@contextmanager
def _disk(folder: Path, kilobytes: int) -> Iterator[None]:
    """A disk of so many kB mounted on a folder."""
    folder.mkdir(parents=True)
    command = ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(folder)]
    if subprocess.run(command, capture_output=True, check=False).returncode != 0:  # noqa: S603 - a fixed command
        pytest.skip("a small disk cannot be mounted without the rights of the system's owner")
    try:
        yield
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)  # noqa: S603, S607 - a fixed command


def _enlarge(folder: Path) -> None:
    subprocess.run(["mount", "-o", "remount,size=64m", str(folder)], check=True)  # noqa: S603, S607 - a fixed command


def _two_days(fleet: Fleet) -> None:
    for number in range(6):
        fleet.log(f"heron/{number}.csv", start_s=START_S + number * 3600, seconds=4000)


def test_an_ingest_on_a_full_disk_says_so_and_is_completed_once_there_is_room(fleet: Fleet, tmp_path: Path) -> None:
    _two_days(fleet)
    expected = replace(fleet, folder=tmp_path / "expected")
    shutil.copytree(fleet.folder, expected.folder)
    expected.ingest()
    stopped = 0
    for kilobytes in (4, 80, 160, 300, 800, 1400, 2000, 2600):
        full = replace(fleet, folder=tmp_path / f"full_{kilobytes}")
        shutil.copytree(fleet.folder, full.folder)
        with _disk(full.store.folder, kilobytes):
            try:
                full.ingest()
            except StoreError as error:
                stopped += 1
                assert "free space" in str(error) or "cannot be written" in str(error)  # noqa: PT017 - both are right
            _enlarge(full.store.folder)
            full.ingest()
            assert _content(full) == _content(expected)
            assert full.counts() == (0, 0, 6, 0)
    assert stopped > 4, "hardly any of these disks was full: the sizes no longer test anything"


def test_a_disk_that_fills_up_in_the_morning_leaves_yesterday_to_be_read(fleet: Fleet, tmp_path: Path) -> None:
    fleet.log("heron/yesterday.csv", start_s=START_S - 86_400)
    fleet.ingest()
    before, yesterday = _content(fleet), tmp_path / "yesterday"
    shutil.copytree(fleet.store.folder, yesterday)
    _two_days(fleet)
    fleet.ingest()
    expected = _content(fleet)
    shutil.rmtree(fleet.store.folder)
    used = sum(path.stat().st_size for path in yesterday.rglob("*") if path.is_file()) // 1024
    stopped = 0
    for spare in (24, 120, 300, 1200, 2000):
        with _disk(fleet.store.folder, used + spare):
            shutil.copytree(yesterday, fleet.store.folder, dirs_exist_ok=True)
            try:
                fleet.ingest()
            except StoreError:
                stopped += 1
                assert _content(fleet)[:-1] == before[:-1]
            _enlarge(fleet.store.folder)
            fleet.ingest()
            assert _content(fleet) == expected
        fleet.store.folder.rmdir()
    assert stopped > 2, "hardly any of these disks was full: the sizes no longer test anything"


@contextmanager
def _without_rights(fleet: Fleet) -> Iterator[None]:
    """Nobody's rights for a while: the system's owner may read what is forbidden to all others."""
    if os.geteuid() != 0:
        yield
        return
    # what Python imports when it is first needed may lie where only the system's owner may read
    load_register(fleet.folder)
    for path in (fleet.folder, *fleet.folder.rglob("*")):
        os.chown(path, NOBODY, NOBODY)
    parents = [path for path in fleet.folder.parents if path.stat().st_mode & 0o777 == 0o700]
    for path in parents:
        path.chmod(0o711)
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)
        for path in parents:
            path.chmod(0o700)


def test_a_file_without_the_right_to_read_it_is_refused_until_it_has(fleet: Fleet) -> None:
    closed = fleet.log("heron/closed.csv")
    fleet.log("heron/open.csv", start_s=START_S + 7200)
    with _without_rights(fleet):
        closed.chmod(0)
        first = fleet.ingest()
        assert [refusal.file for refusal in first.refused] == ["inbox/heron/closed.csv"]
        assert "Permission denied" in first.refused[0].reason
        assert first.taken == 1
        closed.chmod(0o600)
        assert fleet.counts() == (1, 0, 1, 0)


def test_a_known_log_stays_while_its_changed_file_may_not_be_read(fleet: Fleet) -> None:
    fleet.log("heron/one.csv", seconds=5)
    with _without_rights(fleet):
        fleet.ingest()
        path = fleet.log("heron/one.csv", seconds=60)
        path.chmod(0)
        assert fleet.counts() == (0, 0, 0, 1)
        assert fleet.spans() == [("heron/main", "heron/one.csv", 6)]
        path.chmod(0o600)
        assert fleet.counts() == (0, 1, 0, 0)
        assert fleet.spans() == [("heron/main", "heron/one.csv", 61)]


def test_a_folder_that_may_not_be_read_is_named_and_its_logs_stay(fleet: Fleet) -> None:
    folder = fleet.log("heron/deep/one.csv").parent
    with _without_rights(fleet):
        fleet.ingest()
        folder.chmod(0)
        closed = fleet.ingest()
        assert [refusal.file for refusal in closed.refused] == ["inbox/heron/deep"]
        assert len(fleet.spans()) == 1
        folder.chmod(0o700)
        assert fleet.counts() == (0, 0, 1, 0)


def test_a_store_that_may_not_be_written_is_said_and_taken_into_afterwards(fleet: Fleet) -> None:
    fleet.log("heron/one.csv")
    fleet.store.folder.mkdir()
    with _without_rights(fleet):
        fleet.store.folder.chmod(0o500)
        with pytest.raises(StoreError, match="Permission denied"):
            fleet.ingest()
        fleet.store.folder.chmod(0o700)
        assert fleet.counts() == (1, 0, 0, 0)


@pytest.mark.parametrize("gone", ["before it is named", "before it is read"])
def test_a_file_that_goes_while_it_is_read_and_comes_back_is_taken(
    fleet: Fleet, monkeypatch: pytest.MonkeyPatch, gone: str
) -> None:
    path, kept = fleet.log("heron/one.csv"), fleet.folder / "kept"
    name = "identify" if gone == "before it is named" else "take"
    with monkeypatch.context() as patched:
        original = getattr(intake, name)

        def go_first(job: Any) -> Any:
            path.replace(kept)
            return original(job)

        patched.setattr(intake, name, go_first)
        first = fleet.ingest()
    assert [refusal.file for refusal in first.refused] == ["inbox/heron/one.csv"]
    assert "No such file" in first.refused[0].reason
    kept.replace(path)
    assert fleet.counts() == (1, 0, 0, 0)


def test_a_disk_that_fails_the_samples_is_no_fault_of_the_log(fleet: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    fleet.log("heron/one.csv")
    with monkeypatch.context() as patched:
        patched.setattr(intake, "take", lambda job: take(replace(job, store_folder=Path("/proc"))))
        with pytest.raises(StoreError, match="cannot be written"):
            ingest(load_register(fleet.folder))
    assert fleet.counts() == (1, 0, 0, 0)
