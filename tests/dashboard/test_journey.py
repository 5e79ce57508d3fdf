"""One walk through the app in a real browser, on a phone far from the fleet; left out where there is no Chromium."""

from __future__ import annotations

import shutil
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

APP = Path(__file__).parents[2] / "dashboard" / "app.py"
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

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")


def _free_port() -> int:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return int(taken.getsockname()[1])


@pytest.fixture(scope="module")
def address(fleet_folder: Path) -> Iterator[str]:
    """The app on a free port of this machine alone."""
    port = _free_port()
    command = [sys.executable, "-m", "streamlit", "run", str(APP), f"--server.port={port}", "--", str(fleet_folder)]
    server = subprocess.Popen(  # noqa: S603 - our own interpreter and app
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    try:
        assert server.stdout is not None
        next(line for line in server.stdout if "URL" in line)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.kill()  # it waits for browsers that are gone when asked politely
        server.wait()


@pytest.fixture
def phone() -> Iterator[Any]:
    """A page 390 px wide in a browser that lives in another time zone; it remembers what it asked of whom."""
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_context(viewport={"width": 390, "height": 844}, timezone_id="America/Lima").new_page()
        page.asked = []
        page.on("request", lambda request: page.asked.append(request.url))
        yield page
        browser.close()


def _is_wider_than_the_screen(page: Any) -> bool:
    return bool(page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth > window.innerWidth"))


def test_from_the_answer_to_the_samples_on_a_phone(phone: Any, address: str) -> None:
    expect = playwright.expect
    phone.goto(f"{address}/?as_of=2026-06-15T06:00")
    expect(phone.get_by_text("of 3 boats may go")).to_be_visible(timeout=60_000)
    expect(phone.get_by_text("Before you run an engine")).to_be_visible()
    assert not _is_wider_than_the_screen(phone)

    phone.get_by_role("link", name="Curlew", exact=True).click()
    expect(phone.locator(".mw-name", has_text="Curlew")).to_be_visible()
    assert not _is_wider_than_the_screen(phone)

    phone.get_by_role("link", name="port ›").first.click()
    expect(phone.locator(".mw-name", has_text="Curlew, port")).to_be_visible()
    expect(phone.locator("[data-testid=stVegaLiteChart] svg").first).to_be_visible()
    assert not _is_wider_than_the_screen(phone)

    phone.get_by_role("link", name="newest log behind it ›").first.click()
    shown = phone.locator("[data-testid=stVegaLiteChart] svg").first
    expect(shown).to_be_visible()
    began = phone.locator("p b").first.inner_text()  # such as Sun 14 Jun 2026 07:12, in the fleet's zone
    # the axis tells the fleet's hour though the browser is in Lima, six hours behind
    expect(shown).to_contain_text(f"{began[-5:-3]}:")
    expect(phone.get_by_text("Traceback")).to_have_count(0)
    assert not _is_wider_than_the_screen(phone)

    assert [url for url in phone.asked if not url.startswith((address, "data:", "blob:"))] == []


def test_nobody_else_can_reach_the_app(address: str) -> None:
    with urllib.request.urlopen(f"{address}/_stcore/health") as answer:  # noqa: S310 - our own address
        assert answer.read() == b"ok"
    port = int(address.rpartition(":")[2])
    with socket.socket() as outsider:
        outsider.settimeout(2)
        # another address of the loop: a server bound to every address would answer
        assert outsider.connect_ex(("127.0.0.2", port)) != 0
