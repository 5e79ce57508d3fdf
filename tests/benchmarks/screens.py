"""How long the screens of a big fleet take in Chromium, as ratios to an empty page served on the same machine.

Run: python tests/benchmarks/screens.py [--folder FOLDER] [--boats 200] [--engines 3] [--days 200] [--rounds 5]
The fleet is drawn once a day into the folder and kept there. Every figure is the median of the rounds of one run.
"""

from __future__ import annotations

import argparse
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import drawn_store
from playwright.sync_api import Page, sync_playwright

from pipeline.store import Store
from pipeline.trace import log_named, stretch_of, trace

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]
SERVE = [sys.executable, "-c", "from pipeline.cli import main; main()", "serve", "--port", "0", "--fleet"]
EMPTY = 'import streamlit as st\nst.html("<h1>Empty</h1>")\n'
SCREENS = ("Boat", "Engine", "Season", "Trace", "Logs", "Logbook", "Method", "Morning")
SECTIONS = ("Idle", "Fuel", "Response", "Evidence", "Shifting")
HEADINGS = {
    "Shifting": "Reach error",
    "Idle": "Integral against temperature",
    "Fuel": "Fuel trim at idle",
    "Response": "Stalls",
    "Evidence": "What the newest logs hold",
}
FOLDS = ("Transit time against voltage and temperature", "The newest shifts laid over the first ones")
STILL = '.stApp[data-test-script-state="notRunning"]'
DRAWN = """() => !document.querySelector('[data-testid=stSkeleton]')
    && [...document.querySelectorAll('[data-testid=stVegaLiteChart]')].every(each => each.querySelector('svg.marks'))"""
MOST_POINTS = 2000


def main() -> None:
    """Print the figures of one run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "morning-watch-screens")
    parser.add_argument("--boats", type=int, default=200)
    parser.add_argument("--engines", type=int, default=3)
    parser.add_argument("--days", type=int, default=200)
    parser.add_argument("--rounds", type=int, default=5)
    asked = parser.parse_args()
    folder = asked.folder / f"{asked.boats}x{asked.engines}x{asked.days}-{datetime.now(UTC):%Y-%m-%d}"
    drawn_store.build(folder, asked.boats, asked.engines, asked.days)
    print(f"{asked.boats} boats x {asked.engines} engines x {asked.days} days, median of {asked.rounds} rounds")
    _long_log(folder, asked.rounds)
    with sync_playwright() as started, _served(folder) as app, _empty() as empty:
        browser = started.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        _say("judged for the first time", _timed(lambda: _opened(page, app)), None)
        yardstick = _median(asked.rounds, lambda _: _opened(page, empty))
        _say("an empty page (the yardstick)", yardstick, None)
        _say("Morning ready", _median(asked.rounds, lambda _: _opened(page, app)), yardstick)
        print(f"  markup of Morning: {len(page.content()) / 1e6:.2f} MB")
        _clicks(page, app, asked.rounds, yardstick)
        browser.close()


def _clicks(page: Page, app: str, rounds: int, yardstick: float) -> None:
    """From screen to screen by the navigation, each round with another boat, so that nothing of it is cached."""
    took: dict[str, list[float]] = {}
    for number in range(rounds):
        boat = f"b{number * 17 + 3:03}"
        _opened(page, f"{app}/logbook?boat={boat}")
        for screen in SCREENS:
            took.setdefault(screen, []).append(_timed(lambda to=screen: _turned(page, to)))
        _opened(page, f"{app}/engine?boat={boat}&engine=e1&section=Shifting")
        for section in SECTIONS:
            took.setdefault(f"Engine, {section}", []).append(_timed(lambda to=section: _looked(page, to)))
        for fold in FOLDS:
            took.setdefault(f"Engine, {fold}", []).append(_timed(lambda to=fold: _unfolded(page, to)))
    for screen, each in took.items():
        _say(f"click to {screen}", statistics.median(each), yardstick)


def _opened(page: Page, url: str) -> None:
    page.goto(url)
    page.locator("h1").first.wait_for(timeout=120_000)
    _settled(page)


def _turned(page: Page, screen: str) -> None:
    page.get_by_test_id("stTopNavLink").filter(has_text=re.compile(f"^{screen}$")).click()
    page.get_by_role("heading", name=screen, exact=True, level=1).wait_for(timeout=60_000)
    _settled(page)


def _looked(page: Page, section: str) -> None:
    """At a section of the Engine screen."""
    page.get_by_role("radio", name=section, exact=True).click()
    page.get_by_role("heading", name=HEADINGS[section], exact=True).wait_for(timeout=60_000)
    _settled(page)


def _unfolded(page: Page, fold: str) -> None:
    before = page.get_by_test_id("stVegaLiteChart").count()
    page.get_by_text(fold).click()
    page.get_by_test_id("stVegaLiteChart").nth(before).wait_for(timeout=60_000)
    _settled(page)


def _settled(page: Page) -> None:
    """Nothing runs, and every picture stands."""
    page.locator(STILL).wait_for(timeout=120_000)
    page.wait_for_function(DRAWN, timeout=60_000)
    if page.get_by_test_id("stException").count():
        raise ValueError(page.get_by_test_id("stException").first.inner_text())


def _long_log(folder: Path, rounds: int) -> None:
    """The server's part of a trace of ten million samples: what a first look reads, and how many points it draws."""
    store = Store(folder)
    as_of = datetime.now(UTC)
    place = log_named(store.reader(), "b000/e0", as_of, drawn_store.LONG_LOG)
    if place is None:
        raise LookupError(drawn_store.LONG_LOG)
    samples = store.samples_path(place.samples)
    channels = ("shift_position", "shift_target", "rpm", "rpm_target")
    zone = ZoneInfo("UTC")
    whole = stretch_of(place, None, None)
    for name, shown in (("whole", whole), ("an hour of it", whole.held(place.from_s, 3600))):
        took = _median(rounds, lambda _, at=shown: trace(store.reader(), samples, at, channels, zone))
        most = int(trace(store.reader(), samples, shown, channels, zone).groupby("channel").size().max())
        print(f"  trace of {drawn_store.LONG_ROWS:,} samples, {name}: {took:.2f} s, at most {most} points a line")
        if most > MOST_POINTS:
            raise ValueError(f"more than {MOST_POINTS} points a line")


@contextmanager
def _served(folder: Path) -> Iterator[str]:
    with subprocess.Popen([*SERVE, str(folder)], stderr=subprocess.PIPE, text=True) as server:  # noqa: S603
        try:
            yield _address(server.stderr)
        finally:
            server.terminate()


@contextmanager
def _empty() -> Iterator[str]:
    with tempfile.TemporaryDirectory() as folder:
        script = Path(folder) / "empty.py"
        script.write_text(EMPTY, encoding="utf-8")
        options = ["--server.port=0", "--server.headless=true", "--browser.gatherUsageStats=false"]
        command = [sys.executable, "-m", "streamlit", "run", str(script), "--server.address=127.0.0.1", *options]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:  # noqa: S603
            try:
                yield _address(server.stdout)
            finally:
                server.kill()


def _address(told: Any) -> str:
    return next(found[0] for line in told if (found := re.search(r"http://\S+", line)))


def _timed(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def _median(rounds: int, work: Callable[[int], object]) -> float:
    return statistics.median(_timed(lambda at=number: work(at)) for number in range(rounds))


def _say(what: str, seconds: float, yardstick: float | None) -> None:
    ratio = "" if yardstick is None else f", {seconds / yardstick:.1f} x the yardstick"
    print(f"  {what}: {seconds:.2f} s{ratio}")


if __name__ == "__main__":
    main()
