"""Sheets made by hand, so that every word on them is known."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pipeline import wording
from pipeline.report.sheet import Sheet, SheetBoat
from pipeline.states import Status
from pipeline.telling import Told

AT = datetime(2026, 6, 15, 5, 0, tzinfo=UTC)

NASTY = (
    "<b>x</b>",
    "<script>alert(1)</script>",
    '#import "a.typ": *',
    "#panic()",
    "$x^2$ *y* _z_ `q`",
    'it\'s "quoted" \\ ~ [a] @b // c',
    "/* c */ = head",
    "&amp; &lt;",
    "Māori Ærø №5",
    "日本 😀",
)
"""Names that are markup somewhere, and names in other scripts."""


def found(status: Status = "hold", engine: str = "port", reason: str = "Reason.", do: str = "Look.") -> Told:
    """One finding in words."""
    return Told(status, engine, "Lost travel", "likely (80 %)", "Shift reach error: +2 %", (reason,), do)


def boat(rank: int, name: str, status: Status = "hold", findings: tuple[Told, ...] = ()) -> SheetBoat:
    """One boat; a ready one has nothing to say."""
    return SheetBoat(rank, f"boat{rank}", name, status, ("departs 09:00", "last log 3 h ago"), findings, ())


def sheet(boats: tuple[SheetBoat, ...], fleet: str = "Ninefold (simulated)", *, simulated: bool = True) -> Sheet:
    """A sheet with nothing but these boats."""
    return Sheet(
        fleet=fleet,
        at=AT,
        as_of="Mon 15 Jun 2026 06:00 IST",
        simulated=simulated,
        newest_log="Newest log of the fleet: 3 h ago.",
        answer="None of the boats may go.",
        counts=(("hold", len(boats)),),
        boats=boats,
        fleet_findings=(),
        problems=(),
        cautions=("Moving propellers kill.",),
    )


def usual() -> Sheet:
    """A usual morning of a fleet of twelve, in words of the length they have: fifteen findings, a change, cautions."""
    said = json.loads((Path(__file__).parent / "usual_morning.json").read_text(encoding="utf-8"))
    boats = tuple(
        SheetBoat(
            rank,
            each["name"].lower(),
            each["name"],
            each["status"],
            tuple(each["about"]),
            tuple(map(_told, each["findings"])),
            tuple(each["remarks"]),
        )
        for rank, each in enumerate(said["boats"], 1)
    )
    return replace(
        sheet(boats, "Saltmarsh Lane Day Boats (simulated)"),
        newest_log=said["newest_log"],
        answer=said["answer"],
        counts=tuple(said["counts"].items()),
        fleet_findings=tuple(map(_told, said["fleet_findings"])),
        cautions=wording.CAUTIONS,
    )


def _told(said: dict[str, Any]) -> Told:
    return Told(said["status"], said["place"], said["headline"], said["sure"], "", (said["reason"],), said["do"])
