"""What the Season screen shows: one indicator over the season, week by week, and what the whole fleet did."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import pandas as pd
import streamlit as st

from dashboard.data.morning import Edition, Fleet, judged
from pipeline import happenings, logbook, projections, screen_data, season_data
from pipeline.catalogue import Indicator, Limits, indicators
from pipeline.happenings import Happening
from pipeline.projections import Projection
from pipeline.register import Engine
from pipeline.season.together import CommonStep
from pipeline.season_data import Level
from pipeline.states import State


@dataclass(frozen=True, eq=False)
class Place:
    """One indicator and facet over the season: readings of some engines, where each engine stands, common steps."""

    indicator: Indicator
    facet: str
    readings: pd.DataFrame
    states: Mapping[str, State]
    steps: tuple[CommonStep, ...]

    @property
    def limits(self) -> Limits:
        """The limits that most engines share."""
        return season_data.indicator_limits(list(self.states.values()), self.indicator.name)


def place(fleet: Fleet, indicator: str, facet: str, as_of: datetime, engines: tuple[str, ...]) -> Place:
    """An indicator and facet over the season up to a moment, with the readings of some engines."""
    return _place(fleet.edition, indicator, facet, as_of, engines, fleet)


def engines_read(fleet: Fleet, indicator: str, facet: str, as_of: datetime) -> frozenset[str]:
    """The ids of the engines that have a reading of an indicator and facet."""
    return season_data.engines_read(fleet.store.reader(), indicator, facet, as_of)


def weeks(found: Place) -> pd.DataFrame:
    """The median reading of each engine in each week, and where it stands."""
    return season_data.weeks(found.readings, found.states, found.indicator, found.facet)


def half_range(found: Place, rows: pd.DataFrame) -> float:
    """How far from their middle the colours of those weeks reach."""
    return season_data.half_range(rows, found.indicator, found.facet, found.limits)


def watched(found: Place) -> float:
    """What would be watched of one engine, in the indicator's unit; 0 where only a share of its baseline is."""
    return season_data.watched(found.indicator, found.limits)


def together(fleet: Fleet, indicator: str, facet: str, as_of: datetime) -> tuple[pd.DataFrame, pd.DataFrame]:
    """What all engines did, day by day, and the stair of their common steps."""
    return _together(fleet.edition, indicator, facet, as_of, fleet)


def level(found: State) -> Level:
    """Where one engine stands, in words."""
    return season_data.level_of(found)


def levels(found: Sequence[State]) -> tuple[Level, ...]:
    """Where some engines stand, the most pressing first."""
    return season_data.levels(found)


def projection(found: State) -> Projection | None:
    """Where a growing level leads; None where it does not grow."""
    return projections.projection(found)


def is_of_week(readings: pd.DataFrame, week_ms: float) -> pd.Series:
    """Which readings are of the week that begins at a moment of the charts' clock."""
    return season_data.is_of_week(readings, week_ms)


def day_text(at_s: float, zone: ZoneInfo) -> str:
    """A day in the fleet's zone, in words."""
    return f"{datetime.fromtimestamp(at_s, zone):%a %d %b %Y}"


def happened(fleet: Fleet, found: Place, engines: Sequence[Engine], as_of: datetime) -> tuple[Happening, ...]:
    """What happened to some engines of one boat, with what the whole fleet did."""
    known = {engine.engine_id for engine in engines}
    states_ = [each for engine_id, each in found.states.items() if engine_id in known]
    rows = screen_data.believed(found.readings[found.readings["engine_id"].isin(known)])
    series = season_data.series_of(rows, found.indicator.name, found.facet, fleet.zone)
    notes = [
        note
        for note in logbook.in_force(logbook.notes(fleet.register.folder, as_of=as_of))
        if any(note.concerns(engine.boat_id, engine.id) for engine in engines)
    ]
    return happenings.happenings(series, states_, notes, found.steps, engines)


def facets(fleet: Fleet) -> dict[str, tuple[str, ...]]:
    """The facets that have readings, by indicator."""
    return _facets(fleet.edition, fleet)


@st.cache_resource(max_entries=32, show_spinner=False)
def _place(
    edition: Edition,  # noqa: ARG001 - the edition is the key
    indicator: str,
    facet: str,
    as_of: datetime,
    engines: tuple[str, ...],
    _fleet: Fleet,
) -> Place:
    found = judged(_fleet, as_of)
    steps = season_data.steps_at(found.steps, indicator, facet)
    db, zone = _fleet.store.reader(), _fleet.zone
    rows = season_data.readings(db, indicator, facet, as_of, zone, steps, found.withheld, engines)
    states_ = season_data.at_place(found.states, indicator, facet)
    return Place(indicators()[indicator], facet, rows, states_, steps)


@st.cache_resource(max_entries=32, show_spinner=False)
def _together(
    edition: Edition,  # noqa: ARG001 - the edition is the key
    indicator: str,
    facet: str,
    as_of: datetime,
    _fleet: Fleet,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    found = judged(_fleet, as_of)
    steps = season_data.steps_at(found.steps, indicator, facet)
    rows = season_data.readings(_fleet.store.reader(), indicator, facet, as_of, _fleet.zone, steps, found.withheld)
    return season_data.together_days(rows), season_data.together_line(rows, steps, _fleet.zone)


@st.cache_resource(max_entries=4, show_spinner=False)
def _facets(edition: Edition, _fleet: Fleet) -> dict[str, tuple[str, ...]]:  # noqa: ARG001 - the edition is the key
    return screen_data.facets(_fleet.store.reader())
