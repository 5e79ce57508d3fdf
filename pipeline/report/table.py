"""The sheet for a spreadsheet: a row a finding, and one for a boat without any, with empty columns to fill in."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import Final

from pipeline import wording
from pipeline.cells import cell
from pipeline.report.sheet import BOXES, Sheet, SheetBoat
from pipeline.telling import Told

COLUMNS: Final = (
    "fleet",
    "as_of",
    "simulated",
    "rank",
    "boat",
    "name",
    "status",
    "about",
    "engine",
    "finding",
    "cause",
    "certainty",
    "reason",
    "do",
    "remarks",
    *(box.replace(" ", "_") for box in BOXES),
    "by",
)
"""`status` is the boat's, `finding` the finding's own; boat, name, rank and status are empty for the whole fleet's."""


def as_csv(sheet: Sheet) -> str:
    """The sheet as comma-separated values, lines ended by a newline."""
    file = io.StringIO()
    lines = csv.writer(file, lineterminator="\n")
    lines.writerow(COLUMNS)
    for row in _rows(sheet):
        lines.writerow([cell(row.get(column, "")) for column in COLUMNS])
    return file.getvalue()


def _rows(sheet: Sheet) -> Iterator[dict[str, object]]:
    whose: dict[str, object] = {"fleet": sheet.fleet, "as_of": sheet.as_of, "simulated": sheet.simulated}
    for boat in sheet.boats:
        for found in boat.findings or (None,):
            yield {**whose, **_boat(boat), **_finding(found)}
    for found in sheet.fleet_findings:
        yield {**whose, **_finding(found)}


def _boat(boat: SheetBoat) -> dict[str, object]:
    return {
        "rank": boat.rank,
        "boat": boat.boat,
        "name": boat.name,
        "status": wording.STATUS_WORDS[boat.status].lower(),
        "about": ", ".join(boat.about),
        "remarks": " ".join(boat.remarks),
    }


def _finding(found: Told | None) -> dict[str, object]:
    if found is None:
        return {}
    return {
        "engine": found.place,
        "finding": wording.STATUS_WORDS[found.status].lower(),
        "cause": found.headline,
        "certainty": found.sure,
        "reason": found.reason,
        "do": found.do,
    }
