"""One morning: the whole judgement of a fleet as of a moment. Command line, screens and exports all show this."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from pipeline import wording
from pipeline.catalogue import indicators
from pipeline.database import Database
from pipeline.evidence import Gap, gaps, not_logged
from pipeline.findings import Evidence, Finding, as_json, worst
from pipeline.history import History, load_history
from pipeline.logbook import Note, notes
from pipeline.occurrences import Occurrence, occurrences
from pipeline.problems import Problem
from pipeline.ranking import BoatLine, EngineLine, boat_status, boat_urgency, in_order, ranked, urgency
from pipeline.register import Boat, Engine, Register, Schedule, load_schedule
from pipeline.states import State, Status, states


@dataclass(frozen=True)
class Morning:
    """The fleet as of a moment: boats in order, what moved on the whole fleet, every state, and what was read."""

    fleet: str
    simulated: bool
    as_of: datetime
    fleet_findings: tuple[Finding, ...]
    boats: tuple[BoatLine, ...]
    states: tuple[State, ...]
    problems: tuple[Problem, ...]

    def counts(self) -> Mapping[Status, int]:
        """How many boats stand at each status."""
        found: dict[Status, int] = {"hold": 0, "watch": 0, "unchecked": 0, "ready": 0}
        for line in self.boats:
            found[line.status] += 1
        return found


def assess(db: Database, register: Register, as_of: datetime) -> Morning:
    """Judge the fleet from a snapshot. `as_of` is aware; nothing later than it is used, logs and notes alike."""
    history = load_history(db, as_of)
    written = notes(register.folder, as_of=as_of)
    schedule = load_schedule(register)
    judged = tuple(states(history, register))
    by_engine: dict[str, list[State]] = {}
    for state in judged:
        by_engine.setdefault(state.key.engine_id, []).append(state)
    boats = [_boat_line(boat, history, register, written, schedule, by_engine) for boat in register.boats]
    return Morning(
        register.name,
        register.simulated,
        as_of.astimezone(ZoneInfo(register.timezone)),
        (),
        ranked(boats),
        judged,
        schedule.problems,
    )


def as_document(morning: Morning) -> dict[str, Any]:
    """The morning as `check --json` gives it."""
    return {
        "schema": 1,
        "fleet": morning.fleet,
        "simulated": morning.simulated,
        "as_of": morning.as_of.isoformat(timespec="seconds"),
        "fleet_findings": [as_json(found, fleet_wide=True) for found in morning.fleet_findings],
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
    }


def _boat_line(
    boat: Boat,
    history: History,
    register: Register,
    written: Sequence[Note],
    schedule: Schedule,
    by_engine: Mapping[str, list[State]],
) -> BoatLine:
    zone = ZoneInfo(register.timezone)
    found: dict[str, list[Finding]] = {}
    for engine in boat.engines:
        concerned = [note for note in written if note.concerns(boat.id, engine.id)]
        judged = by_engine.get(engine.engine_id, [])
        found[engine.id] = list(_engine_findings(engine, history, register.currency_days, concerned, judged))
    lines = tuple(_engine_line(engine, history, found[engine.id], zone) for engine in boat.engines)
    departure = schedule.next_departure(boat.id, history.as_of)
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
        urgency=boat_urgency(findings, status, departs, history.as_of),
    )


def _engine_line(engine: Engine, history: History, found: Sequence[Finding], zone: ZoneInfo) -> EngineLine:
    record = history.engines.get(engine.engine_id)
    return EngineLine(
        engine=engine.id,
        status=worst([each.status for each in found]),
        hours=record.hours if record else None,
        last_log=record.last_log_at.astimezone(zone) if record else None,
        not_logged=not_logged(record) if record else (),
    )


def _engine_findings(
    engine: Engine, history: History, currency_days: float, concerned: Sequence[Note], judged: Sequence[State]
) -> Iterator[Finding]:
    for state in judged:
        if state.status != "ready":
            yield _from_state(engine, history, state)
    for found in occurrences(history, engine.engine_id, concerned):
        yield _from_occurrence(engine, history, found)
    for gap in gaps(history, engine.engine_id, currency_days):
        yield _from_gap(engine, gap, currency_days)


def _from_state(engine: Engine, history: History, state: State) -> Finding:
    return Finding(
        boat=engine.boat_id,
        engine=engine.id,
        indicator=state.indicator.name,
        facet=state.key.facet or None,
        status=state.status,
        value=state.value,
        unit=state.indicator.unit,
        says=wording.state_says(state),
        do=state.indicator.do,
        evidence=Evidence(state.n, state.runs, history.runs[engine.engine_id].files_of(state.run_ids)),
        urgency=urgency(state.nearness, None),
        latest_at=state.latest_at,
        low=state.low,
        high=state.high,
        watch=state.limits.watch,
        hold=state.limits.hold,
    )


def _from_occurrence(engine: Engine, history: History, found: Occurrence) -> Finding:
    is_count = found.indicator.unit == "count"
    return Finding(
        boat=engine.boat_id,
        engine=engine.id,
        indicator=found.indicator.name,
        facet=found.series.key.facet,
        status="hold" if is_count else "watch",
        value=found.count,
        unit=found.indicator.unit,
        says=wording.occurrence_says(found),
        do=found.indicator.do,
        evidence=Evidence(
            int(found.count) if is_count else len(found.run_ids),
            len(found.run_ids),
            history.runs[engine.engine_id].files_of(found.run_ids),
        ),
        urgency=urgency(found.count, None),
        latest_at=found.latest_at,
        hold=found.indicator.limits.hold,
        cause=None if is_count else "sensor_fault",
    )


def _from_gap(engine: Engine, gap: Gap, currency_days: float) -> Finding:
    is_age = gap.facet == "age"
    return Finding(
        boat=engine.boat_id,
        engine=engine.id,
        indicator="evidence",
        facet=gap.facet,
        status="unchecked",
        value=gap.age_days if is_age else None,
        unit="days" if is_age else indicators()["evidence"].unit,
        says=wording.gap_says(gap, currency_days),
        do=wording.UNCHECKED_DO,
        evidence=Evidence(0, gap.record.runs if gap.record else 0, ()),
        urgency=urgency((gap.age_days or 0.0) / currency_days if gap.record else 3.0, 1.0),
        latest_at=gap.record.last_log_at if gap.record else None,
    )
