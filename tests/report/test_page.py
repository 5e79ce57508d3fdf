"""The HTML sheet: well-formed, whole in itself, and nothing that somebody wrote is taken for markup."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import TYPE_CHECKING

import pytest

from pipeline.report.page import as_html

if TYPE_CHECKING:
    from pipeline.report.sheet import Sheet

VOID = {"meta"}
"""Elements of these pages that have no end (HTML Living Standard, 13.1.2)."""


class Page(HTMLParser):
    """Reads a page as a browser does and remembers what matters here; an element that is not closed is a failure."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.headings: list[int] = []
        self.text = ""
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)
        if re.fullmatch(r"h\d", tag):
            self.headings.append(int(tag[1]))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.text += data


@pytest.fixture(scope="module")
def page(nasty: Sheet) -> Page:
    return Page(as_html(nasty))


def test_every_element_is_closed_and_the_page_has_a_language_and_a_title(page: Page, nasty: Sheet) -> None:
    assert page.tags[0] == ("html", {"lang": "en-GB"})
    assert nasty.fleet in page.text


def test_it_asks_nothing_of_anybody_and_runs_nothing(nasty: Sheet, page: Page) -> None:
    assert {name for name, _ in page.tags} & {"script", "link", "img", "iframe", "object", "base", "form"} == set()
    names = {name for _, given in page.tags for name in given}
    assert [name for name in names if name.startswith("on") or name in {"src", "href", "srcset", "action"}] == []
    assert re.search(r"https?:|url\(|@import", as_html(nasty)) is None


def test_what_people_wrote_is_text(page: Page, nasty: Sheet) -> None:
    assert "b" in {name for name, _ in page.tags}  # our own; theirs are not among them:
    assert as_html(nasty).count("<b>x") == 0
    for boat in nasty.boats:
        assert page.text.count(boat.name) >= 4


def test_headings_go_down_one_step_at_a_time(page: Page) -> None:
    assert page.headings[0] == 1
    assert page.headings.count(1) == 1
    assert max(later - earlier for earlier, later in zip(page.headings, page.headings[1:], strict=False)) <= 1


def test_every_picture_has_a_word_or_stands_beside_it(page: Page) -> None:
    pictures = [given for name, given in page.tags if name == "svg"]
    assert pictures
    assert [given for given in pictures if not given.get("aria-label") and given.get("aria-hidden") != "true"] == []


def test_each_boat_has_boxes_and_the_sheet_a_place_to_sign(page: Page, nasty: Sheet) -> None:
    assert page.text.count(" seen to may go by ") == len(nasty.boats)
    assert [given["class"] for _, given in page.tags if "box" in (given.get("class") or "").split()] == ["box"] * 20
    assert all(label in page.text for label in ("Name ", "Time ", "Signature "))


def test_simulated_data_is_said_and_only_then(nasty: Sheet) -> None:
    from dataclasses import replace  # noqa: PLC0415 - this test alone alters a sheet

    assert "simulated data" in Page(as_html(nasty)).text
    assert "simulated data" not in Page(as_html(replace(nasty, simulated=False))).text


def test_print_keeps_a_boat_on_one_page_and_needs_no_colour(nasty: Sheet) -> None:
    html = as_html(nasty)
    assert "break-inside: avoid" in html
    printed = html.split("@media print", 1)[1]
    assert set(re.findall(r"--(?:hold|watch|unchecked|ready|ink): (#\w+)", printed)) == {"#000"}


def test_two_hundred_boats_are_all_there_in_order(large: Sheet) -> None:
    text = Page(as_html(large)).text
    places = [text.index(f"{boat.rank} ") for boat in large.boats]
    assert places
    names = re.findall(r"(?:Longest|Held \d+|Ready \d+)", text)
    assert names == [boat.name for boat in large.boats]
