"""The app as a test drives it: on a small simulated fleet that is built and ingested once, and on other folders."""

from __future__ import annotations

import json
import re
import shutil
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl

import altair as alt
import pytest
from streamlit.components.v2 import manifest_scanner
from streamlit.testing.v1 import AppTest

import demo_fleet
from pipeline.catalogue import indicators
from pipeline.ingest import ingest
from pipeline.register import Register, load_register

APP = Path(__file__).parents[2] / "dashboard" / "app.py"

MAIN = sys.modules["__main__"]
"""The program that runs the tests. Every run of the app puts itself in its place."""

LAST_DAY = date(2026, 6, 14)
MORNING = "2026-06-15T06:00"
"""The morning after the last simulated day."""


@pytest.fixture(scope="session", autouse=True)
def _no_search_for_components() -> Iterator[None]:
    """Spare every run of the app the search through all installed packages for widgets; the app has none of them."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(manifest_scanner, "scan_component_manifests", list)
        yield


@pytest.fixture(autouse=True)
def _own_main() -> Iterator[None]:
    """Put the program back, or every process that a later test starts would first import the whole app again."""
    yield
    sys.modules["__main__"] = MAIN


@dataclass(frozen=True)
class Screen:
    """A screen that has been run, as a person sees it."""

    app: AppTest

    @property
    def html(self) -> str:
        """All markup as one text, the style sheet left out."""
        bodies = [each.proto.body for each in self._every("html")]
        return "\n".join(body for body in bodies if not body.startswith("<style"))

    @property
    def text(self) -> str:
        """What can be read, without the markup."""
        return unescape(re.sub(r"<[^>]+>", " ", self.html))

    @property
    def links(self) -> list[tuple[str, str, dict[str, str]]]:
        """The links to other screens: label, screen, query parameters; those inside markup first."""
        inside = re.findall(r'<a href="(\w+)\?([^"]*)"[^>]*>([^<]*)</a>', self.html)
        found = [each.proto for each in self._every("page_link")]
        return [
            *((unescape(label), page, dict(parse_qsl(unescape(query)))) for page, query, label in inside),
            *((each.label, each.page, dict(parse_qsl(each.query_string))) for each in found),
        ]

    @property
    def charts(self) -> list[dict[str, Any]]:
        """The specifications of the charts, top to bottom, each checked against Vega-Lite's schema."""
        found = [json.loads(each.proto.spec) for each in self._every("vega_lite_chart")]
        for spec in found:
            alt.Chart.from_dict(spec)
        return found

    def again(self) -> Screen:
        """Run it once more, as after a click; a trace is a failed test."""
        self.app.run()
        assert not self.app.exception, self.app.exception[0].message
        return self

    def _every(self, kind: str) -> list[Any]:
        return list(self.app.get(kind))


Opened = Callable[..., Screen]


@pytest.fixture(scope="session")
def fleet_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three boats, eight days, read. Tests that write use `own_folder`."""
    folder = tmp_path_factory.mktemp("dashboard") / "fleet"
    demo_fleet.build(folder, boats=3, days=8, last_day=LAST_DAY)
    ingest(load_register(folder, frozenset(indicators())))
    return folder


@pytest.fixture(scope="session")
def register(fleet_folder: Path) -> Register:
    return load_register(fleet_folder, frozenset(indicators()))


@pytest.fixture
def own_folder(fleet_folder: Path, tmp_path: Path) -> Path:
    """A copy of the fleet that the test may write into."""
    return Path(shutil.copytree(fleet_folder, tmp_path / "fleet"))


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Opened:
    """Opens a screen on a fleet folder and runs it; parameters go into the address."""

    def open_screen(folder: Path, screen: str = "morning", **parameters: str | None) -> Screen:
        monkeypatch.setattr(sys, "argv", [str(APP), str(folder)])
        app = AppTest.from_file(APP, default_timeout=60)
        for name, value in {"as_of": MORNING, **parameters}.items():
            if value is not None:
                app.query_params[name] = value
        if screen != "morning":
            app.switch_page(f"screens/{screen}.py")
        return Screen(app).again()

    return open_screen
