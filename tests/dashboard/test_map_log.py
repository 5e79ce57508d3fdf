"""A channel map made on the Logs screen: proposed, corrected, tried, saved; then the boat's logs are read by it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.ingest import ingest
from pipeline.register import load_register

PART = "map a log"
NAME = "2026-06-14_1830.csv"
REGISTER = """\
# mine
[fleet]
name = "One"
timezone = "UTC"

[[boat]]
id = "petrel"   # blue
name = "Petrel"

[[boat.engine]]
id = "main"
"""
ROWS = 900
STEADY = np.where(np.arange(ROWS) % 300 < 150, 620, 2400) + np.random.default_rng(3).normal(0, 5, ROWS)
SPEED = np.where(np.arange(ROWS) < 20, 0, STEADY)


def _log(*names: str) -> bytes:
    """Time, a speed, a temperature of something that warms up, and a voltage, at 10 Hz; names as given."""
    rng = np.random.default_rng(2)
    warming = 15 + 65 * (1 - np.exp(-np.arange(ROWS) / 300)) + rng.normal(0, 0.1, ROWS)
    battery = 13.8 + rng.normal(0, 0.05, ROWS)
    rows = zip(np.arange(ROWS) / 10, SPEED, warming, battery, strict=True)
    body = "".join(",".join(f"{each:.2f}" for each in row) + "\n" for row in rows)
    return (",".join(names) + "\n" + body).encode()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A fleet of one boat whose only log was refused, as nobody has said what its columns are."""
    (tmp_path / "fleet.toml").write_text(REGISTER, encoding="utf-8")
    inbox = tmp_path / "inbox" / "petrel"
    inbox.mkdir(parents=True)
    (inbox / NAME).write_bytes(_log("Clock", "K1", "K2", "K3"))
    ingest(load_register(tmp_path))
    return tmp_path


def _shown(opened: Any, folder: Path) -> Any:
    shown = opened(folder, "logs", as_of=None, part=PART, boat="petrel")
    next(each for each in shown.app.selectbox if each.label == "A refused log of the inbox").set_value(
        f"inbox/petrel/{NAME}"
    )
    return shown.again()


def _press(shown: Any, label: str) -> Any:
    next(each for each in shown.app.button if each.label == label).click()
    return shown.again()


def _pick(shown: Any, label: str, value: str) -> Any:
    next(each for each in shown.app.selectbox if each.label == label).set_value(value)
    return shown.again()


def _picked(shown: Any, label: str) -> str:
    return str(next(each.value for each in shown.app.selectbox if each.label == label))


def _words(shown: Any) -> str:
    return " ".join(shown.text.split())


def test_a_refused_log_gets_a_map_and_is_taken_by_it(opened: Any, folder: Path) -> None:
    shown = _shown(opened, folder)
    assert (_picked(shown, "Column of time"), _picked(shown, "Column of rpm")) == ("Clock", "K1")
    assert "Is 'K2' oil_temp or coolant_temp?" in shown.text
    assert _picked(shown, "Column of coolant_temp") == "(none)", "nothing is guessed"

    answered = _pick(shown, "Column of coolant_temp", "K2")
    assert "First readings" not in answered.text
    tried = _press(answered, "Try this map")
    assert "By this map it would be taken." in tried.text
    assert "main from Sun 14 Jun 2026 18:30: 1 min, 1 run" in _words(tried)
    assert "First readings" in tried.text

    saved = _press(tried, "Save the map")
    assert "Channel map petrel is written into fleet.toml. petrel uses it" in saved.text
    text = (folder / "fleet.toml").read_text(encoding="utf-8")
    assert [line for line in REGISTER.splitlines() if line not in text.splitlines()] == []
    register = load_register(folder)
    assert register.boats[0].channel_map == "petrel"
    assert register.channel_maps["petrel"]["coolant_temp"].column == "K2"
    assert ingest(register).taken == 1


def test_a_map_can_be_saved_only_as_it_was_tried(opened: Any, folder: Path) -> None:
    tried = _press(_shown(opened, folder), "Try this map")
    assert any(each.label == "Save the map" for each in tried.app.button)
    changed = _pick(tried, "Unit of rpm", "Hz")
    assert not any(each.label == "Save the map" for each in changed.app.button)


def test_a_map_without_a_time_or_a_channel_cannot_be_tried(opened: Any, folder: Path) -> None:
    shown = _pick(_shown(opened, folder), "Column of time", "(none)")
    assert "A map needs a time and one more channel" in shown.text
    assert not any(each.label == "Try this map" for each in shown.app.button)


def test_names_of_columns_are_shown_as_they_are(opened: Any, folder: Path) -> None:
    shown = opened(folder, "logs", as_of=None, part=PART, boat="petrel")
    content = _log("time", "rpm", "<img src=x onerror=alert(1)>", "**bold** :anchor:")
    shown.app.file_uploader[0].set_value(("<script>.csv", content, "text/csv"))
    after = shown.again()
    assert "<img" not in after.html
    assert "<script" not in after.html
    assert "&lt;img src=x onerror=alert(1)&gt;" in after.html
    assert "**bold** :anchor:" in next(each.options for each in after.app.selectbox if each.label == "Column of rpm")


def test_what_is_no_log_says_so_and_offers_nothing(opened: Any, folder: Path) -> None:
    shown = opened(folder, "logs", as_of=None, part=PART, boat="petrel")
    shown.app.file_uploader[0].set_value(("x.csv", b"\x00\x01\x02", "text/csv"))
    after = shown.again()
    assert "No map can be proposed." in after.text
    assert not any(each.label in {"Try this map", "Save the map"} for each in after.app.button)


def test_where_the_fleet_file_cannot_be_written_that_is_said(
    opened: Any, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried = _press(_shown(opened, folder), "Try this map")
    monkeypatch.setattr("pipeline.register.map_writing.os.fsync", _read_only)
    shown = _press(tried, "Save the map")
    assert "Not saved: fleet.toml cannot be written (Read-only file system)." in shown.text
    assert (folder / "fleet.toml").read_text(encoding="utf-8") == REGISTER


def _read_only(_: int) -> None:
    raise OSError(30, "Read-only file system")


def test_a_name_that_is_taken_is_not_written_over(opened: Any, folder: Path) -> None:
    mine = REGISTER + '\n[channel_map.old]\ntime = { column = "T" }\nrpm = { column = "R" }\n'
    (folder / "fleet.toml").write_text(mine, encoding="utf-8")
    tried = _press(_shown(opened, folder), "Try this map")
    tried.app.text_input(key="map_name:petrel").set_value("old")
    shown = _press(tried.again(), "Save the map")
    assert "a channel map of that name is there already" in shown.text
    assert (folder / "fleet.toml").read_text(encoding="utf-8") == mine


def test_from_a_refused_log_a_click_leads_to_its_map(opened: Any, folder: Path) -> None:
    shown = _press(opened(folder, "logs", as_of=None), "Propose a channel map")
    assert "Map a log" in shown.text
    assert any(each.label == "A refused log of the inbox" for each in shown.app.selectbox)
