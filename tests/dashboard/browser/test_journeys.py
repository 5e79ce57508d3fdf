"""What people do in the morning, from the first look to the samples, on a phone, by keyboard, with a note or a log."""

from __future__ import annotations

import csv
import re
import signal
import socket
import urllib.request
from pathlib import Path
from typing import Any

import pytest

from pipeline.logbook import notes

from .conftest import MORNING, drawn, serving


@pytest.fixture
def expect(playwright: Any) -> Any:
    from playwright.sync_api import expect  # noqa: PLC0415

    return expect


def test_from_the_answer_to_the_samples_behind_a_hold_on_a_phone(open_page: Any, expect: Any) -> None:
    page = open_page(width=390, timezone_id="America/Lima")
    expect(page.get_by_text("of 4 boats may go")).to_be_visible()
    expect(page.get_by_text("Before you run an engine")).to_be_visible()

    page.get_by_role("link", name="Curlew", exact=True).click()
    expect(page.locator(".mw-name", has_text="Curlew")).to_be_visible()
    page.get_by_role("link", name="port ›").first.click()
    expect(page.locator(".mw-name", has_text="Curlew, port")).to_be_visible()

    page.get_by_role("link", name="newest log behind it ›").first.click()
    expect(page.get_by_role("heading", name="Trace")).to_be_visible()
    expect(page.locator("[data-testid=stVegaLiteChart] svg").first).to_be_visible()
    expect(page.get_by_text("2026-06-14").first).to_be_visible()
    expect(page.get_by_text("Dunlin")).to_have_count(0)


def test_the_held_boat_is_found_and_opened_by_keyboard_alone(open_page: Any, expect: Any) -> None:
    page = open_page()
    expect(page.get_by_role("link", name="Curlew", exact=True)).to_be_visible()
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.innerText") == "Curlew":
            break
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Boat", exact=True)).to_be_visible()
    expect(page.locator(".mw-name", has_text="Curlew")).to_be_visible()
    expect(page.locator(".mw-name", has_text="Dunlin")).to_have_count(0)


def test_the_sheet_that_is_taken_away_has_the_boats_of_the_screen_in_their_order(open_page: Any, expect: Any) -> None:
    page = open_page()
    shown = page.locator(".mw-boats h3 a").all_inner_texts()
    page.get_by_role("button", name="Sheet to print").click()
    with page.expect_download() as taken:
        page.get_by_role("button", name="Table (CSV)").click()
    rows = list(csv.DictReader(taken.value.path().read_text(encoding="utf-8").splitlines()))
    assert list(dict.fromkeys(row["name"] for row in rows if row["name"])) == shown
    assert taken.value.suggested_filename == "morning-2026-06-15.csv"
    expect(page.get_by_text("Traceback")).to_have_count(0)


def test_a_note_that_is_written_stands_on_its_boat(open_page: Any, expect: Any) -> None:
    page = open_page("logbook", parameters={"boat": "dunlin"})
    page.get_by_label("In words").fill("impeller changed *twice*")
    page.get_by_role("button", name="Write the note").click()
    expect(page.get_by_text(re.compile(r"Note \d+ is written"))).to_be_visible()
    page.get_by_role("link", name="Boat", exact=True).click()
    expect(page.locator(".mw-name", has_text="Dunlin")).to_be_visible()
    expect(page.get_by_text("impeller changed *twice*")).to_be_visible()
    expect(page.get_by_text("No note about this boat yet.")).to_have_count(0)


def test_a_log_that_cannot_be_used_is_refused_with_its_reason_and_kept_out(
    open_page: Any, expect: Any, odd_fleet: Path
) -> None:
    page = open_page("logs", parameters={"boat": "garganey"})
    page.get_by_role("radio", name="Bring in a log").click()
    page.locator("input[type=file]").set_input_files(
        {"name": "torn.csv", "mimeType": "text/csv", "buffer": b"this is no log\n"}
    )
    expect(page.get_by_text("torn.csv would be refused")).to_be_visible()
    expect(page.get_by_text("no line of column names was found")).to_be_visible()
    expect(page.get_by_role("button", name="Save and read it")).to_have_count(0)
    assert list((odd_fleet / "inbox").rglob("torn.csv")) == []


def test_another_morning_is_shown_as_it_was_then(open_page: Any, expect: Any) -> None:
    page = open_page(parameters={"as_of": MORNING})
    expect(page.get_by_text("as of Mon 15 Jun 2026, 06:00")).to_be_visible()
    page.get_by_role("button", name="Day before").click()
    expect(page.get_by_text("as of Sun 14 Jun 2026, 06:00")).to_be_visible()
    expect(page.get_by_text("as of Mon 15 Jun")).to_have_count(0)
    page.get_by_role("button", name="Back to now").click()
    expect(page.get_by_text("Replay")).to_have_count(0)
    expect(page).not_to_have_url(re.compile("as_of"))


def test_the_address_in_front_of_somebody_can_be_kept_and_sent(open_page: Any, expect: Any) -> None:
    page = open_page()
    page.get_by_role("link", name="Curlew", exact=True).click()
    expect(page.locator(".mw-name", has_text="Curlew")).to_be_visible()
    kept = page.url
    page.goto("about:blank")
    page.goto(kept)
    drawn(page)
    expect(page.locator(".mw-name", has_text="Curlew")).to_be_visible()
    expect(page.get_by_text("as of Mon 15 Jun 2026, 06:00")).to_be_visible()


def test_nobody_else_can_reach_the_app(address: str) -> None:
    with urllib.request.urlopen(f"{address}/_stcore/health") as answer:  # noqa: S310 - our own address
        assert answer.read() == b"ok"
    with socket.socket() as outsider:
        outsider.settimeout(2)
        # another address of the loop: a server bound to every address would answer
        assert outsider.connect_ex(("127.0.0.2", int(address.rpartition(":")[2]))) != 0


def test_a_page_elsewhere_cannot_reach_in_under_a_name_of_its_own(open_page: Any, address: str) -> None:
    port = address.rpartition(":")[2]
    with socket.create_connection(("127.0.0.1", int(port))) as visitor:
        asked = [
            "GET /_stcore/stream HTTP/1.1",
            f"Host: elsewhere.example:{port}",
            "Upgrade: websocket",
            "Connection: Upgrade",
            "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==",
            "Sec-WebSocket-Version: 13",
        ]
        visitor.sendall("\r\n".join([*asked, "", ""]).encode())
        assert b" 403 " in visitor.recv(200).split(b"\r\n")[0]


@pytest.mark.parametrize("ended_by", [signal.SIGTERM, signal.SIGINT])
def test_one_signal_ends_the_server_while_a_page_is_open(
    browser: Any, fleet_folder: Path, ended_by: signal.Signals
) -> None:
    with serving(fleet_folder) as (server, url):
        page = browser.new_page()
        page.goto(url)
        drawn(page)
        server.send_signal(ended_by)
        assert server.wait(30) == 0
        assert server.stderr is not None
        assert "Traceback" not in server.stderr.read()
        page.close()


def test_from_a_held_boat_to_a_shift_and_to_a_written_note_by_keyboard_alone(
    open_page: Any, expect: Any, odd_fleet: Path
) -> None:
    """Wherever the keyboard is on the way, it can be seen (WCAG 2.2, 2.4.7)."""
    page = open_page("boat", parameters={"as_of": MORNING, "boat": "curlew"})
    _press(page, "newest log behind it ›", "Enter")
    expect(page.get_by_role("heading", name="Trace")).to_be_visible()
    drawn(page)
    _press(page, r"\d\d:\d\d:\d\d neutral to forward.*", "Enter")
    expect(page.locator(".mw-summary").first).to_contain_text("Drawn: 12.0 s")
    drawn(page)
    _press(page, "Logbook", "Enter")
    expect(page.get_by_role("heading", name="Logbook")).to_be_visible()
    drawn(page)
    _press(page, "In words", " ")
    page.keyboard.type("detent inspected by keyboard")
    _press(page, "Write the note", "Enter")
    expect(page.get_by_text(re.compile(r"Note \d+ is written"))).to_be_visible()
    assert notes(odd_fleet, boat="curlew")[-1].text == "detent inspected by keyboard"


_AT = """(() => {
    const at = document.activeElement, style = getComputedStyle(at);
    const said = (at.innerText || at.getAttribute('aria-label') || '').replaceAll('\\u2060', '').trim();
    return [said, `${style.outlineStyle} ${style.outlineWidth}`];
})()"""


def _press(page: Any, name: str, key: str) -> None:
    """Go by Tab to what bears this name, see that it can be seen, and press a key on it."""
    said = outline = ""
    for _ in range(90):
        page.keyboard.press("Tab")
        said, outline = page.evaluate(_AT)
        if re.fullmatch(name, said):
            break
    assert re.fullmatch(name, said), said
    assert outline == "solid 3px"
    page.keyboard.press(key)
