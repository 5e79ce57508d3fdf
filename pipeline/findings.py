"""What a morning has to say: one finding a line, with its reason, its count, its age and what to do next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from pipeline.states import STATUSES, Status


@dataclass(frozen=True)
class Evidence:
    """What a finding rests on: samples (shifts, windows), runs, and the log files in time order."""

    n: int
    runs: int
    logs: tuple[str, ...]


@dataclass(frozen=True)
class Finding:
    """One thing wrong, or unknown. Numbers are in `unit`; None is 'not known' or 'not set', never zero.

    `boat` and `engine` are None for a finding of the whole fleet, which has `engines` instead: how many moved.
    `low` and `high` are the interval of `value`. `latest_at` is the newest reading behind it. `urgency` orders findings
    of one status. `because` is what speaks for the cause, `rather_than` the next likeliest one, `also` the other
    symptoms that the same cause explains; `cautions` asks for the cautions of running an engine.
    `short` is the deciding number against its limit, '' where there is none and `says` is all.
    `after_note` says what came of the last note that answered it, `deferred_until` how long a deferral is in force,
    `deferred_by` whose it is and `deferred_for` the reason that was written.
    """

    boat: str | None
    engine: str | None
    indicator: str
    facet: str | None
    status: Status
    value: float | None
    unit: str
    says: str
    do: str
    evidence: Evidence
    urgency: float
    latest_at: datetime | None = None
    low: float | None = None
    high: float | None = None
    watch: float | None = None
    hold: float | None = None
    baseline: float | None = None
    pattern: str | None = None
    since: datetime | None = None
    per_100_hours: float | None = None
    per_week: float | None = None
    hours_to_hold: float | None = None
    hours_to_hold_low: float | None = None
    hours_to_hold_high: float | None = None
    days_to_hold: float | None = None
    confidence: float | None = None
    cause: str | None = None
    because: tuple[str, ...] = ()
    rather_than: str | None = None
    also: tuple[str, ...] = ()
    cautions: bool = False
    after_note: str | None = None
    deferred_until: datetime | None = None
    deferred_by: str | None = None
    deferred_for: str | None = None
    engines: int | None = None
    short: str = ""


def worst(statuses: list[Status]) -> Status:
    """The most pressing of some statuses; 'ready' where there is none."""
    return min(statuses, key=STATUSES.index, default="ready")


def as_json(finding: Finding, *, fleet_wide: bool = False) -> dict[str, Any]:
    """The finding as `check --json` gives it; `since` is a date, the age is left to the reader's clock."""
    found: dict[str, Any] = {
        "engine": finding.engine,
        "indicator": finding.indicator,
        "facet": finding.facet,
        "status": finding.status,
        "value": _rounded(finding.value),
        "unit": finding.unit,
        "value_low": _rounded(finding.low),
        "value_high": _rounded(finding.high),
        "latest_at": finding.latest_at.isoformat(timespec="seconds") if finding.latest_at else None,
        "watch": finding.watch,
        "hold": finding.hold,
        "baseline": _rounded(finding.baseline),
        "pattern": finding.pattern,
        "since": finding.since.date().isoformat() if finding.since else None,
        "per_100_hours": _rounded(finding.per_100_hours),
        "per_week": _rounded(finding.per_week),
        "hours_to_hold": _rounded(finding.hours_to_hold),
        "hours_to_hold_low": _rounded(finding.hours_to_hold_low),
        "hours_to_hold_high": _rounded(finding.hours_to_hold_high),
        "days_to_hold": _rounded(finding.days_to_hold),
        "confidence": _rounded(finding.confidence),
        "cause": finding.cause,
        "because": list(finding.because),
        "rather_than": finding.rather_than,
        "also": list(finding.also),
        "after_note": finding.after_note,
        "deferred_until": finding.deferred_until.isoformat(timespec="seconds") if finding.deferred_until else None,
        "deferred_by": finding.deferred_by,
        "deferred_for": finding.deferred_for,
        "says": finding.says,
        "do": finding.do,
        "evidence": {"n": finding.evidence.n, "runs": finding.evidence.runs, "logs": list(finding.evidence.logs)},
    }
    if fleet_wide:
        del found["engine"]
        found["engines"] = finding.engines
    return found


def _rounded(value: float | None) -> float | None:
    """Enough digits for any unit here, few enough to read."""
    return None if value is None else round(value, 3)
