"""Everything a screen may ask for: one function a thing, read-only, cached by what it was made from.

A cached answer belongs to one snapshot, fleet file, schedule and logbook; when any of them changes, so does the key.
Where a server judges ahead, every screen shows the morning judged last, as of the moment it was judged for.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import pandas as pd
import streamlit as st

from dashboard import state
from dashboard.ahead import Ahead
from pipeline import baselines, happenings, logbook, morning, projections, screen_data, season_data
from pipeline import log_events as events
from pipeline import method as methods
from pipeline import overlays as overlaid
from pipeline import trace as traces
from pipeline.catalogue import Indicator, Limits, indicators
from pipeline.changes import Change, changes
from pipeline.corrections import Corrections, corrections
from pipeline.happenings import Happening
from pipeline.history import load_history
from pipeline.logbook import Kind, Note
from pipeline.method import Method
from pipeline.morning import Morning
from pipeline.overlays import Overlay
from pipeline.projections import Projection
from pipeline.register import FILE_NAME, Boat, Departure, Engine, Register, load_register, load_schedule
from pipeline.report.sheet import sheet_of
from pipeline.report.writing import made
from pipeline.season.together import CommonStep
from pipeline.season_data import Level
from pipeline.states import State, limits_of
from pipeline.store import Store
from pipeline.trace import LogPlace, Stretch

Edition = tuple[object, ...]
"""What a cached answer was made from: snapshot, and size and age of the files that people change."""

STEP: Final = timedelta(minutes=5)
"""The present moves in steps of this size, so that every click within one finds the morning judged already."""

A_DAY: Final = timedelta(days=1)
"""What the morning before lies back."""

SHIFT_SECONDS: Final = 12.0
"""How much of a log is shown about a shift."""

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


def shifts(fleet: Fleet, engine_id: str, as_of: datetime) -> pd.DataFrame:
    """Every shift of an engine."""
    return _rows(fleet.edition, "shifts", engine_id, as_of, fleet)


def idle_windows(fleet: Fleet, engine_id: str, as_of: datetime) -> pd.DataFrame:
    """Every idle window of an engine."""
    return _rows(fleet.edition, "idle_windows", engine_id, as_of, fleet)


def evidence(fleet: Fleet, engine_id: str, as_of: datetime) -> pd.DataFrame:
    """What the newest logs of an engine show."""
    return _evidence(fleet.edition, engine_id, as_of, fleet)


def offset_span(fleet: Fleet, engine_id: str, as_of: datetime) -> pd.DataFrame:
    """Offset and span of an engine's shift positions, run by run."""
    return _rows(fleet.edition, "offset_span", engine_id, as_of, fleet)


def trim_days(fleet: Fleet, engine_id: str, as_of: datetime) -> pd.DataFrame:
    """An engine's fuel trim day by day: cold, hot and their middle."""
    return _rows(fleet.edition, "trim_days", engine_id, as_of, fleet)


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
    return screen_data.dock_checks(fleet.store.reader(), as_of)


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


@dataclass(frozen=True)
class Draft:
    """A note that somebody wants to write. `until`, a day's end, counts for a deferral alone; `entry` names the act."""

    boat: str
    engine: str | None
    kind: Kind
    text: str
    at: datetime
    author: str
    until: date
    corrects: int | None
    entry: str


@dataclass(frozen=True)
class Said:
    """What became of it: the note, or in words why it was not written."""

    note: Note | None
    text: str


def write_note(fleet: Fleet, draft: Draft) -> Said:
    """Write a note, once for each entry; what is wrong with it comes back in words."""
    end = datetime.combine(draft.until, time(23, 59, 59), fleet.zone) if draft.kind is Kind.DEFER else None
    try:
        found = logbook.add_note(
            fleet.register.folder,
            draft.boat,
            draft.engine,
            draft.kind,
            draft.text,
            draft.at,
            draft.author.strip() or None,
            end,
            corrects=draft.corrects,
            entry=draft.entry,
        )
    except ValueError as error:
        return Said(None, f"Not written: {error}.")
    return Said(found, f"Note {found.note_id} is written.")


def in_force(notes: Sequence[Note]) -> tuple[Note, ...]:
    """The notes that still count: no later one put them right."""
    return logbook.in_force(notes)


def starts_anew(note: Note) -> bool:
    """Whether the engine is compared anew from this note on."""
    return note.kind in logbook.REBASING


def channels(fleet: Fleet, engine_id: str, as_of: datetime) -> screen_data.Channels:
    """Which channels the logs of an engine hold and lack."""
    return screen_data.channels(fleet.store.reader(), engine_id, as_of)


def siblings(fleet: Fleet, boat: Boat, as_of: datetime) -> tuple[screen_data.SiblingRow, ...]:
    """A boat's engines side by side."""
    return screen_data.siblings(judged(fleet, as_of).states, boat)


def departures(fleet: Fleet, boat: str, as_of: datetime) -> tuple[Departure, ...]:
    """A boat's departures from a moment on, the next one first."""
    planned = load_schedule(fleet.register).departures.get(boat, ())
    return tuple(each for each in planned if each.departs >= as_of)


def since_service(engine: Engine, hours: float | None) -> float | None:
    """Engine hours since the last service; None where either is unknown."""
    return screen_data.since_service(engine, hours)


def proposed(fleet: Fleet, engine_id: str, as_of: datetime) -> Corrections:
    """What the calibration of an engine could be changed by."""
    return _proposed(fleet.edition, engine_id, as_of, fleet)


def method(fleet: Fleet, as_of: datetime) -> Method:
    """How everything is judged, with the false-alarm budget of this fleet as it has run up to a moment."""
    return _method(fleet.edition, as_of, fleet)


def limits(fleet: Fleet, indicator: str, engine_id: str) -> Limits:
    """The limits in force for an engine."""
    return limits_of(indicators()[indicator], fleet.register, engine_id)


def written(fleet: Fleet, as_of: datetime, boat: str | None = None, engine: str | None = None) -> tuple[Note, ...]:
    """The notes up to a moment, the newest first."""
    return logbook.notes(fleet.register.folder, boat, engine, as_of)[::-1]


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


@st.cache_resource(max_entries=4, show_spinner=False)
def _method(edition: Edition, as_of: datetime, _fleet: Fleet) -> Method:  # noqa: ARG001 - the edition is the key
    return methods.method(methods.budget_of(load_history(_fleet.store.reader(), as_of)))


_ROWS: Final = {
    "shifts": screen_data.shifts,
    "idle_windows": screen_data.idle_windows,
    "offset_span": screen_data.offset_span,
    "trim_days": screen_data.trim_days,
}


@st.cache_resource(max_entries=4, show_spinner=False)
def _logs(edition: Edition, as_of: datetime, _fleet: Fleet) -> pd.DataFrame:  # noqa: ARG001 - nobody writes into it
    return screen_data.logs(_fleet.store.reader(), as_of, _fleet.zone)


@st.cache_data(max_entries=64, show_spinner=False)
def _rows(edition: Edition, name: str, engine_id: str, as_of: datetime, _fleet: Fleet) -> pd.DataFrame:  # noqa: ARG001
    withheld = judged(_fleet, as_of).withheld
    return _ROWS[name](_fleet.store.reader(), engine_id, as_of, _fleet.zone, withheld)


@st.cache_data(max_entries=16, show_spinner=False)
def _evidence(edition: Edition, engine_id: str, as_of: datetime, _fleet: Fleet) -> pd.DataFrame:  # noqa: ARG001
    return screen_data.evidence(_fleet.store.reader(), engine_id, as_of, _fleet.zone)


@st.cache_data(max_entries=16, show_spinner=False)
def _stalls(edition: Edition, engine_id: str, as_of: datetime, _fleet: Fleet) -> pd.DataFrame:  # noqa: ARG001
    return screen_data.stalls(_fleet.store.reader(), engine_id, as_of, _fleet.zone)


@st.cache_resource(max_entries=16, show_spinner="Laying shifts over each other…")
def _overlays(edition: Edition, engine_id: str, as_of: datetime, _fleet: Fleet) -> tuple[Overlay, ...]:  # noqa: ARG001
    return overlaid.overlays(_fleet.store, engine_id, as_of, judged(_fleet, as_of), _fleet.zone)


@st.cache_resource(max_entries=16, show_spinner=False)
def _proposed(edition: Edition, engine_id: str, as_of: datetime, _fleet: Fleet) -> Corrections:  # noqa: ARG001
    return corrections(_fleet.store.reader(), _fleet.register, engine_id, as_of, judged(_fleet, as_of))


@st.cache_data(max_entries=128, show_spinner=False)
def _trace(edition: Edition, stretch: Stretch, channels: tuple[str, ...], _fleet: Fleet) -> pd.DataFrame:  # noqa: ARG001
    samples = _fleet.store.samples_path(stretch.place.samples)
    return traces.trace(_fleet.store.reader(), samples, stretch, channels, _fleet.zone)
