"""The sheet for a spreadsheet: a row a finding, nothing in it is run."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

import pytest
from sheet_maker import boat, found, sheet

from pipeline.report.table import COLUMNS, as_csv

if TYPE_CHECKING:
    from pipeline.report.sheet import Sheet


def _rows(made: Sheet) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(as_csv(made))))


def test_a_row_a_finding_and_one_for_a_boat_without() -> None:
    rows = _rows(sheet((boat(1, "Held", findings=(found(), found("watch"))), boat(2, "Free", "ready"))))
    assert [(row["rank"], row["name"], row["status"], row["finding"]) for row in rows] == [
        ("1", "Held", "hold", "hold"),
        ("1", "Held", "hold", "watch"),
        ("2", "Free", "ready", ""),
    ]
    assert tuple(rows[0]) == COLUMNS
    assert [row["may_go"] + row["seen_to"] + row["by"] for row in rows] == ["", "", ""]


@pytest.mark.parametrize("words", ["=1+1", "+1", "-1", "@sum(a1)", "\tx", "\rx", "＝1+1"])
def test_text_that_a_spreadsheet_would_run_is_only_text(words: str) -> None:
    """First characters as in OWASP's CSV Injection page; the leading apostrophe is its advice."""
    (row,) = _rows(sheet((boat(1, words, findings=(found("hold", words, words, words),)),), fleet=words))
    assert {row[column] for column in ("fleet", "name", "engine", "reason", "do")} == {f"'{words}".replace("\r", "\n")}


def test_what_people_wrote_comes_back_as_it_was(nasty: Sheet) -> None:
    assert [row["reason"] for row in _rows(nasty)] == [boat.name for boat in nasty.boats]
