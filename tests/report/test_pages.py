"""How many pages a sheet takes: one for a fleet of twelve on a usual morning; more for more, each with head and number.

A4 is 210 × 297 mm (ISO 216). Text stands in at least 8.5 points.
"""

from __future__ import annotations

import io
import os
import shutil
import subprocess
from typing import TYPE_CHECKING

import pytest
from pypdf import PdfReader

from pipeline.report.page import as_html
from pipeline.report.paper import as_pdf

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.report.sheet import Sheet

MM = 72 / 25.4
SMALLEST = 8.5

FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-pdf-header-footer"]


@pytest.fixture(scope="module")
def on_paper(usual_morning: Sheet) -> PdfReader:
    return PdfReader(io.BytesIO(as_pdf(usual_morning)))


@pytest.fixture(scope="module")
def printed(usual_morning: Sheet, tmp_path_factory: pytest.TempPathFactory) -> PdfReader:
    """The HTML sheet as a browser prints it."""
    return _printed(usual_morning, tmp_path_factory.mktemp("printed"))


def _printed(sheet: Sheet, folder: Path) -> PdfReader:
    chromium = shutil.which("chromium")
    if chromium is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)("no chromium on this machine")
    page, file = folder / "sheet.html", folder / "sheet.pdf"
    page.write_text(as_html(sheet).replace("@page {", "@page { size: A4;"), encoding="utf-8")
    command = [chromium, *FLAGS, f"--user-data-dir={folder / 'profile'}", f"--print-to-pdf={file}", page.as_uri()]
    subprocess.run(command, check=True, capture_output=True, timeout=60)  # noqa: S603 - our own page
    return PdfReader(file)


@pytest.mark.parametrize("form", ["on_paper", "printed"])
def test_a_usual_morning_of_twelve_boats_is_one_a4_page(
    form: str, request: pytest.FixtureRequest, usual_morning: Sheet
) -> None:
    reader: PdfReader = request.getfixturevalue(form)
    (page,) = reader.pages
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx((210 * MM, 297 * MM), abs=1)
    text = page.extract_text()
    assert "Page 1 of 1" in text
    for words in ("simulated data", "Signature", "Moving propellers kill", "may go", *(usual_morning.boats[0].about)):
        assert words in text


@pytest.mark.parametrize("form", ["on_paper", "printed"])
def test_nothing_on_it_is_too_small_to_read(form: str, request: pytest.FixtureRequest) -> None:
    reader: PdfReader = request.getfixturevalue(form)
    sizes: set[float] = set()

    def seen(text: str, matrix: list[float], place: list[float], _font: object, size: float) -> None:
        if text.strip():
            sizes.add(round(size * abs(place[3] * matrix[3]), 2))

    reader.pages[0].extract_text(visitor_text=seen)
    assert sizes
    assert min(sizes) >= SMALLEST


def test_a_big_fleet_flows_onto_more_pages_with_head_and_number_on_each(large: Sheet) -> None:
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(as_pdf(large))).pages]
    assert [f"Page {place} of {len(pages)}" in text for place, text in enumerate(pages, 1)] == [True] * len(pages)
    with_table = [text for text in pages if "HOLD" in text]
    assert len(with_table) > 2
    assert [text for text in with_table if "What the logs say" not in text] == []


def test_a_big_fleet_printed_by_a_browser_has_them_too(large: Sheet, tmp_path: Path) -> None:
    pages = [page.extract_text() for page in _printed(large, tmp_path).pages]
    assert [f"Page {place} of {len(pages)}" in text for place, text in enumerate(pages, 1)] == [True] * len(pages)
    with_table = [text for text in pages if "HOLD" in text]
    assert [text for text in with_table if "What the simulated logs say" not in text] == []
