"""A log brought in by hand on the Logs screen: looked at first, then saved and read, or refused with its reason."""

from __future__ import annotations

import fcntl
from datetime import date, time
from pathlib import Path
from typing import Any

import pytest

from pipeline.ingest import ingest
from pipeline.register import load_register
from pipeline.store import Store

PART = "bring in a log"
BAD = b"time,apples\n" + b"".join(b"%d,3\n" % second for second in range(30))


@pytest.fixture
def log(own_folder: Path) -> bytes:
    """The first hundred seconds of a log of Curlew: other bytes than any in the inbox."""
    path = min((own_folder / "inbox" / "curlew").glob("*.csv"))
    return b"\n".join(path.read_bytes().splitlines()[:2000]) + b"\n"


def _brought(opened: Any, folder: Path, name: str, content: bytes, boat: str = "curlew") -> Any:
    shown = opened(folder, "logs", as_of=None, part=PART, boat=boat)
    shown.app.file_uploader[0].set_value((name, content, "text/csv"))
    return shown.again()


def _press(shown: Any, label: str) -> Any:
    next(each for each in shown.app.button if each.label == label).click()
    return shown.again()


def _words(shown: Any) -> str:
    return " ".join(shown.text.split())


def _files(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in (folder / "inbox").rglob("*") if path.is_file()}


def test_a_good_log_is_looked_at_then_saved_and_read(opened: Any, own_folder: Path, log: bytes) -> None:
    before, edition = _files(own_folder), Store(own_folder).snapshot()
    looked = _brought(opened, own_folder, "2026-06-14_1830.csv", log)
    assert "As 2026-06-14_1830.csv it would be taken." in looked.text
    assert "port from Sun 14 Jun 2026 18:30: 2 min, 1 run, 5 shifts" in _words(looked)
    assert _files(own_folder) == before, "looking changes nothing"

    kept = _press(looked, "Save and read it")

    assert "inbox/curlew/2026-06-14_1830.csv is saved and read. 1 log taken" in kept.text
    assert "Curlew now:" in _words(kept)
    assert _files(own_folder) - before == {"inbox/curlew/2026-06-14_1830.csv"}
    assert (own_folder / "inbox/curlew/2026-06-14_1830.csv").read_bytes() == log
    assert Store(own_folder).snapshot() != edition
    assert not kept.app.file_uploader[0].value, "the next log can be chosen"
    assert ingest(load_register(own_folder)).taken == 0, "it was read already"


def test_a_bad_log_says_why_and_is_not_saved(opened: Any, own_folder: Path) -> None:
    before = _files(own_folder)
    shown = _brought(opened, own_folder, "2026-06-14_1830.csv", BAD)
    assert "2026-06-14_1830.csv would be refused" in _words(shown)
    assert "no column holds a channel" in shown.text
    assert "saved" not in shown.text
    assert [each.label for each in shown.app.button if each.proto.type == "primary"] == []
    assert _files(own_folder) == before


def test_a_bad_log_is_kept_if_somebody_asks_for_it_and_its_reason_stays(opened: Any, own_folder: Path) -> None:
    kept = _press(_brought(opened, own_folder, "2026-06-14_1830.csv", BAD), "Save it all the same")
    assert "is saved and refused" in _words(kept)
    assert "no column holds a channel" in kept.text
    listed = opened(own_folder, "logs", as_of=None)
    assert "inbox/curlew/2026-06-14_1830.csv" in listed.text


def test_the_same_bytes_are_known_and_nothing_is_saved(opened: Any, own_folder: Path) -> None:
    log = min((own_folder / "inbox" / "curlew").glob("*.csv"))
    before = _files(own_folder)
    shown = _brought(opened, own_folder, "another name.csv", log.read_bytes(), boat="dunlin")
    assert f"Known already: inbox/curlew/{log.name} in the inbox has the same bytes." in shown.text
    assert "saved" not in shown.text
    assert [each.label for each in shown.app.button if each.label.startswith("Save")] == []
    assert _files(own_folder) == before


def test_no_file_is_written_over(opened: Any, own_folder: Path, log: bytes) -> None:
    taken = max((own_folder / "inbox" / "curlew").glob("*.csv"))
    old = taken.read_bytes()
    kept = _press(_brought(opened, own_folder, taken.name, log), "Save and read it")
    assert f"inbox/curlew/{taken.stem}-2.csv is saved and read." in kept.text
    assert taken.read_bytes() == old


def test_a_name_that_tries_to_leave_the_inbox_stays_in_it(opened: Any, own_folder: Path, log: bytes) -> None:
    outside = {path for path in own_folder.parent.rglob("*") if path.is_file() and "store" not in path.parts}
    looked = _brought(opened, own_folder, "../../../2026-06-14_1830 <b>x</b>.csv", log)
    assert "<b>x</b>" not in looked.html
    _press(looked, "Save and read it")
    now = {path for path in own_folder.parent.rglob("*") if path.is_file() and "store" not in path.parts}
    (new,) = now - outside
    assert new.parent == own_folder / "inbox" / "curlew"


def test_a_name_with_markup_is_shown_as_it_is(opened: Any, own_folder: Path) -> None:
    content = b"time,<img src=x onerror=alert(1)>,**bold**\n" + b"1,2,3\n" * 9
    shown = _brought(opened, own_folder, "a&b *c* :anchor: [d](e).csv", content)
    assert "a&b _c_ _anchor_ [d](e).csv would be refused" in _words(shown)
    assert "&lt;img src=x onerror=alert(1)&gt;" in shown.html
    assert "<img" not in shown.html


def test_a_log_that_does_not_say_when_it_began_can_be_told(opened: Any, own_folder: Path, log: bytes) -> None:
    shown = _brought(opened, own_folder, "download.csv", log)
    assert "Neither the log nor its name says when it began." in shown.text
    shown.app.date_input(key="began_day").set_value(date(2026, 6, 14))
    shown.app.time_input(key="began_time").set_value(time(18, 30))
    told = shown.again()
    assert "As 2026-06-14_183000_download.csv it would be taken." in told.text
    assert "from Sun 14 Jun 2026 18:30" in told.text


def test_while_another_ingest_is_at_work_the_log_is_saved_and_that_is_said(
    opened: Any, own_folder: Path, log: bytes
) -> None:
    looked = _brought(opened, own_folder, "2026-06-14_1830.csv", log)
    with (own_folder / "store" / "ingest.lock").open("a+") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        kept = _press(looked, "Save and read it")
    assert "is saved, but not read yet. Another ingest is at work in this fleet folder" in kept.text
    assert (own_folder / "inbox/curlew/2026-06-14_1830.csv").exists()
    assert "1 log taken" in _press(kept, "Read the inbox now").text


def test_where_nothing_may_be_written_that_is_said_and_nothing_changes(
    opened: Any, own_folder: Path, log: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked = _brought(opened, own_folder, "2026-06-14_1830.csv", log)
    before = _files(own_folder)
    monkeypatch.setattr("pipeline.upload.os.fsync", _read_only)
    shown = _press(looked, "Save and read it")
    assert "Not saved:" in shown.text
    assert "Read-only file system" in shown.text
    assert _files(own_folder) == before


def _read_only(_: int) -> None:
    raise OSError(30, "Read-only file system")


def test_the_first_log_of_a_new_fleet_can_be_brought_in(opened: Any, tmp_path: Path) -> None:
    register = '[fleet]\nname = "One"\ntimezone = "UTC"\n[[boat]]\nid = "petrel"\n[[boat.engine]]\nid = "main"\n'
    (tmp_path / "fleet.toml").write_text(register, encoding="utf-8")
    log = "time,rpm\n" + "".join(f"{second},600\n" for second in range(60))
    looked = _brought(opened, tmp_path, "2026-06-14_0710.csv", log.encode(), boat="petrel")
    kept = _press(looked, "Save and read it")
    assert "inbox/petrel/2026-06-14_0710.csv is saved and read." in kept.text
    assert "No log has been read yet" not in kept.text


def test_no_boat_is_taken_for_granted(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "logs", part=PART)
    assert "Choose whose log it is." in shown.text
    assert not shown.app.file_uploader
