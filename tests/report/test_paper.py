"""The PDF sheet, read back with pypdf: words as they were written, tagged, titled, the same bytes each time."""

from __future__ import annotations

import io
import re
from typing import TYPE_CHECKING

import pytest
from pypdf import PdfReader

from pipeline.report.paper import as_pdf

if TYPE_CHECKING:
    from pipeline.report.sheet import Sheet


def _flat(text: str) -> str:
    return re.sub(r"\s+", "", text)


@pytest.fixture(scope="module")
def read(nasty: Sheet) -> PdfReader:
    return PdfReader(io.BytesIO(as_pdf(nasty)))


def test_it_is_tagged_and_has_title_and_language(read: PdfReader, nasty: Sheet) -> None:
    """What PDF/UA-1 (ISO 14289-1) asks of every file: tags (7.1), a title (7.1), a language (7.2)."""
    root = read.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"].value
    assert "/StructTreeRoot" in root
    assert root["/Lang"] == "en-GB"
    assert read.metadata is not None
    assert read.metadata.title == f"{nasty.fleet}: morning sheet, {nasty.as_of}"


def test_what_people_wrote_is_text(read: PdfReader, nasty: Sheet) -> None:
    text = _flat("".join(page.extract_text() for page in read.pages))
    for boat in nasty.boats:
        if boat.name.isascii():
            assert text.count(_flat(boat.name)) >= 4, boat.name
    assert "MāoriÆrø№5" in text


def test_only_the_fonts_that_come_with_it_are_used(read: PdfReader) -> None:
    fonts = {font.get_object()["/BaseFont"] for page in read.pages for font in page["/Resources"]["/Font"].values()}
    assert {re.sub(r"^/\w+\+(\w+?)(?:-.*)?$", r"\1", font) for font in fonts} <= {"LibertinusSerif", "DejaVuSansMono"}


def test_the_same_sheet_gives_the_same_bytes(nasty: Sheet) -> None:
    assert as_pdf(nasty) == as_pdf(nasty)


@pytest.fixture(scope="module")
def pages(large: Sheet) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(as_pdf(large))).pages]


def test_simulated_data_stands_on_every_page(pages: list[str]) -> None:
    assert len(pages) > 2
    assert [text for text in pages if "simulated data" not in text] == []


def test_two_hundred_boats_are_all_there_in_order(large: Sheet, pages: list[str]) -> None:
    """A boat with more findings than a page holds is split and keeps every one of them."""
    text = "\n".join(pages)
    assert re.findall(r"Longest|Held \d+|Ready \d+", text) == [boat.name for boat in large.boats]
    told = {int(number) for number in re.findall(r"Reason (\d+)\.", text)}
    assert told == set(range(40))


def test_a_boat_stands_whole_on_one_page(large: Sheet, pages: list[str]) -> None:
    for boat in large.boats[1:20]:
        (page,) = [text for text in pages if f"{boat.name} " in text or f"{boat.name}\n" in text]
        after = page.split(boat.name, 1)[1]
        assert after.split("HOLD", 1)[0].split("READY", 1)[0].count("Lost travel") == 2
