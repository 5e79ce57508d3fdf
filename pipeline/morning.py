"""One morning: the whole judgement of a fleet as of a moment. Command line, screens and exports all show this."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from pipeline import verdicts, wording
from pipeline.aftermath import Aftermath, aftermaths
from pipeline.catalogue import read_query
from pipeline.changes import Change, changes
from pipeline.database import Database, rows
from pipeline.deferrals import Deferral, covering, deferrals
from pipeline.diagnosis import Engine as Patient
from pipeline.diagnosis import diagnose
from pipeline.doubts import with_doubts
from pipeline.evidence import gaps, not_logged
from pipeline.findings import Finding, as_json, worst
from pipeline.history import History, load_history
from pipeline.logbook import Note, in_force, notes
from pipeline.occurrences import occurrences
from pipeline.problems import Problem
from pipeline.ranking import DEFERRED_WEIGHT, BoatLine, EngineLine, boat_status, boat_urgency, in_order, ranked
from pipeline.register import Boat, Engine, Register, Schedule, load_schedule
from pipeline.season.fleet import Season, season
from pipeline.season.together import CommonStep
from pipeline.states import State, Status, states
from pipeline.trust import Withheld, withheld


@dataclass(frozen=True)
class Morning:
    """The fleet as of a moment: boats in order, what moved on the whole fleet, every state, every common step.

    `withheld` are the readings that no judgement rests on, as one of their channels cannot be believed.
    """

    fleet: str
    simulated: bool
    as_of: datetime
    fleet_findings: tuple[Finding, ...]
    boats: tuple[BoatLine, ...]
    states: tuple[State, ...]
    steps: tuple[CommonStep, ...]
    problems: tuple[Problem, ...]
    withheld: Withheld = field(default_factory=Withheld)

    def counts(self) -> Mapping[Status, int]:
        """How many boats stand at each status."""
        found: dict[Status, int] = {"hold": 0, "watch": 0, "unchecked": 0, "ready": 0}
        for line in self.boats:
            found[line.status] += 1
        return found


def assess(db: Database, register: Register, as_of: datetime) -> Morning:
    """Judge the fleet from a snapshot. `as_of` is aware; nothing later than it is used, logs and notes alike."""
    return judged(studied(db, register, as_of), register, as_of)


@dataclass(frozen=True)
class Studied:
    """The slow part of a judgement: what was read, and what moved. It holds for any moment that knows no more."""

    history: History
    written: Sequence[Note]
    season: Season
    states: tuple[State, ...]


def studied(db: Database, register: Register, as_of: datetime) -> Studied:
    """Read a snapshot up to a moment, and compare every series with its past."""
    zone = ZoneInfo(register.timezone)
    history = with_doubts(load_history(db, as_of.astimezone(zone)))
    written = in_force([note.in_zone(zone) for note in notes(register.folder, as_of=as_of)])
    moved = season(history, _by_engine(register, written))
    return Studied(history, written, moved, tuple(states(moved, register)))


def known_at(db: Database, register: Register, as_of: datetime) -> Hashable:
    """What a moment knows of a snapshot: two moments that know the same can share what was `studied`."""
    (logs,) = rows(db, read_query("marts", "logs_known"), {"as_of": as_of})
    return (*logs.values(), *(note.note_id for note in notes(register.folder, as_of=as_of)))


def judged(found: Studied, register: Register, as_of: datetime) -> Morning:
    """The morning as of a moment that knows just what was studied, whichever of them it was studied for."""
    history = replace(found.history, as_of=as_of.astimezone(ZoneInfo(register.timezone)))
    schedule = load_schedule(register)
    case = _Case(register, history, found.season, found.written, schedule, _grouped(found.states))
    return Morning(
        register.name,
        register.simulated,
        history.as_of,
        verdicts.fleet_findings(found.season.steps, history),
        ranked([_boat_line(boat, case) for boat in register.boats]),
        found.states,
        found.season.steps,
        schedule.problems,
        withheld(history),
    )


@dataclass(frozen=True)
class _Case:
    """Everything that judging one boat needs to know of the fleet."""

    register: Register
    history: History
    season: Season
    written: Sequence[Note]
    schedule: Schedule
    states: Mapping[str, Sequence[State]]


def _by_engine(register: Register, written: Sequence[Note]) -> dict[str, list[Note]]:
    """The notes that concern each engine; a note on a whole boat concerns all of its engines."""
    return {
        engine.engine_id: [note for note in written if note.concerns(engine.boat_id, engine.id)]
        for engine in register.engines()
    }


def _grouped(judged: Sequence[State]) -> dict[str, list[State]]:
    found: dict[str, list[State]] = {}
    for state in judged:
        found.setdefault(state.key.engine_id, []).append(state)
    return found


def since(db: Database, register: Register, morning: Morning, ago: timedelta = timedelta(days=1)) -> tuple[Change, ...]:
    """What changed since the morning before (or `ago`): both judged alike, each with what was known then."""
    return changes(assess(db, register, morning.as_of - ago).boats, morning.boats)


def as_document(morning: Morning, changed: Sequence[Change] = ()) -> dict[str, Any]:
    """The morning as `check --json` gives it, with what changed since the one before."""
    return {
        "schema": 1,
        "fleet": morning.fleet,
        "simulated": morning.simulated,
        "as_of": morning.as_of.isoformat(timespec="seconds"),
        "fleet_findings": [as_json(found, fleet_wide=True) for found in morning.fleet_findings],
        "changes": [vars(each) for each in changed],
        "boats": [_boat_document(line) for line in morning.boats],
    }


def _boat_document(line: BoatLine) -> dict[str, Any]:
    return {
        "rank": line.rank,
        "boat": line.boat,
        "name": line.name,
        "status": line.status,
        "departs": line.departs.isoformat(timespec="seconds") if line.departs else None,
        "last_log": line.last_log.isoformat(timespec="seconds") if line.last_log else None,
        "engines": [
            {
                "engine": engine.engine,
                "status": engine.status,
                "hours": None if engine.hours is None else round(engine.hours, 1),
                "not_logged": list(engine.not_logged),
            }
            for engine in line.engines
        ],
        "findings": [as_json(found) for found in line.findings],
        "notes": [_note_document(each) for each in line.notes],
    }


def _note_document(found: Aftermath) -> dict[str, Any]:
    return {
        "engine": found.engine_id.partition("/")[2],
        "at": found.note.at.isoformat(timespec="seconds"),
        "kind": found.note.kind.value,
        "text": found.note.text,
        "outcome": found.outcome,
        "runs": found.runs,
    }


def _aftermaths(engine: Engine, boat: Boat, case: _Case) -> tuple[Aftermath, ...]:
    concerned = [note for note in case.written if note.concerns(boat.id, engine.id)]
    return tuple(aftermaths(case.history, case.season, case.register, engine.engine_id, concerned))


def _with_notes(found: Finding, after: Sequence[Aftermath], deferred: Sequence[Deferral], as_of: datetime) -> Finding:
    """The finding with what came of the last note that answered it, and a deferral in force that knew of it."""
    answered = [each for each in after if any(state.key.indicator == found.indicator for state in each.about)]
    said = wording.aftermath_says(answered[-1]) if answered else None
    note = covering(found, deferred, as_of)
    if note is None:
        return replace(found, after_note=said)
    return replace(
        found,
        after_note=said,
        deferred_until=note.until,
        deferred_by=note.author,
        deferred_for=note.text,
        urgency=found.urgency * DEFERRED_WEIGHT if found.status == "watch" else found.urgency,
    )


def _noted_findings(engine: Engine, boat: Boat, case: _Case, after: Sequence[Aftermath]) -> list[Finding]:
    concerned = [note for note in case.written if note.concerns(boat.id, engine.id)]
    deferred = deferrals(case.history, case.season, case.register, engine.engine_id, concerned)
    return [_with_notes(each, after, deferred, case.history.as_of) for each in _engine_findings(engine, boat, case)]


def _boat_line(boat: Boat, case: _Case) -> BoatLine:
    after = {engine.id: _aftermaths(engine, boat, case) for engine in boat.engines}
    found = {engine.id: _noted_findings(engine, boat, case, after[engine.id]) for engine in boat.engines}
    lines = tuple(_engine_line(engine, case.history, found[engine.id]) for engine in boat.engines)
    departure = case.schedule.next_departure(boat.id, case.history.as_of)
    departs = departure.departs if departure else None
    findings = in_order(each for group in found.values() for each in group)
    status = boat_status(lines)
    return BoatLine(
        rank=0,
        boat=boat.id,
        name=boat.name,
        status=status,
        departs=departs,
        last_log=max((line.last_log for line in lines if line.last_log), default=None),
        engines=lines,
        findings=findings,
        notes=tuple(each for group in after.values() for each in group),
        urgency=boat_urgency(findings, status, departs, case.history.as_of),
    )


def _engine_line(engine: Engine, history: History, found: Sequence[Finding]) -> EngineLine:
    record = history.engines.get(engine.engine_id)
    return EngineLine(
        engine=engine.id,
        status=worst([each.status for each in found]),
        hours=record.hours if record else None,
        last_log=record.last_log_at if record else None,
        not_logged=not_logged(record) if record else (),
    )


def _engine_findings(engine: Engine, boat: Boat, case: _Case) -> Iterator[Finding]:
    history = case.history
    concerned = [note for note in case.written if note.concerns(boat.id, engine.id)]
    siblings = [
        state for other in boat.engines if other.id != engine.id for state in case.states.get(other.engine_id, ())
    ]
    patient = Patient(
        case.states.get(engine.engine_id, ()), list(occurrences(history, engine.engine_id, concerned)), siblings
    )
    for diagnosis in diagnose(patient):
        yield verdicts.from_diagnosis(engine, diagnosis, history)
    for gap in gaps(history, engine.engine_id, case.register.currency_days):
        yield verdicts.from_gap(engine, gap, case.register.currency_days)
