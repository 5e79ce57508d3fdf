"""What changed since another morning: which boats' status moved, which findings are new, worse, better or gone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from pipeline.findings import Finding
from pipeline.ranking import BoatLine
from pipeline.states import STATUSES, Status

Turn = Literal["new", "worse", "better", "gone"]

Place = tuple[str | None, str]
"""Engine and cause (or indicator, where no cause is named): what makes two findings the same one."""


@dataclass(frozen=True)
class Change:
    """One finding's turn since the earlier morning; `before` and `now` are its statuses, None where absent."""

    boat: str
    engine: str | None
    what: str
    turn: Turn
    before: Status | None
    now: Status | None


def changes(before: Sequence[BoatLine], now: Sequence[BoatLine]) -> tuple[Change, ...]:
    """What changed, boat by boat in the order of the later morning. Findings that stay as they are are left out."""
    earlier = {line.boat: _by_place(line.findings) for line in before}
    found: list[Change] = []
    for line in now:
        found += _changed(line.boat, earlier.get(line.boat, {}), _by_place(line.findings))
    return tuple(found)


def _by_place(findings: Sequence[Finding]) -> dict[Place, Status]:
    """The worst status of each thing found; findings come the most pressing first."""
    found: dict[Place, Status] = {}
    for each in findings:
        found.setdefault((each.engine, each.cause or each.indicator), each.status)
    return found


def _changed(boat: str, before: Mapping[Place, Status], now: Mapping[Place, Status]) -> list[Change]:
    places = [*now, *(place for place in before if place not in now)]
    listed = [(place, before.get(place), now.get(place)) for place in places]
    return [
        Change(boat, place[0], place[1], _turn(was, is_now), was, is_now)
        for place, was, is_now in listed
        if was != is_now
    ]


def _turn(before: Status | None, now: Status | None) -> Turn:
    if before is None:
        return "new"
    if now is None:
        return "gone"
    return "worse" if STATUSES.index(now) < STATUSES.index(before) else "better"
