"""What the Trace screen shows: an engine's logs, a stretch of one of them, and the clock it is drawn on."""

from __future__ import annotations

from datetime import datetime

import pandas as pd
import streamlit as st

from dashboard import state
from dashboard.data.morning import Edition, Fleet
from pipeline import log_events as events
from pipeline import screen_data
from pipeline import trace as traces
from pipeline.trace import LogPlace, Stretch


def logs_of(fleet: Fleet, engine_id: str, as_of: datetime) -> tuple[LogPlace, ...]:
    """The logs of an engine, the newest first."""
    return traces.logs_of(fleet.store.reader(), engine_id, as_of)


def log_named(fleet: Fleet, engine_id: str, as_of: datetime, file: str) -> LogPlace | None:
    """One log of an engine by its file; None where there is none up to the moment."""
    return traces.log_named(fleet.store.reader(), engine_id, as_of, file)


def trace(fleet: Fleet, stretch: Stretch, channels: tuple[str, ...]) -> pd.DataFrame:
    """Channels of a log in a stretch, thinned."""
    return _trace(fleet.edition, stretch, channels, fleet)


def log_events(fleet: Fleet, engine_id: str, place: LogPlace) -> pd.DataFrame:
    """What happened in a log, in time order."""
    return events.log_events(fleet.store.reader(), engine_id, place, fleet.zone)


def stretch(place: LogPlace, from_text: str | None, seconds_text: str | None) -> Stretch:
    """The stretch that an address asks for, held inside the log; the whole log where it asks for none."""
    return traces.stretch_of(place, from_text, seconds_text)


def about(at_s: float, seconds: float) -> dict[str, str]:
    """The parameters of a stretch that begins a little before a moment."""
    return stretch_link(at_s - seconds / 4, seconds)


def stretch_link(from_s: float, seconds: float) -> dict[str, str]:
    """The parameters of a stretch that begins at a moment."""
    return {state.FROM: f"{from_s:.2f}", state.SECONDS: f"{seconds:.2f}"}


def span_ms(fleet: Fleet, shown: Stretch) -> tuple[float, float]:
    """A stretch on its log's clock."""
    place = shown.place
    return traces.clock_ms(place, shown.from_s, fleet.zone), traces.clock_ms(place, shown.to_s, fleet.zone)


def at_clock(fleet: Fleet, place: LogPlace, clock_ms: float) -> float:
    """The moment (epoch s) at which a log's clock shows that."""
    return traces.at_clock(place, clock_ms, fleet.zone)


def local_ms(fleet: Fleet, at_s: float) -> float:
    """A moment on the charts' clock."""
    return screen_data.local_ms(at_s, fleet.zone)


def local_text(fleet: Fleet, at_s: float) -> str:
    """A moment in the fleet's zone, in words."""
    return f"{datetime.fromtimestamp(at_s, fleet.zone):%a %d %b %Y %H:%M}"


@st.cache_data(max_entries=128, show_spinner=False)
def _trace(edition: Edition, stretch: Stretch, channels: tuple[str, ...], _fleet: Fleet) -> pd.DataFrame:  # noqa: ARG001
    samples = _fleet.store.samples_path(stretch.place.samples)
    return traces.trace(_fleet.store.reader(), samples, stretch, channels, _fleet.zone)
