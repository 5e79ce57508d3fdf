"""The sheet as data: what stands on it and in which order, before it is set for a screen, paper or a spreadsheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from pipeline import telling
from pipeline.answer import answer
from pipeline.changes import Change
from pipeline.morning import Morning
from pipeline.ranking import BoatLine
from pipeline.states import Status
from pipeline.telling import Told

ADVICE: Final = "This sheet tells what the logs say. Whoever lets a boat go decides and signs."

BOXES: Final = ("seen to", "may go")
"""What is ticked for a boat; who ticked it is written behind 'by'."""

LONGEST_KEPT: Final = 8
"""Findings up to which a boat stands whole on one page."""


@dataclass(frozen=True)
class SheetBoat:
    """One boat on the sheet. `about` is departure and newest log, `remarks` what else there is to say of it."""

    rank: int
    boat: str
    name: str
    status: Status
    about: tuple[str, ...]
    findings: tuple[Told, ...]
    remarks: tuple[str, ...]

    @property
    def gathered(self) -> tuple[Told, ...]:
        """The findings as they are printed: what is not known of several engines alike stands there once."""
        return telling.gathered(self.findings)

    @property
    def is_kept(self) -> bool:
        """Whether it is kept on one page; a boat with more than this may be longer than a page, and is split."""
        return len(self.gathered) <= LONGEST_KEPT

    @property
    def is_short(self) -> bool:
        """Whether there is so little to say that several such boats share a line."""
        return self.status == "ready" and not self.findings


@dataclass(frozen=True)
class Sheet:
    """One morning's sheet: boats in the order of the list, then what the whole fleet did. Every text is plain.

    `at` is the moment it is of, aware; `as_of` is that moment in words.
    """

    fleet: str
    at: datetime
    as_of: str
    simulated: bool
    newest_log: str
    answer: str
    counts: tuple[tuple[Status, int], ...]
    boats: tuple[SheetBoat, ...]
    fleet_findings: tuple[Told, ...]
    problems: tuple[str, ...]
    cautions: tuple[str, ...]


def sheet_of(morning: Morning, changed: Sequence[Change] = ()) -> Sheet:
    """The sheet of a morning; `changed` is what changed since the morning before."""
    return Sheet(
        fleet=morning.fleet,
        at=morning.as_of,
        as_of=telling.as_of_says(morning),
        simulated=morning.simulated,
        newest_log=telling.newest_log_says(morning),
        answer=answer(morning),
        counts=tuple(morning.counts().items()),
        boats=tuple(_boat(line, morning, changed) for line in morning.boats),
        fleet_findings=tuple(telling.told(found, morning.as_of) for found in morning.fleet_findings),
        problems=tuple(problem.sentence() for problem in morning.problems),
        cautions=telling.cautions(morning),
    )


def _boat(line: BoatLine, morning: Morning, changed: Sequence[Change]) -> SheetBoat:
    return SheetBoat(
        rank=line.rank,
        boat=line.boat,
        name=line.name,
        status=line.status,
        about=telling.about(line, morning.as_of),
        findings=tuple(telling.told(found, morning.as_of, line.name, line.last_log) for found in line.findings),
        remarks=tuple(telling.remarks(line, morning.as_of, changed)),
    )
