"""Findings -> boats in order: hold, watch, unchecked, ready; inside each the most urgent first.

Urgency of a finding = nearness x certainty: how many times its limit the value stands at (at most 3), weighed by how
sure it is. A boat counts its most urgent finding, a quarter more if it departs within three hours of the morning.
A watch that is deferred counts a tenth; a hold
is never made lighter. Equal boats stand in the order of their ids, so the list is stable.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from pipeline.aftermath import Aftermath
from pipeline.findings import Finding, worst
from pipeline.states import STATUSES, Status

NEARNESS_AT_MOST: Final = 3.0
SOON: Final = timedelta(hours=3)
SOON_WEIGHT: Final = 1.25
UNSURE: Final = 0.5
"""Certainty of a finding that does not say how sure it is."""


@dataclass(frozen=True)
class EngineLine:
    """One engine this morning. `hours` is None where no run was logged; `not_logged` is what its logs cannot show."""

    engine: str
    status: Status
    hours: float | None
    last_log: datetime | None
    not_logged: tuple[str, ...]


@dataclass(frozen=True)
class BoatLine:
    """One boat this morning, with its engines, its findings (the most urgent first) and what came of its notes."""

    rank: int
    boat: str
    name: str
    status: Status
    departs: datetime | None
    last_log: datetime | None
    engines: tuple[EngineLine, ...]
    findings: tuple[Finding, ...]
    notes: tuple[Aftermath, ...]
    urgency: float


def urgency(nearness: float, confidence: float | None) -> float:
    """How pressing a finding is among those of its status; see the module's first lines."""
    return min(nearness, NEARNESS_AT_MOST) * (UNSURE if confidence is None else confidence)


DEFERRED_WEIGHT: Final = 0.1


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Findings by status, then urgency, then name, so that equal ones never change places."""
    return tuple(
        sorted(
            findings,
            key=lambda found: (
                STATUSES.index(found.status),
                -found.urgency,
                found.engine or "",
                found.indicator,
                found.facet or "",
            ),
        )
    )


def boat_urgency(findings: Sequence[Finding], status: Status, departs: datetime | None, now: datetime) -> float:
    """The most urgent finding of the boat's own status, more if the boat leaves soon."""
    most = max((found.urgency for found in findings if found.status == status), default=0.0)
    leaves_soon = departs is not None and departs - now <= SOON
    return most * SOON_WEIGHT if leaves_soon else most


def boat_status(engines: Iterable[EngineLine]) -> Status:
    """A boat has its worst engine's status; a boat without engines is unchecked."""
    return worst([engine.status for engine in engines] or ["unchecked"])


def ranked(boats: Iterable[BoatLine]) -> tuple[BoatLine, ...]:
    """The boats in order, numbered from 1."""
    ordered = sorted(
        boats,
        key=lambda line: (
            STATUSES.index(line.status),
            -line.urgency,
            line.departs.timestamp() if line.departs else float("inf"),
            line.boat,
        ),
    )
    return tuple(BoatLine(**{**vars(line), "rank": place}) for place, line in enumerate(ordered, start=1))
