"""What the Boat, Logs and Method screens show: siblings, departures, files that came in, how all is judged."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

import pandas as pd
import streamlit as st

from dashboard.data.morning import Edition, Fleet, judged
from pipeline import method as methods
from pipeline import screen_data
from pipeline.history import load_history
from pipeline.method import Method
from pipeline.register import Boat, Departure, load_schedule


def logs(fleet: Fleet, as_of: datetime) -> pd.DataFrame:
    """Every file that came in, taken or refused."""
    return _logs(fleet.edition, as_of, fleet)


def refused(fleet: Fleet, as_of: datetime) -> tuple[str, ...]:
    """The files that were refused; none before anything was read."""
    if fleet.store.snapshot() is None:
        return ()
    found = logs(fleet, as_of)
    return tuple(str(file) for file in found[found["status"] == "refused"]["file"])


def dock_checks(fleet: Fleet, as_of: datetime) -> Mapping[str, screen_data.DockCheck]:
    """What the newest log of each engine shows of a dock check."""
    return screen_data.dock_checks(fleet.store.reader(), as_of, judged(fleet, as_of).withheld)


def siblings(fleet: Fleet, boat: Boat, as_of: datetime) -> tuple[screen_data.SiblingRow, ...]:
    """A boat's engines side by side."""
    return screen_data.siblings(judged(fleet, as_of).states, boat)


def departures(fleet: Fleet, boat: str, as_of: datetime) -> tuple[Departure, ...]:
    """A boat's departures from a moment on, the next one first."""
    planned = load_schedule(fleet.register).departures.get(boat, ())
    return tuple(each for each in planned if each.departs >= as_of)


def method(fleet: Fleet, as_of: datetime) -> Method:
    """How everything is judged, with the false-alarm budget of this fleet as it has run up to a moment."""
    return _method(fleet.edition, as_of, fleet)


@st.cache_resource(max_entries=4, show_spinner=False)
def _method(edition: Edition, as_of: datetime, _fleet: Fleet) -> Method:  # noqa: ARG001 - the edition is the key
    return methods.method(methods.budget_of(load_history(_fleet.store.reader(), as_of)))


@st.cache_resource(max_entries=4, show_spinner=False)
def _logs(edition: Edition, as_of: datetime, _fleet: Fleet) -> pd.DataFrame:  # noqa: ARG001 - nobody writes into it
    return screen_data.logs(_fleet.store.reader(), as_of, _fleet.zone)
