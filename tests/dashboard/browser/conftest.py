"""The app in a real browser: one server as people start it, one Chromium, for all tests of this folder.

The fleet is the small simulated one, and beside its boats one whose names, files and notes are written to do harm.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from pipeline.catalogue import indicators
from pipeline.ingest import ingest
from pipeline.logbook import add_note
from pipeline.register import load_register

CHROMIUM = shutil.which("chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SERVE = [sys.executable, "-c", "from pipeline.cli import main; main()", "serve"]

IMAGE = "<img src=x onerror=document.body.dataset.taken=1>"
LINK = "[x](javascript:document.body.dataset.taken=1)"
FIXED = "**b** :red[r] $x$ <b>b</b>"

BOAT = f"""
[[boat]]
id = "odd"
name = "{IMAGE}"

[[boat.engine]]
id = "main"
label = "{LINK}"
serial = "{IMAGE}"
"""

MORNING = "2026-06-15T06:00"

Open = Callable[..., Any]


@pytest.fixture(scope="session")
def playwright() -> Iterator[Any]:
    """Playwright and a Chromium, or a visible reason; where CI is set, their absence is a failure."""
    missing = "no chromium on this machine" if CHROMIUM is None else None
    try:
        from playwright.sync_api import sync_playwright  # noqa: PLC0415
    except ImportError:
        missing = "playwright is not installed"
    if missing:
        (pytest.fail if os.environ.get("CI") else pytest.skip)(missing)
    with sync_playwright() as started:
        yield started


@pytest.fixture(scope="session")
def browser(playwright: Any) -> Iterator[Any]:
    found = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
    yield found
    found.close()


@pytest.fixture(scope="session")
def odd_fleet(fleet_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The simulated fleet, and a boat that means harm."""
    folder = Path(shutil.copytree(fleet_folder, tmp_path_factory.mktemp("browser") / "fleet"))
    register = folder / "fleet.toml"
    register.write_text(register.read_text(encoding="utf-8") + BOAT, encoding="utf-8")
    inbox = folder / "inbox" / "odd"
    inbox.mkdir()
    for name in (IMAGE, LINK, FIXED.replace("/", "_")):
        (inbox / f"{name}.csv").write_text(f"{name},{IMAGE}\n1,2\n", encoding="utf-8")
    ingest(load_register(folder, frozenset(indicators())))
    at = datetime(2026, 6, 14, 12, tzinfo=UTC)
    add_note(folder, "odd", None, "remark", f"{IMAGE} {LINK} {FIXED}", at, author=IMAGE)
    add_note(folder, "curlew", "port", "remark", f"{IMAGE} {LINK} {FIXED}", at, author=LINK)
    return folder


@contextmanager
def serving(folder: Path, *, port: int = 0, where: Path | None = None) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The command `serve` on a free port, or on this one, started in a folder; and the address it prints."""
    command = [*SERVE, "--port", str(port), "--fleet", str(folder)]
    server = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, cwd=where)  # noqa: S603 - our own command
    try:
        assert server.stderr is not None
        told = next(line for line in server.stderr if "http" in line)
        yield server, re.findall(r"http://\S+", told)[0]
    finally:
        server.send_signal(signal.SIGTERM)
        server.wait(30)


@pytest.fixture(scope="session")
def address(playwright: Any, odd_fleet: Path) -> Iterator[str]:
    with serving(odd_fleet) as (_, url):
        yield url


@pytest.fixture(scope="session")
def open_page(browser: Any, address: str) -> Iterator[Open]:
    """Opens a screen and waits until it is drawn; the page remembers what it asked of whom."""
    contexts: list[Any] = []

    def open_screen(screen: str = "", *, width: int = 1440, dark: bool = False, **more: Any) -> Any:
        parameters = more.pop("parameters", {"as_of": MORNING})
        scheme = "dark" if dark else "light"
        context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme, **more)
        contexts.append(context)
        page = context.new_page()
        page.asked, page.errors = [], []
        page.on("console", lambda said: page.errors.append(said.text) if said.type == "error" else None)
        page.on("request", lambda request: page.asked.append(request.url))
        page.on("websocket", lambda socket: page.asked.append(socket.url))
        query = "&".join(f"{name}={value}" for name, value in parameters.items())
        page.goto(f"{address}/{screen}?{query}")
        drawn(page)
        return page

    yield open_screen
    for context in contexts:
        context.close()


DRAWN = """() => !document.querySelector('[data-testid=stSkeleton]')
    && [...document.querySelectorAll('[data-testid=stVegaLiteChart]')].every(each => each.querySelector('svg.marks'))"""
"""No part is still on its way, and every picture stands."""


def drawn(page: Any) -> None:
    """Wait until the screen is there whole: its heading, no script at work, and every picture."""
    page.locator("h1").first.wait_for(timeout=60_000)
    page.locator('.stApp[data-test-script-state="notRunning"]').wait_for(timeout=60_000)
    page.wait_for_function(DRAWN, timeout=60_000)
