"""One boat whose logs hold next to nothing: every screen opens, and says what is missing instead of guessing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipeline.catalogue import indicators
from pipeline.ingest import ingest
from pipeline.register import load_register

SCREENS = ("morning", "boat", "engine", "season", "trace", "logs", "logbook", "method")

FLEET = """
[fleet]
name = "One"
timezone = "Pacific/Auckland"

[[boat]]
id = "petrel"
name = "Petrel"

[[boat.engine]]
id = "main"
"""

LOG = "time,rpm\n" + "".join(f"{tenth / 10},{620 + tenth % 7}\n" for tenth in range(1200))


@pytest.fixture(scope="module")
def one_boat(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("one")
    (folder / "fleet.toml").write_text(FLEET, encoding="utf-8")
    (folder / "inbox" / "petrel").mkdir(parents=True)
    (folder / "inbox" / "petrel" / "2026-06-14_0700.csv").write_text(LOG, encoding="utf-8")
    assert ingest(load_register(folder, frozenset(indicators()))).taken == 1
    return folder


@pytest.mark.parametrize("screen", SCREENS)
def test_every_screen_opens_on_one_boat_with_engine_speed_alone(opened: Any, one_boat: Path, screen: str) -> None:
    shown = opened(one_boat, screen, boat="petrel", engine="main")
    assert f"<h1>{screen.capitalize()}</h1>" in shown.html
    assert "nan" not in shown.text.lower().split()


def test_what_no_log_shows_is_said(opened: Any, one_boat: Path) -> None:
    assert "no log ever held what is needed" in opened(one_boat, "boat", boat="petrel").text
    assert "Not logged: idle neutral, shift forward, shift neutral, shift reverse, warm" in opened(one_boat).text


def test_a_boat_of_which_nothing_can_be_judged_is_not_known_to_be_ready(opened: Any, one_boat: Path) -> None:
    text = opened(one_boat).text
    assert "The boat may not go. It is not known." in text
    assert "neither what shifting nor what idling is judged by" in text
    assert "0 ● Ready" in " ".join(text.split())
