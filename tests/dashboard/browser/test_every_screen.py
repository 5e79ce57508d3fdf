"""Every screen in a browser: it can be read and used by everybody, asks nobody else for anything, runs nobody's markup.

Access by the axe-core rules (WCAG 2.2 A and AA among them); the narrowest screen is a phone's 390 px.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

import pytest

from .conftest import FIXED, IMAGE, LINK, MORNING, drawn
from .visits import SCREENS, Visit, visit

Visits = Callable[..., Visit]


@pytest.fixture(scope="session")
def visits(open_page: Any) -> Visits:
    """The visit to each screen, made once; the browser is far from the fleet."""
    from axe_playwright_python.sync_playwright import Axe  # noqa: PLC0415

    axe = Axe()

    @cache
    def of(screen: str, boat: str, engine: str) -> Visit:
        asked = {"as_of": MORNING, "boat": boat, "engine": engine}
        page = open_page("" if screen == "morning" else screen, parameters=asked, timezone_id="America/Lima")
        return visit(page, axe)

    return lambda screen, boat="curlew", engine="port": of(screen, boat, engine)


each_screen = pytest.mark.parametrize("screen", SCREENS)


@each_screen
def test_axe_finds_nothing_serious_light_or_dark(visits: Visits, screen: str) -> None:
    assert visits(screen).wrong == []


def test_what_is_folded_is_opened_by_keyboard_and_axe_finds_nothing_in_it(open_page: Any) -> None:
    from axe_playwright_python.sync_playwright import Axe  # noqa: PLC0415

    page = open_page("engine", parameters={"as_of": MORNING, "boat": "curlew", "engine": "port", "section": "Shifting"})
    before = page.get_by_test_id("stVegaLiteChart").count()
    page.locator("summary", has_text="Transit time against").focus()
    page.keyboard.press("Enter")
    page.get_by_test_id("stVegaLiteChart").nth(before + 1).wait_for()
    drawn(page)
    assert visit(page, Axe()).wrong == []


@each_screen
def test_nothing_sticks_out_sideways(visits: Visits, screen: str) -> None:
    assert visits(screen).wide == []


@each_screen
def test_headings_are_in_order_and_title_and_language_are_told(visits: Visits, screen: str) -> None:
    found = visits(screen)
    levels = [int(name[1]) for name, _ in found.headings]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert found.headings[0][1] == screen.capitalize()
    assert found.title == f"{screen.capitalize()}, Morning Watch"
    assert found.lang == "en"


@each_screen
def test_nobody_else_is_asked_for_anything(visits: Visits, address: str, screen: str) -> None:
    asked = visits(screen).asked
    own = urlsplit(address).netloc
    assert asked
    assert [url for url in asked if not url.startswith(("data:", "blob:")) and urlsplit(url).netloc != own] == []


@each_screen
def test_a_screen_opened_by_its_address_logs_no_error(visits: Visits, screen: str) -> None:
    assert visits(screen).errors == []


def test_from_a_screen_opened_by_its_address_the_others_are_reached(open_page: Any, address: str) -> None:
    page = open_page("engine", parameters={"boat": "curlew", "engine": "port"})
    page.get_by_test_id("stTopNavLink").filter(has_text="Season").click()
    page.get_by_role("heading", name="Season", exact=True, level=1).wait_for()
    assert urlsplit(page.url).path == "/season"
    page.reload()
    page.get_by_role("heading", name="Season", exact=True, level=1).wait_for()
    assert page.url.startswith(address)


@pytest.mark.parametrize(
    ("screen", "boat", "engine"),
    [*((screen, "curlew", "port") for screen in SCREENS), ("boat", "odd", "main"), ("engine", "odd", "main")],
)
def test_nobodys_markup_is_run(visits: Visits, screen: str, boat: str, engine: str) -> None:
    found = visits(screen, boat, engine)
    assert found.harm == {"taken": None, "images": 0, "links": 0, "scripts": 0}
    assert "Traceback" not in found.text


def test_harmful_names_and_notes_are_shown_as_they_were_written(visits: Visits) -> None:
    assert IMAGE in visits("morning").text
    assert f"{IMAGE} {LINK} {FIXED}" in visits("boat").text
    assert f"{IMAGE} {LINK} {FIXED}" in visits("logbook").text
    assert IMAGE in visits("boat", "odd", "main").text
    refused = visits("logs").text
    assert [name for name in (IMAGE, LINK, FIXED.replace("/", "_")) if f"inbox/odd/{name}.csv" not in refused] == []


def test_times_are_the_fleets_whatever_the_browsers_zone(visits: Visits, open_page: Any) -> None:
    parameters = {"as_of": MORNING, "boat": "curlew", "engine": "port"}
    far = visits("engine")
    near = open_page("engine", parameters=parameters, timezone_id="Pacific/Kiritimati")
    assert near.locator("[data-testid=stMain]").inner_text() == far.text
    assert "06:00 IST" in far.text
    assert re.search(r"\b\d\d Jun\b", far.text)  # a label of an axis


@pytest.mark.parametrize(
    ("screen", "parameters", "said"),
    [
        ("boat", {"boat": "curlow"}, "There is no boat 'curlow' in the register."),
        ("engine", {"boat": "curlew", "engine": "<b>"}, "Curlew has no engine '<b>'"),
        ("season", {"indicator": IMAGE}, f"There is no reading of '{IMAGE}'"),
        ("trace", {"boat": "curlew", "log": LINK}, f"There is no log '{LINK}' of this engine"),
        ("", {"as_of": IMAGE}, f"'{IMAGE}' in the address is no date and no time"),
    ],
)
def test_an_address_that_names_nothing_is_said_and_never_run(
    open_page: Any, screen: str, parameters: dict[str, str], said: str
) -> None:
    page = open_page(screen, parameters={name: quote(value) for name, value in parameters.items()})
    page.get_by_text(said).first.wait_for()
    assert page.evaluate("document.body.dataset.taken ?? null") is None
    assert page.locator("img[src=x]").count() == 0


def test_the_folder_is_told_to_nobody(visits: Visits, odd_fleet: Path) -> None:
    assert [screen for screen in SCREENS if str(odd_fleet) in visits(screen).text] == []
