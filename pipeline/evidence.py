"""What is not known: engines without a log, with one that is too old, or whose logs lack what a morning asks about.

No evidence is not good evidence: each gap is a finding of status 'unchecked'.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from pipeline.catalogue import indicators
from pipeline.history import EngineRecord, History

EXPECTED: Final[dict[str, frozenset[str]]] = {
    "shift reverse": frozenset({"shift_position", "shift_target"}),
    "shift neutral": frozenset({"shift_position", "shift_target"}),
    "shift forward": frozenset({"shift_position", "shift_target"}),
    "idle neutral": frozenset({"rpm"}),
    "warm": frozenset(),
}
"""What recent logs should show, and the channels without which it cannot be asked for."""

TEMPERATURES: Final = frozenset({"coolant_temp", "oil_temp"})

LOOK_BACK: Final = timedelta(days=14)
"""How old the last sight of a gear may be (common practice, no published source)."""


@dataclass(frozen=True)
class Gap:
    """One thing not known of an engine.

    `facet` is 'age', 'run' (it never ran), 'channels' (nothing to judge by) or what was not seen.
    """

    engine_id: str
    facet: str
    age_days: float | None
    record: EngineRecord | None


def gaps(history: History, engine_id: str, currency_days: float) -> Iterator[Gap]:
    """What is not known of an engine; a silent engine has one gap, its age, whatever else is lacking."""
    record = history.engines.get(engine_id)
    if record is None:
        yield Gap(engine_id, "age", None, None)
        return
    age_days = (history.as_of - record.last_log_at) / timedelta(days=1)
    if age_days > currency_days:
        yield Gap(engine_id, "age", age_days, record)
        return
    if record.last_run_at is None or (history.as_of - record.last_run_at) / timedelta(days=1) > currency_days:
        yield Gap(engine_id, "run", age_days, record)
        return
    if not _is_judged(history, record):
        yield Gap(engine_id, "channels", age_days, record)
        return
    yield from (Gap(engine_id, facet, age_days, record) for facet in _unseen(history, record))


def _is_judged(history: History, record: EngineRecord) -> bool:
    """Whether the logs hold anything to judge by: shifting or idling, or any reading with a limit or a baseline.

    An engine that was only seen running, or warm, is not known to be sound.
    """
    held = set(record.channels)
    if any(_can_be_seen(facet, needed, held) for facet, needed in EXPECTED.items() if facet != "warm"):
        return True
    against = (indicators()[each.key.indicator].judged.against for each in history.series.get(record.engine_id, ()))
    return any(each in {"limits", "baseline"} for each in against)


def not_logged(record: EngineRecord) -> tuple[str, ...]:
    """What is expected but cannot be asked of this engine, because no log of it ever held the channels."""
    held = set(record.channels)
    return tuple(facet for facet, needed in EXPECTED.items() if not _can_be_seen(facet, needed, held))


def _unseen(history: History, record: EngineRecord) -> list[str]:
    held = set(record.channels)
    asked = [facet for facet, needed in EXPECTED.items() if _can_be_seen(facet, needed, held)]
    oldest = (history.as_of - LOOK_BACK).timestamp()
    seen = {
        series.key.facet
        for series in history.series.get(record.engine_id, ())
        if series.key.indicator == "evidence" and series.at_s[-1] >= oldest
    }
    return [facet for facet in asked if facet not in seen]


def _can_be_seen(facet: str, needed: frozenset[str], held: set[str]) -> bool:
    if facet == "warm":
        return bool(held & TEMPERATURES)
    has_rest = facet != "idle neutral" or bool(held & {"pedal", "idle_active"} and held & {"gear", "shift_target"})
    return needed <= held and has_rest
