"""What may stand in an inbox and is no log: pipes, sockets, links out of it, names that move the cursor, deep nests.

Nothing of it is opened, each has its one status, and the logs beside it are taken.
"""

from __future__ import annotations

import os
import socket
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline.inbox_files import MOST_FOLDERS_DEEP, scan

if TYPE_CHECKING:
    from tests.store.conftest import Fleet


def refused(fleet: Fleet) -> dict[str, str]:
    """File → reason of what an ingest refuses, beside one good log that it takes."""
    fleet.log("petrel/port/good.csv")
    result = fleet.ingest()
    assert result.taken == 1
    return {each.file.removeprefix("inbox/"): each.reason for each in result.refused}


def test_a_named_pipe_is_refused_and_never_opened_as_that_would_wait_for_ever(fleet: Fleet) -> None:
    fleet.path("petrel").mkdir(parents=True)
    os.mkfifo(fleet.path("petrel/pipe.csv"))
    assert "a named pipe" in refused(fleet)["petrel/pipe.csv"]


def test_a_socket_is_refused(fleet: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = fleet.path("petrel")
    folder.mkdir(parents=True)
    monkeypatch.chdir(folder)  # a socket's path may have a hundred letters only
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind("live.csv")
    assert "a socket" in refused(fleet)["petrel/live.csv"]


@pytest.mark.parametrize("target", ["../../fleet.toml", "/dev/zero", "/dev/stdin"])
def test_a_link_out_of_the_inbox_is_refused_and_not_followed(fleet: Fleet, target: str) -> None:
    fleet.path("petrel").mkdir(parents=True)
    fleet.path("petrel/link.csv").symlink_to(target)
    assert "a link out of it" in refused(fleet)["petrel/link.csv"]


def test_a_folder_that_is_a_link_out_of_the_inbox_is_refused_as_a_whole(fleet: Fleet, tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "secret.csv").write_text("time,rpm\n0,600\n1,610\n")
    fleet.path("petrel").mkdir(parents=True)
    fleet.path("petrel/more").symlink_to(outside)
    assert list(refused(fleet)) == ["petrel/more"]


def test_a_link_to_a_log_of_the_inbox_is_the_same_log(fleet: Fleet) -> None:
    log = fleet.log("petrel/port/one.csv")
    fleet.path("petrel/port/again.csv").symlink_to(log)
    result = fleet.ingest()
    assert (result.taken, result.known, result.refused) == (1, 1, ())


def test_a_circle_of_links_is_not_walked(fleet: Fleet) -> None:
    fleet.log("petrel/port/one.csv")
    fleet.path("petrel/port/round").symlink_to(fleet.path("petrel"))
    result = fleet.ingest()
    assert (result.taken, result.known, result.refused) == (1, 0, ())


def test_a_link_that_leads_nowhere_is_refused(fleet: Fleet) -> None:
    fleet.path("petrel").mkdir(parents=True)
    fleet.path("petrel/gone.csv").symlink_to(fleet.path("petrel/never.csv"))
    assert list(refused(fleet)) == ["petrel/gone.csv"]


def test_a_folder_called_like_a_log_is_a_folder(fleet: Fleet) -> None:
    fleet.log("petrel/port/2026.csv/one.csv")
    assert fleet.ingest().taken == 1


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("a\nb.csv", "a\\nb.csv"),
        ("a\x1b[2Jb.csv", "a\\x1b[2Jb.csv"),
        ("a\u202evsc.exe.csv", "a\\u202evsc.exe.csv"),
        ("a\u2028b.csv", "a\\u2028b.csv"),
    ],
)
def test_a_name_that_would_move_the_cursor_is_refused_and_shown_as_its_codes(
    fleet: Fleet, name: str, shown: str
) -> None:
    fleet.log(f"petrel/{name}")
    reasons = refused(fleet)
    assert list(reasons) == [f"petrel/{shown}"]
    assert "Rename the file." in reasons[f"petrel/{shown}"]


@pytest.mark.parametrize("name", ["Törn 3.csv", "日誌.csv", "a\u202fb.csv", "it's; drop table logs.csv", "=1+1.csv"])
def test_a_name_of_any_letters_is_taken(fleet: Fleet, name: str) -> None:
    fleet.log(f"petrel/port/{name}")
    assert fleet.ingest().taken == 1


def test_folders_nested_without_end_are_refused_at_a_depth(fleet: Fleet) -> None:
    deep = "petrel/" + "/".join(["a"] * (MOST_FOLDERS_DEEP + 40))
    fleet.log(f"{deep}/one.csv")
    (reason,) = refused(fleet).values()
    assert f"{MOST_FOLDERS_DEEP} folders or fewer" in reason


def test_a_folder_that_cannot_be_listed_is_named(fleet: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    closed = fleet.log("petrel/port/one.csv").parent
    listed = os.scandir

    def guarded(folder: str) -> object:
        if folder == str(closed):
            raise PermissionError(13, "Permission denied", folder)
        return listed(folder)

    monkeypatch.setattr(os, "scandir", guarded)
    (found,) = scan(fleet.folder)
    assert found.trouble is not None
    assert (found.file, found.trouble.got) == ("inbox/petrel/port", "Permission denied")


def test_limits_of_the_register_reach_the_reader_and_a_raised_one_reads_the_log_again(fleet: Fleet) -> None:
    register = (fleet.folder / "fleet.toml").read_text(encoding="utf-8")
    fleet.log("petrel/port/one.csv", seconds=50)
    fleet.register(f"{register}\n[reading]\nmax_rows = 10\n")
    (refusal,) = fleet.ingest().refused
    assert "expected at most 10, got" in refusal.reason
    assert "max_rows" in refusal.reason
    fleet.register(f"{register}\n[reading]\nmax_rows = 1000\n")
    assert fleet.ingest().taken == 1
