"""The sheet as a PDF: set by typst with its own fonts, so that it is the same on every machine.

The sheet goes in as data beside a fixed template, never as part of it: whatever a name holds, typst sets it as text.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from importlib import resources

import typst

from pipeline import wording
from pipeline.report.sheet import ADVICE, BOXES, Sheet, SheetBoat
from pipeline.states import Status
from pipeline.telling import Told


def as_pdf(sheet: Sheet) -> bytes:
    """A tagged A4 PDF with title and language; the same sheet gives the same bytes."""
    template = (resources.files("pipeline.report") / "paper.typ").read_bytes()
    return typst.compile(
        template,
        format="pdf",
        font_paths=typst.Fonts(include_system_fonts=False),
        sys_inputs={"sheet": json.dumps(_document(sheet))},
        timestamp=int(sheet.at.timestamp()),
    )


def _document(sheet: Sheet) -> dict[str, object]:
    return {
        **asdict(sheet),
        "at": None,
        "counts": [_named(status) | {"number": number} for status, number in sheet.counts],
        "boats": [_boat(boat) for boat in sheet.boats],
        "fleet_findings": [_finding(found) for found in sheet.fleet_findings],
        "advice": ADVICE,
        "boxes": BOXES,
    }


def _boat(boat: SheetBoat) -> dict[str, object]:
    return {
        **asdict(boat),
        **_named(boat.status),
        "is_short": boat.is_short,
        "is_kept": boat.is_kept,
        "findings": [_finding(found) for found in boat.gathered],
    }


def _finding(found: Told) -> dict[str, object]:
    return {**asdict(found), **_named(found.status), "named": found.named, "reason": found.reason}


def _named(status: Status) -> dict[str, str]:
    return {"status": status, "symbol": wording.STATUS_SYMBOLS[status], "word": wording.STATUS_WORDS[status]}
