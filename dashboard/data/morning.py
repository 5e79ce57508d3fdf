"""The fleet of this app: its folder, its present morning judged ahead, and any other morning judged when asked."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Hashable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import streamlit as st

from dashboard.ahead import Ahead
from pipeline import logbook, morning
from pipeline.catalogue import indicators
from pipeline.changes import Change, changes
from pipeline.morning import Morning
from pipeline.register import FILE_NAME, Register, load_register
from pipeline.report.sheet import sheet_of
from pipeline.report.writing import made
from pipeline.store import Store

Edition = tuple[object, ...]
"""What a cached answer was made from: snapshot, and size and age of the files that people change."""


STEP: Final = timedelta(minutes=5)
"""The present moves in steps of this size, so that every click within one finds the morning judged already."""


A_DAY: Final = timedelta(days=1)
"""What the morning before lies back."""


_CHANGED_BY_PEOPLE: Final = (FILE_NAME, "schedule.csv", logbook.FILE_NAME, f"{logbook.FILE_NAME}-wal")


@dataclass(frozen=True)
class Ready:
    """The morning that was judged ahead, and what changed since the one before."""

    morning: Morning
    changes: tuple[Change, ...]


@dataclass(frozen=True)
class Fleet:
    """The fleet folder as it stood when it was read; `edition` keys every cached answer.

    `ready` is None where nobody judges ahead. `is_behind` tells that logs or notes came in that are still being judged.
    """

    register: Register
    store: Store
    edition: Edition
    ready: Ready | None = None
    is_behind: bool = False

    @property
    def zone(self) -> ZoneInfo:
        """The fleet's time zone: every time on every screen is in it."""
        return ZoneInfo(self.register.timezone)

    def boat_name(self, boat: str) -> str:
        """What people call a boat; its id where the register does not know it any more."""
        return next((each.name for each in self.register.boats if each.id == boat), boat)

    def name_of(self, engine_id: str) -> str:
        """What people call an engine: boat and engine; with the boat's id where two boats bear one name."""
        boat, _, engine = engine_id.partition("/")
        name = self.boat_name(boat)
        is_alone = sum(each.name == name for each in self.register.boats) <= 1
        return f"{name if is_alone else f'{name} ({boat})'}, {engine}"


def folder() -> Path:
    """The fleet folder: the app's argument, else MORNINGWATCH_FLEET, else the current folder."""
    given = sys.argv[1] if len(sys.argv) > 1 else os.environ.get("MORNINGWATCH_FLEET", "")
    return Path(given or ".")


def fleet() -> Fleet:
    """The fleet of this app. Raises RegisterError where fleet.toml cannot be read."""
    where = folder()
    found = _newest_judged() if _AHEAD.is_started else None
    if found is None:
        return _fleet(where, _edition(where))
    return replace(found, is_behind=found.edition != _edition(where))


def judge_ahead() -> None:
    """From now on keep the present morning judged, in a thread of this process, so that nobody waits for it."""
    _AHEAD.start()


def is_newer_ready(fleet: Fleet) -> bool:
    """Whether what this fleet is behind with has been judged meanwhile, or turned out not to be readable."""
    found = _AHEAD.newest()
    return found is None or found.edition != fleet.edition


def now(fleet: Fleet) -> datetime:
    """The present in the fleet's zone: the moment that was judged last, else the last five-minute mark.

    A mark gives way to the moment when logs or notes last came in.
    """
    return fleet.ready.morning.as_of if fleet.ready else _mark(fleet)


def judged(fleet: Fleet, as_of: datetime) -> Morning:
    """The whole judgement of the fleet as of a moment. Raises StoreError where nothing has been read yet."""
    if fleet.ready and fleet.ready.morning.as_of == as_of:
        return fleet.ready.morning
    return _judged(fleet.edition, as_of, fleet)


def changed(fleet: Fleet, as_of: datetime) -> tuple[Change, ...]:
    """What changed since the morning before; a second judgement, so ask for it last."""
    if fleet.ready and fleet.ready.morning.as_of == as_of:
        return fleet.ready.changes
    return _changed(fleet.edition, as_of, fleet)


def sheet(fleet: Fleet, as_of: datetime, form: str) -> bytes:
    """The morning's sheet as a file, in one of the report's forms."""
    return _sheet(fleet.edition, as_of, form, fleet)


def _newest_judged() -> Fleet | None:
    if _AHEAD.has_answer():
        return _AHEAD.newest()
    with st.spinner("Judging the morning, for the first time since the server started…"):
        return _AHEAD.newest()


def _present() -> Fleet:
    """The fleet with its present morning judged."""
    where = folder()
    found = _fleet(where, _edition(where))
    present = _judge(found, _mark(found))
    before = _judge(found, present.as_of - A_DAY)
    ready = replace(found, ready=Ready(present, changes(before.boats, present.boats)))
    # a big fleet's morning is a million objects, none of them in a circle: looking for circles among them would cost
    # every click a third of a second. They are still freed when nobody holds them any more.
    gc.freeze()
    return ready


def _present_key() -> tuple[object, ...]:
    where = folder()
    return (*_edition(where), datetime.now(UTC).timestamp() // STEP.total_seconds())


_AHEAD: Final = Ahead(_present_key, _present)


def _judge(fleet: Fleet, as_of: datetime) -> Morning:
    """Judge, studying the season anew only for a moment that knows more or less than one studied already."""
    known = morning.known_at(fleet.store.reader(), fleet.register, as_of)
    return morning.judged(_studied(fleet.edition, known, as_of, fleet), fleet.register, as_of)


def _mark(fleet: Fleet) -> datetime:
    moment = datetime.now(UTC)
    mark = moment - timedelta(seconds=moment.timestamp() % STEP.total_seconds())
    return max(mark, min(_last_change(fleet.register.folder), moment)).astimezone(fleet.zone)


def _edition(where: Path) -> Edition:
    current = where / "store" / "CURRENT"
    names = [where / name for name in _CHANGED_BY_PEOPLE]
    return (str(where), current.read_text(encoding="utf-8") if current.exists() else None, *_ages(names))


def _last_change(where: Path) -> datetime:
    """When the newest logs were published or the newest note was written."""
    ages = _ages([where / "store" / "CURRENT", where / logbook.FILE_NAME, where / f"{logbook.FILE_NAME}-wal"])
    newest_ns = max((found[0] for found in ages if found), default=0)
    return datetime.fromtimestamp(newest_ns / 1e9 + 1, UTC)


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


@st.cache_resource(max_entries=3, show_spinner=False)
def _studied(edition: Edition, known: Hashable, _as_of: datetime, _fleet: Fleet) -> morning.Studied:  # noqa: ARG001
    return morning.studied(_fleet.store.reader(), _fleet.register, _as_of)


@st.cache_resource(max_entries=8, show_spinner="Judging the morning…")
def _judged(edition: Edition, as_of: datetime, _fleet: Fleet) -> Morning:  # noqa: ARG001 - the edition is the key
    return _judge(_fleet, as_of)


@st.cache_resource(max_entries=8, show_spinner="Comparing with the morning before…")
def _changed(edition: Edition, as_of: datetime, _fleet: Fleet) -> tuple[Change, ...]:
    before = _judge(_fleet, as_of - A_DAY)
    return changes(before.boats, _judged(edition, as_of, _fleet).boats)


@st.cache_data(max_entries=12, show_spinner=False)
def _sheet(edition: Edition, as_of: datetime, form: str, _fleet: Fleet) -> bytes:  # noqa: ARG001 - the edition is the key
    return made(sheet_of(judged(_fleet, as_of), changed(_fleet, as_of)), form)
