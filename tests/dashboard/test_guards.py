"""What a screen shows where there is nothing to show: no file, no boats, no logs, unknown names in the address."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

SCREENS = ("morning", "boat", "engine", "season", "trace", "logs", "logbook", "method")

ONE_BOAT = """
[fleet]
name = "One"
timezone = "Pacific/Auckland"

[[boat]]
id = "petrel"
name = "Petrel"

[[boat.engine]]
id = "main"
"""


@pytest.mark.parametrize("screen", SCREENS)
def test_every_screen_says_what_to_do_before_anything_was_read(opened: Any, tmp_path: Path, screen: str) -> None:
    (tmp_path / "fleet.toml").write_text(ONE_BOAT, encoding="utf-8")
    shown = opened(tmp_path, screen)
    assert "No log has been read yet" in shown.text
    assert f"morningwatch ingest --fleet {tmp_path}" in shown.text
    assert not shown.charts
    ways = [(page, where.get("part")) for _, page, where in shown.links]
    assert ways == ([] if screen == "logs" else [("logs", "bring in a log")])


@pytest.mark.parametrize("screen", SCREENS)
def test_every_screen_opens_on_a_fleet_that_has_logs(opened: Any, fleet_folder: Path, screen: str) -> None:
    shown = opened(fleet_folder, screen, boat="curlew")
    assert f"<h1>{screen.capitalize()}</h1>" in shown.html
    assert "simulated data" in shown.text
    assert "06:00 IST" in shown.text  # the fleet's zone, whatever the machine's


@pytest.mark.parametrize("screen", ["boat", "engine", "trace", "logbook"])
def test_an_unknown_boat_in_the_address_is_said_and_no_other_boat_is_shown(
    opened: Any, fleet_folder: Path, screen: str
) -> None:
    shown = opened(fleet_folder, screen, boat="curlow")
    assert "There is no boat 'curlow' in the register. Did you mean curlew?" in shown.text
    assert "mw-finding" not in shown.html
    assert not shown.charts


def test_an_unknown_engine_in_the_address_is_said(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "engine", boat="curlew", engine="center")
    assert "Curlew has no engine 'center'" in shown.text


def test_an_unknown_indicator_in_the_address_is_said(opened: Any, fleet_folder: Path) -> None:
    assert "no reading of 'horsepower'" in opened(fleet_folder, "season", indicator="horsepower").text
    assert "no indicator 'horsepower'" in opened(fleet_folder, "method", indicator="horsepower").text


def test_an_unknown_log_in_the_address_is_said(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "trace", boat="curlew", engine="port", log="inbox/curlew/none.csv")
    assert "There is no log 'inbox/curlew/none.csv' of this engine" in shown.text


def test_a_moment_that_is_none_is_said_and_the_present_shown(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, as_of="yesterday")
    assert "'yesterday' in the address is no date and no time" in shown.text
    assert "Replay" not in shown.text


def test_a_fleet_without_boats_says_how_to_get_one(opened: Any, tmp_path: Path) -> None:
    (tmp_path / "fleet.toml").write_text('[fleet]\nname = "None"\ntimezone = "UTC"\n', encoding="utf-8")
    assert "No boats yet" in opened(tmp_path).text


def test_a_fleet_file_that_cannot_be_read_is_said_with_its_line(opened: Any, tmp_path: Path) -> None:
    (tmp_path / "fleet.toml").write_text(ONE_BOAT + "colour = 3\n", encoding="utf-8")
    shown = opened(tmp_path)
    assert "The fleet file cannot be read" in shown.text
    assert "fleet.toml, line 12" in shown.text


def test_a_folder_without_a_fleet_file_is_said(opened: Any, tmp_path: Path) -> None:
    assert "The fleet file cannot be read" in opened(tmp_path).text


@pytest.mark.parametrize("screen", SCREENS)
def test_before_the_first_log_every_screen_still_opens(opened: Any, fleet_folder: Path, screen: str) -> None:
    shown = opened(fleet_folder, screen, as_of="2020-01-01T06:00", boat="dunlin")
    assert "as of Wed 1 Jan 2020, 06:00" in shown.text
    assert not shown.charts or screen == "season"


def test_before_the_first_log_no_boat_is_ready(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, as_of="2020-01-01T06:00")
    assert "None of the 3 boats may go. 3 are not known." in shown.text
