"""Deferrals in force: which findings somebody knew of when they left them as they are until a given time.

A deferred finding stays listed and keeps its status. What came up later, or got worse, was not what was deferred.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from pipeline.aftermath import standing_at
from pipeline.findings import Finding, worst
from pipeline.history import History
from pipeline.logbook import Note
from pipeline.register import Register
from pipeline.season.fleet import Season
from pipeline.states import STATUSES, State, Status


@dataclass(frozen=True)
class Deferral:
    """A deferral of one engine's findings, with the worst status of each indicator that stood out at that time."""

    note: Note
    stood: Mapping[str, Status]


def deferrals(
    history: History, season: Season, register: Register, engine_id: str, notes: Iterable[Note]
) -> tuple[Deferral, ...]:
    """The deferrals of an engine that are in force at the history's moment; `notes` are those that concern it."""
    return tuple(
        Deferral(note, _worst(standing_at(history, season, register, engine_id, note.at.timestamp())))
        for note in notes
        if note.defers_at(history.as_of)
    )


def _worst(stood: Iterable[State]) -> dict[str, Status]:
    found: dict[str, Status] = {}
    for state in stood:
        name = state.key.indicator
        found[name] = worst([state.status, *([found[name]] if name in found else [])])
    return found


def covering(found: Finding, deferred: Sequence[Deferral], as_of: datetime) -> Note | None:
    """The deferral that a finding falls under, the one that lasts longest; None where it falls under none.

    It does where no newer reading speaks of it than the deferral knew, or where the same stood out then, no less.
    """
    known = [each.note for each in deferred if _is_known(found, each) and each.note.defers_at(as_of)]
    return max(known, key=lambda note: note.until or note.at, default=None)


def _is_known(found: Finding, deferral: Deferral) -> bool:
    if found.latest_at is None or found.latest_at <= deferral.note.at:
        return True
    then = deferral.stood.get(found.indicator)
    return then is not None and STATUSES.index(found.status) >= STATUSES.index(then)
