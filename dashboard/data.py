"""Everything a screen may ask for: one function a thing, read-only, cached by what it was made from.

A cached answer belongs to one snapshot, fleet file, schedule and logbook; when any of them changes, so does the key.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import pandas as pd
import streamlit as st

from pipeline import logbook, morning, screen_data
from pipeline.catalogue import Limits, indicators
from pipeline.changes import Change
from pipeline.corrections import Corrections, corrections
from pipeline.logbook import Note
from pipeline.morning import Morning
from pipeline.register import FILE_NAME, Boat, Engine, Register, load_register
from pipeline.states import limits_of
from pipeline.store import Store

Edition = tuple[object, ...]
"""What a cached answer was made from: snapshot, and size and age of the files that people change."""

STEP: Final = timedelta(minutes=5)
"""The present moves in steps of this size, so that every click within one finds the morning judged already."""

_CHANGED_BY_PEOPLE: Final = (FILE_NAME, "schedule.csv", logbook.FILE_NAME, f"{logbook.FILE_NAME}-wal")


@dataclass(frozen=True)
class Fleet:
    """The fleet folder as it stands now; `edition` keys every cached answer."""

    register: Register
    store: Store
    edition: Edition

    @property
    def zone(self) -> ZoneInfo:
        """The fleet's time zone: every time on every screen is in it."""
        return ZoneInfo(self.register.timezone)


def folder() -> Path:
    """The fleet folder: the app's argument, else MORNINGWATCH_FLEET, else the current folder."""
    given = sys.argv[1] if len(sys.argv) > 1 else os.environ.get("MORNINGWATCH_FLEET", "")
    return Path(given or ".")


def fleet() -> Fleet:
    """The fleet of this app. Raises RegisterError where fleet.toml cannot be read."""
    where = folder()
    return _fleet(where, _edition(where))


def now(fleet: Fleet) -> datetime:
    """The present in the fleet's zone: the last five-minute mark, or the snapshot's own time if that is later."""
    moment = datetime.now(UTC)
    mark = moment - timedelta(seconds=moment.timestamp() % STEP.total_seconds())
    snapshot = fleet.store.snapshot()
    published = datetime.fromtimestamp(snapshot.stat().st_mtime, UTC) if snapshot and snapshot.exists() else mark
    return max(mark, min(published + timedelta(seconds=1), moment)).astimezone(fleet.zone)


def judged(fleet: Fleet, as_of: datetime) -> Morning:
    """The whole judgement of the fleet as of a moment. Raises StoreError where nothing has been read yet."""
    return _judged(fleet.edition, as_of, fleet)


def changed(fleet: Fleet, as_of: datetime) -> tuple[Change, ...]:
    """What changed since the morning before; a second judgement, so ask for it last."""
    return _changed(fleet.edition, as_of, fleet)


def shifts(fleet: Fleet, engine_id: str, as_of: datetime) -> pd.DataFrame:
    """Every shift of an engine."""
    return _rows(fleet.edition, "shifts", engine_id, as_of, fleet)


def idle_windows(fleet: Fleet, engine_id: str, as_of: datetime) -> pd.DataFrame:
    """Every idle window of an engine."""
    return _rows(fleet.edition, "idle_windows", engine_id, as_of, fleet)


def evidence(fleet: Fleet, engine_id: str, as_of: datetime) -> pd.DataFrame:
    """What the newest logs of an engine show."""
    return _rows(fleet.edition, "evidence", engine_id, as_of, fleet)


def channels(fleet: Fleet, engine_id: str, as_of: datetime) -> screen_data.Channels:
    """Which channels the logs of an engine hold and lack."""
    return screen_data.channels(fleet.store.reader(), engine_id, as_of)


def siblings(fleet: Fleet, boat: Boat, as_of: datetime) -> tuple[screen_data.SiblingRow, ...]:
    """A boat's engines side by side."""
    return screen_data.siblings(judged(fleet, as_of).states, boat)


def since_service(engine: Engine, hours: float | None) -> float | None:
    """Engine hours since the last service; None where either is unknown."""
    return screen_data.since_service(engine, hours)


def proposed(fleet: Fleet, engine_id: str, as_of: datetime) -> Corrections:
    """What the calibration of an engine could be changed by."""
    return _proposed(fleet.edition, engine_id, as_of, fleet)


def limits(fleet: Fleet, indicator: str, engine_id: str) -> Limits:
    """The limits in force for an engine."""
    return limits_of(indicators()[indicator], fleet.register, engine_id)


def written(fleet: Fleet, as_of: datetime, boat: str | None = None, engine: str | None = None) -> tuple[Note, ...]:
    """The notes up to a moment, the newest first."""
    return logbook.notes(fleet.register.folder, boat, engine, as_of)[::-1]


def _edition(where: Path) -> Edition:
    current = where / "store" / "CURRENT"
    names = [where / name for name in _CHANGED_BY_PEOPLE]
    return (str(where), current.read_text(encoding="utf-8") if current.exists() else None, *_ages(names))


def _ages(paths: list[Path]) -> Iterator[tuple[int, int] | None]:
    for path in paths:
        try:
            found = path.stat()
        except FileNotFoundError:
            yield None
        else:
            yield found.st_mtime_ns, found.st_size


@st.cache_resource(max_entries=4, show_spinner=False)
def _fleet(where: Path, edition: Edition) -> Fleet:
    return Fleet(load_register(where, frozenset(indicators())), _store(where), edition)


@st.cache_resource(max_entries=4, show_spinner=False)
def _store(where: Path) -> Store:
    return Store(where)


@st.cache_resource(max_entries=8, show_spinner="Judging the morning…")
def _judged(edition: Edition, as_of: datetime, _fleet: Fleet) -> Morning:  # noqa: ARG001 - the edition is the key
    return morning.assess(_fleet.store.reader(), _fleet.register, as_of)


@st.cache_resource(max_entries=8, show_spinner="Comparing with the morning before…")
def _changed(edition: Edition, as_of: datetime, _fleet: Fleet) -> tuple[Change, ...]:
    return morning.since(_fleet.store.reader(), _fleet.register, _judged(edition, as_of, _fleet))


_ROWS: Final = {
    "shifts": screen_data.shifts,
    "idle_windows": screen_data.idle_windows,
    "evidence": screen_data.evidence,
}


@st.cache_data(max_entries=64, show_spinner=False)
def _rows(edition: Edition, name: str, engine_id: str, as_of: datetime, _fleet: Fleet) -> pd.DataFrame:  # noqa: ARG001
    return _ROWS[name](_fleet.store.reader(), engine_id, as_of, _fleet.zone)


@st.cache_resource(max_entries=16, show_spinner=False)
def _proposed(edition: Edition, engine_id: str, as_of: datetime, _fleet: Fleet) -> Corrections:
    states = _judged(edition, as_of, _fleet).states
    return corrections(_fleet.store.reader(), _fleet.register, engine_id, as_of, states)
