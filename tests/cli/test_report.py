"""`report`: the sheet has the words, numbers and order of the check, in every form."""

from __future__ import annotations

import csv
import io
import re
from html import unescape
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from pypdf import PdfReader

if TYPE_CHECKING:
    from conftest import Ask, Run

EVENING = "2026-06-14"


@pytest.fixture(scope="module")
def checked(ask: Ask, fleet: Path) -> Any:
    return ask("check", "--fleet", fleet, "--as-of", EVENING)


@pytest.fixture(scope="module")
def sheets(run: Run, fleet: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sheets")
    for ending in ("html", "pdf", "csv"):
        result = run("report", "--fleet", fleet, "--as-of", EVENING, "-o", folder / f"sheet.{ending}")
        assert (result.exit_code, result.stdout) == (0, "")
    return folder


def _flat(text: str) -> str:
    return re.sub(r"\s+", "", text)


def _read(path: Path) -> str:
    """The words of a sheet in the order in which they stand, without the gaps."""
    if path.suffix == ".pdf":
        pages = [page.extract_text() for page in PdfReader(path).pages]
        return _flat("".join(re.sub(r"\n[^\n]*Page \d of \d", "", page) for page in pages))
    html = path.read_text(encoding="utf-8").split("</style>", 1)[1]
    return _flat(unescape(re.sub(r"<[^>]+>", "", html)))


@pytest.mark.parametrize("ending", ["html", "pdf"])
def test_words_and_order_are_those_of_the_check(run: Run, fleet: Path, sheets: Path, ending: str, checked: Any) -> None:
    text, place = _read(sheets / f"sheet.{ending}"), 0
    for boat in checked["boats"]:
        said = [f"{boat['rank']}", boat["status"].upper(), boat["name"]]
        for found in boat["findings"]:
            said += [found["says"].partition(". ")[2] if found["cause"] else found["says"], found["do"]]
        for words in map(_flat, said):
            assert words in text[place:], words
            place = text.index(words, place)
    listed = run("check", "--fleet", fleet, "--as-of", EVENING).stdout
    assert _flat(listed.split("\n■")[0].splitlines()[2]) in text
    assert _flat("a licensed technician decides") in text


def test_the_rows_of_the_table_are_the_findings_of_the_check(sheets: Path, checked: Any) -> None:
    rows = list(csv.DictReader(io.StringIO((sheets / "sheet.csv").read_text(encoding="utf-8"))))

    shown = [(boat["boat"], found["do"]) for boat in checked["boats"] for found in boat["findings"] or [{"do": ""}]]
    assert [(row["boat"], row["do"]) for row in rows if row["boat"]] == shown
    for row, found in zip(rows, (each for boat in checked["boats"] for each in boat["findings"]), strict=False):
        assert found["says"] in f"{row['cause']}. {row['reason']}"
    assert {row["simulated"] for row in rows} == {"true"}


def test_nothing_but_the_sheet_is_left_behind(sheets: Path) -> None:
    assert sorted(path.name for path in sheets.iterdir()) == ["sheet.csv", "sheet.html", "sheet.pdf"]


def test_an_earlier_sheet_is_replaced_whole(run: Run, fleet: Path, tmp_path: Path) -> None:
    file = tmp_path / "sheet.HTML"
    file.write_text("old" * 100_000, encoding="utf-8")

    assert run("report", "--fleet", fleet, "--as-of", EVENING, "-o", file).exit_code == 0

    assert file.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert "oldold" not in file.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["sheet.doc", "sheet"])
def test_another_ending_is_a_usage_error_with_the_way_out(run: Run, fleet: Path, tmp_path: Path, name: str) -> None:
    result = run("report", "--fleet", fleet, "-o", tmp_path / name)

    assert (result.exit_code, result.stdout) == (2, "")
    assert ".html, .pdf, .csv" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_said_without_a_trace(run: Run, fleet: Path, tmp_path: Path) -> None:
    result = run("report", "--fleet", fleet, "-o", tmp_path / "gone" / "sheet.pdf")

    assert (result.exit_code, result.stdout) == (2, "")
    assert "gone" in result.stderr


def test_a_fleet_that_was_only_just_started_has_a_sheet_too(run: Run, tmp_path: Path) -> None:
    run("init", tmp_path / "new")

    result = run("report", "--fleet", tmp_path / "new", "-o", tmp_path / "sheet.html")

    assert result.exit_code == 0
    assert "UNCHECKED" in _read(tmp_path / "sheet.html")
    assert "simulateddata" not in _read(tmp_path / "sheet.html")
