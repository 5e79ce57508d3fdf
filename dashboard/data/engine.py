"""What the Engine screen shows: events and readings of one engine, where its indicators stand, its channels."""

from __future__ import annotations

from datetime import datetime
from typing import Final

import pandas as pd
import streamlit as st

from dashboard.data.morning import Edition, Fleet, judged
from pipeline import baselines, screen_data
from pipeline import overlays as overlaid
from pipeline.catalogue import Limits, indicators
from pipeline.corrections import Corrections, corrections
from pipeline.overlays import Overlay
from pipeline.register import Engine
from pipeline.states import State, limits_of

SHIFT_SECONDS: Final = 12.0
"""How much of a log is shown about a shift."""


def shifts(fleet: Fleet, engine_id: str, as_of: datetime) -> pd.DataFrame:
    """Every shift of an engine."""
    return _rows(fleet.edition, "shifts", engine_id, as_of, fleet)


def idle_windows(fleet: Fleet, engine_id: str, as_of: datetime) -> pd.DataFrame:
    """Every idle window of an engine."""
    return _rows(fleet.edition, "idle_windows", engine_id, as_of, fleet)


def evidence(fleet: Fleet, engine_id: str, as_of: datetime) -> pd.DataFrame:
    """What the newest logs of an engine show."""
    return _rows(fleet.edition, "evidence", engine_id, as_of, fleet)


def offset_span(fleet: Fleet, engine_id: str, as_of: datetime) -> pd.DataFrame:
    """Offset and span of an engine's shift positions, run by run."""
    return _rows(fleet.edition, "offset_span", engine_id, as_of, fleet)


def trim_days(fleet: Fleet, engine_id: str, as_of: datetime) -> pd.DataFrame:
    """An engine's fuel trim day by day: cold, hot and their middle."""
    return _rows(fleet.edition, "trim_days", engine_id, as_of, fleet)


def pressing(fleet: Fleet, engine: Engine, as_of: datetime) -> str:
    """The indicator of an engine's most pressing finding; '' where there is none."""
    line = next(each for each in judged(fleet, as_of).boats if each.boat == engine.boat_id)
    return next((each.indicator for each in line.findings if each.engine == engine.id), "")


def stalls(fleet: Fleet, engine_id: str, as_of: datetime) -> pd.DataFrame:
    """Every stall of an engine."""
    return _stalls(fleet.edition, engine_id, as_of, fleet)


def readings(fleet: Fleet, engine_id: str, names: tuple[str, ...], as_of: datetime) -> pd.DataFrame:
    """Every reading of some indicators of an engine."""
    withheld = judged(fleet, as_of).withheld
    return screen_data.engine_readings(fleet.store.reader(), engine_id, names, as_of, fleet.zone, withheld)


def states(fleet: Fleet, engine_id: str, indicator: str, as_of: datetime) -> tuple[State, ...]:
    """Where the facets of an indicator of an engine stand."""
    return baselines.of_engine(judged(fleet, as_of).states, engine_id, indicator)


def overlays(fleet: Fleet, engine_id: str, as_of: datetime) -> tuple[Overlay, ...]:
    """An engine's newest shifts laid over its first ones."""
    return _overlays(fleet.edition, engine_id, as_of, fleet)


def channels(fleet: Fleet, engine_id: str, as_of: datetime) -> screen_data.Channels:
    """Which channels the logs of an engine hold and lack."""
    return screen_data.channels(fleet.store.reader(), engine_id, as_of)


def since_service(engine: Engine, hours: float | None) -> float | None:
    """Engine hours since the last service; None where either is unknown."""
    return screen_data.since_service(engine, hours)


def proposed(fleet: Fleet, engine_id: str, as_of: datetime) -> Corrections:
    """What the calibration of an engine could be changed by."""
    return _proposed(fleet.edition, engine_id, as_of, fleet)


def limits(fleet: Fleet, indicator: str, engine_id: str) -> Limits:
    """The limits in force for an engine."""
    return limits_of(indicators()[indicator], fleet.register, engine_id)


_ROWS: Final = {
    "shifts": screen_data.shifts,
    "idle_windows": screen_data.idle_windows,
    "evidence": screen_data.evidence,
    "offset_span": screen_data.offset_span,
    "trim_days": screen_data.trim_days,
}


@st.cache_data(max_entries=64, show_spinner=False)
def _rows(edition: Edition, name: str, engine_id: str, as_of: datetime, _fleet: Fleet) -> pd.DataFrame:  # noqa: ARG001
    withheld = judged(_fleet, as_of).withheld
    return _ROWS[name](_fleet.store.reader(), engine_id, as_of, _fleet.zone, withheld)


@st.cache_data(max_entries=16, show_spinner=False)
def _stalls(edition: Edition, engine_id: str, as_of: datetime, _fleet: Fleet) -> pd.DataFrame:  # noqa: ARG001
    return screen_data.stalls(_fleet.store.reader(), engine_id, as_of, _fleet.zone)


@st.cache_resource(max_entries=16, show_spinner="Laying shifts over each other…")
def _overlays(edition: Edition, engine_id: str, as_of: datetime, _fleet: Fleet) -> tuple[Overlay, ...]:  # noqa: ARG001
    return overlaid.overlays(_fleet.store, engine_id, as_of, judged(_fleet, as_of), _fleet.zone)


@st.cache_resource(max_entries=16, show_spinner=False)
def _proposed(edition: Edition, engine_id: str, as_of: datetime, _fleet: Fleet) -> Corrections:  # noqa: ARG001
    return corrections(_fleet.store.reader(), _fleet.register, engine_id, as_of, judged(_fleet, as_of))
