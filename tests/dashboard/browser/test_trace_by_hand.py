"""The trace under a hand: the wheel zooms every panel alike, and a stretch drawn on the whole log is read finer."""

from __future__ import annotations

import re
from typing import Any

import pytest

from .conftest import MORNING

LINES = "[...document.querySelectorAll('[data-testid=stVegaLiteChart]')].at(-1).querySelectorAll('.mark-line path')"
SHAPES = f"() => [...{LINES}].map(line => line.getAttribute('d'))"
ALL_CHANGED = f"before => [...{LINES}].every((line, place) => line.getAttribute('d') !== before[place])"


@pytest.fixture
def trace(open_page: Any) -> Any:
    page = open_page("trace", parameters={"boat": "curlew", "engine": "port", "as_of": MORNING})
    page.wait_for_function(f"() => [...{LINES}].length > 4")
    return page


def _chart(page: Any, place: int) -> dict[str, float]:
    chart = page.locator("[data-testid=stVegaLiteChart] svg.marks").nth(place)
    chart.scroll_into_view_if_needed()
    box: dict[str, float] = chart.bounding_box()
    return box


def test_the_wheel_over_one_panel_zooms_every_panel(trace: Any) -> None:
    before = trace.evaluate(SHAPES)
    box = _chart(trace, 1)
    trace.mouse.move(box["x"] + box["width"] / 2, box["y"] + 180)
    trace.mouse.wheel(0, -400)
    trace.wait_for_function(ALL_CHANGED, arg=before)
    assert "seconds=" not in trace.url  # the hand looks closer; nothing is read anew and the address stays


def test_a_stretch_drawn_on_the_whole_log_is_read_anew_and_can_be_sent(trace: Any, playwright: Any) -> None:
    summary = trace.locator(".mw-summary").first
    whole = summary.inner_text()
    box = _chart(trace, 0)
    trace.mouse.move(box["x"] + 0.4 * box["width"], box["y"] + 30)
    trace.mouse.down()
    trace.mouse.move(box["x"] + 0.6 * box["width"], box["y"] + 32, steps=5)
    trace.mouse.up()
    from playwright.sync_api import expect  # noqa: PLC0415

    expect(summary).not_to_have_text(whole)
    expect(trace).to_have_url(re.compile(r"from=\d+\.\d+&seconds=\d+"))
    expect(trace.get_by_role("button", name="Whole log")).to_be_enabled()


def test_a_link_from_the_trace_to_another_stretch_of_it_stands_in_the_address(trace: Any) -> None:
    from playwright.sync_api import expect  # noqa: PLC0415

    trace.get_by_role("link", name="reach error").first.click()
    expect(trace.locator(".mw-summary").first).to_contain_text("Drawn: 12.0 s")
    expect(trace).to_have_url(re.compile(r"log=[^&]+&from=\d+\.\d+&seconds=12"))
