"""What the invented operator's people would have written down in the season, for whoever wants a logbook to look at."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from demo_fleet.scenario import TIMEZONE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from demo_fleet.faults import Fault
    from demo_fleet.scenario import Scenario

EARLY_MORNING_H = 5
"""Work is written down on the morning it was done, before the boat goes out."""


@dataclass(frozen=True)
class SimulatedNote:
    """A note as the logbook takes it; `kind` is one of the logbook's kinds, `at` is aware."""

    boat: str
    engine: str
    kind: str
    text: str
    at: datetime


def simulated_notes(scenario: Scenario) -> tuple[SimulatedNote, ...]:
    """The notes of a season in time order: repairs and calibration changes, each on the morning it took effect."""
    notes = [note for fault in scenario.faults for note in _notes(scenario, fault)]
    return tuple(sorted(notes, key=lambda note: (note.at, note.boat)))


def _notes(scenario: Scenario, fault: Fault) -> Iterator[SimulatedNote]:
    if fault.mended is not None and fault.mended < scenario.days:
        yield SimulatedNote(fault.boat, fault.engine, "replaced", fault.detail, _morning(scenario, fault.mended))
    if fault.cause == "calibration_change":
        kind = "new_table" if fault.facets == ("table",) else "new_target"
        yield SimulatedNote(fault.boat, fault.engine, kind, fault.detail, _morning(scenario, fault.onset))


def _morning(scenario: Scenario, day: float) -> datetime:
    moment: date = scenario.first_day + timedelta(days=int(day))
    return datetime(moment.year, moment.month, moment.day, EARLY_MORNING_H, 0, tzinfo=ZoneInfo(TIMEZONE))
