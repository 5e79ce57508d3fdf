"""Diagnoses, gaps and common steps -> findings: every field of a finding filled, or honestly None."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import timedelta
from itertools import groupby
from typing import Final

from pipeline import wording
from pipeline.catalogue import indicators
from pipeline.causes import CAUSES
from pipeline.diagnosis import Diagnosis
from pipeline.evidence import Gap
from pipeline.findings import Evidence, Finding
from pipeline.history import History
from pipeline.ranking import urgency
from pipeline.register import Engine
from pipeline.season.movement import crossing
from pipeline.season.together import CommonStep
from pipeline.states import State, signed_badness
from pipeline.statistics.projection import Crossing

FLEET_STEP_TOLD: Final = timedelta(days=30)
"""How long a common step stays in the morning's list (common practice, no published source)."""

FULL_EVIDENCE_RUNS: Final = 4
"""Runs behind a level from which a finding is as sure as its pattern lets it be."""


def from_diagnosis(engine: Engine, found: Diagnosis, history: History) -> Finding:
    """One cause as a finding; the leading symptom gives its numbers."""
    if not found.symptoms or (found.occurrences and found.cause != "weak_battery"):
        return _from_occurrence(engine, found, history)
    state = found.symptoms[0]
    ahead = _soonest(found.symptoms)
    now_hours = float(state.series.hours[-1])
    confidence = _confidence(found, state)
    return Finding(
        boat=engine.boat_id,
        engine=engine.id,
        indicator=state.indicator.name,
        facet=state.key.facet or None,
        status=found.status,
        value=state.value,
        unit=state.indicator.unit,
        says=wording.diagnosis_says(found),
        do=CAUSES[found.cause].do if found.cause != "unknown" else state.indicator.do,
        evidence=_evidence(found, history, engine.engine_id),
        urgency=urgency(max(each.nearness for each in found.symptoms), confidence),
        latest_at=state.latest_at,
        low=state.low,
        high=state.high,
        watch=state.limits.watch,
        hold=state.limits.hold,
        baseline=state.moved.baseline,
        pattern=state.moved.pattern,
        since=state.moved.since,
        per_100_hours=state.moved.per_100_hours,
        per_week=state.moved.per_week,
        hours_to_hold=_hours(ahead.at if ahead else None, now_hours, state),
        hours_to_hold_low=_hours(ahead.interval.low if ahead else None, now_hours, state),
        hours_to_hold_high=_hours(ahead.interval.high if ahead else None, now_hours, state),
        days_to_hold=_days(ahead, now_hours, state),
        confidence=confidence,
        cause=found.cause,
        because=found.because,
        rather_than=found.rather_than,
        also=tuple(wording.title(each.indicator, each.key.facet) for each in found.symptoms[1:]),
        cautions=CAUSES[found.cause].runs_engine,
        short=wording.diagnosis_short(found),
    )


def from_gap(engine: Engine, gap: Gap, currency_days: float) -> Finding:
    """Something not known of an engine."""
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
        do=wording.gap_do(gap),
        evidence=Evidence(0, gap.record.runs if gap.record else 0, ()),
        urgency=urgency((gap.age_days or 0.0) / currency_days if gap.record else 3.0, 1.0),
        latest_at=gap.record.last_log_at if gap.record else None,
        cautions=True,
    )


def fleet_findings(steps: Sequence[CommonStep], history: History) -> tuple[Finding, ...]:
    """What most engines did at once and not long ago: one finding an indicator and day, the larger facet leading."""
    recent = [step for step in steps if history.as_of - step.began <= FLEET_STEP_TOLD]
    ordered = sorted(recent, key=lambda step: (step.indicator, step.at_s))
    found: list[Finding] = []
    for indicator, group in groupby(ordered, key=lambda step: step.indicator):
        found += [_fleet_finding(indicator, together) for together in _same_time(list(group))]
    return tuple(found)


def _same_time(steps: Sequence[CommonStep]) -> list[list[CommonStep]]:
    """Steps of one indicator in groups no more than three days apart: facets are not all seen on every day."""
    groups: list[list[CommonStep]] = []
    for step in steps:
        if groups and step.at_s - groups[-1][-1].at_s <= timedelta(days=3).total_seconds():
            groups[-1].append(step)
        else:
            groups.append([step])
    return groups


def _fleet_finding(name: str, together: Sequence[CommonStep]) -> Finding:
    indicator = indicators()[name]
    step = max(together, key=lambda each: abs(each.size))
    cause = "fuel_delivery" if name == "idle_fuel_trim" else "weather"
    return Finding(
        boat=None,
        engine=None,
        indicator=name,
        facet=None if len(together) > 1 else step.facet or None,
        status="watch",
        value=step.size,
        unit=indicator.unit,
        says=wording.fleet_says(cause, indicator, together),
        do=CAUSES[cause].do,
        evidence=Evidence(step.engines_seen, step.engines_seen, ()),
        urgency=urgency(abs(step.size) / (indicator.limits.watch or abs(step.size)), 0.9),
        watch=indicator.limits.watch,
        hold=indicator.limits.hold,
        baseline=0.0,
        pattern="step",
        since=together[0].began,
        confidence=min(0.98, step.engines / step.engines_seen),
        cause=cause,
        because=(f"{step.engines} of {step.engines_seen} engines on {step.boats} boats moved the same way",),
        engines=step.engines,
        short=wording.fleet_short(indicator, together),
    )


def _from_occurrence(engine: Engine, found: Diagnosis, history: History) -> Finding:
    occurrence = max(found.occurrences, key=lambda each: each.count)
    is_count = occurrence.indicator.unit == "count"
    run_ids = tuple(dict.fromkeys(run_id for each in found.occurrences for run_id in each.run_ids))
    total = sum(each.count for each in found.occurrences) if is_count else occurrence.count
    confidence = _occurrence_confidence(found)
    return Finding(
        boat=engine.boat_id,
        engine=engine.id,
        indicator=occurrence.indicator.name,
        facet=occurrence.series.key.facet,
        status=found.status,
        value=total,
        unit=occurrence.indicator.unit,
        says=wording.occurrence_says(found.occurrences),
        do=CAUSES[found.cause].do,
        evidence=Evidence(
            int(total) if is_count else len(run_ids), len(run_ids), history.runs[engine.engine_id].files_of(run_ids)
        ),
        urgency=urgency(total if is_count else 1.0, confidence),
        latest_at=max(each.latest_at for each in found.occurrences),
        hold=occurrence.indicator.limits.hold,
        pattern="new",
        confidence=confidence,
        cause=found.cause,
        because=() if is_count else found.because,
        also=tuple(wording.title(each.indicator, each.key.facet) for each in found.symptoms),
        cautions=CAUSES[found.cause].runs_engine,
    )


def _evidence(found: Diagnosis, history: History, engine_id: str) -> Evidence:
    run_ids = tuple(dict.fromkeys(run_id for state in found.symptoms for run_id in state.run_ids))
    return Evidence(sum(state.n for state in found.symptoms), len(run_ids), history.runs[engine_id].files_of(run_ids))


def _soonest(symptoms: Sequence[State]) -> Crossing | None:
    """The crossing of the symptom that reaches its hold limit first; an open one only where none has a time."""
    ahead = [found for found in map(_ahead, symptoms) if found is not None]
    return min(ahead, key=lambda found: math.inf if found.at is None else found.at, default=None)


def _ahead(state: State) -> Crossing | None:
    """When the leading symptom reaches its hold limit, if it grows and has one."""
    signed, limit = signed_badness(state)
    return None if math.isnan(limit) else crossing(state.moved, limit, signed)


def _hours(at: float | None, now_hours: float, state: State) -> float | None:
    """Engine hours from now, 0 where the limit is reached already; None where the readings leave it open."""
    if state.status == "hold":
        return 0.0
    return None if at is None else max(0.0, at - now_hours)


def _days(ahead: Crossing | None, now_hours: float, state: State) -> float | None:
    """Days to the hold limit at the pace at which this engine has been used since the epoch began."""
    hours = _hours(ahead.at if ahead else None, now_hours, state)
    used = float(state.moved.series.hours[-1] - state.moved.series.hours[0])
    days = float(state.moved.series.at_s[-1] - state.moved.series.at_s[0]) / 86400
    return None if hours is None or used <= 0 else hours * days / used


def _confidence(found: Diagnosis, state: State) -> float:
    """How sure the cause is: the rule's own certainty, less while few runs show it."""
    return round(found.certainty * (0.7 + 0.3 * min(1.0, state.runs / FULL_EVIDENCE_RUNS)), 2)


def _occurrence_confidence(found: Diagnosis) -> float:
    runs = sum(len(each.run_ids) for each in found.occurrences)
    return round(found.certainty * (0.8 + 0.2 * min(1.0, runs / 2)), 2)
