"""What came of what was done: for each note that answers something, whether the next logs held it.

Judged by what stood out on the engine just before the note: is it still there in the runs since?
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final, Literal

import numpy as np

from pipeline.catalogue import indicators
from pipeline.history import History
from pipeline.logbook import ANSWERING, Note
from pipeline.register import Register
from pipeline.season.fleet import Season, movement_until
from pipeline.season.together import common_offset
from pipeline.states import State, distance, is_beyond, judge, limits_of

Outcome = Literal["held", "came back", "not mended", "not seen yet", "nothing stood out"]

LOOK_BACK: Final = timedelta(days=90)
"""Older notes are history; their engines have been judged anew many times since (common practice)."""

ENOUGH_RUNS: Final = 2
"""Runs after a note before anything is said of it: one could be luck."""


@dataclass(frozen=True)
class Aftermath:
    """What came of a note on one engine.

    `about` are the states that stood out before it, `runs` how many runs have followed.
    """

    note: Note
    engine_id: str
    outcome: Outcome
    about: tuple[State, ...]
    runs: int


def aftermaths(
    history: History, season: Season, register: Register, engine_id: str, notes: Sequence[Note]
) -> Iterator[Aftermath]:
    """What came of each answering note on an engine, oldest first."""
    for note in notes:
        if note.kind in ANSWERING and history.as_of - note.at <= LOOK_BACK:
            yield _aftermath(history, season, register, engine_id, note)


def _aftermath(history: History, season: Season, register: Register, engine_id: str, note: Note) -> Aftermath:
    moment = note.at.timestamp()
    stood = tuple(standing_at(history, season, register, engine_id, moment))
    runs = history.runs.get(engine_id)
    followed = 0 if runs is None else int(np.count_nonzero(runs.started_s > moment))
    since = [_since(history, season, state, moment) for state in stood]
    return Aftermath(note, engine_id, _outcome(stood, since, followed), stood, followed)


def standing_at(history: History, season: Season, register: Register, engine_id: str, moment: float) -> Iterator[State]:
    """What stood out on the engine just before a moment (epoch s), with the readings known then."""
    for series in history.series.get(engine_id, ()):
        indicator = indicators()[series.key.indicator]
        count = int(np.searchsorted(series.at_s, moment))
        if indicator.judged.against in {"limits", "baseline"} and count:
            moved = movement_until(series, count, indicator, season)
            state = judge(moved, indicator, limits_of(indicator, register, engine_id))
            if state.status != "ready":
                yield state


def _since(history: History, season: Season, before: State, moment: float) -> list[bool]:
    """For each run after the moment, whether it still shows what stood out; the fleet's common part taken out."""
    series = next(each for each in history.series[before.key.engine_id] if each.key == before.key)
    later = series.pick(slice(int(np.searchsorted(series.at_s, moment, side="right")), None))
    steps = [step for step in season.steps if (step.indicator, step.facet) == (before.key.indicator, before.key.facet)]
    own = later.value - common_offset(later.at_s, steps)
    return [_still_shows(before, float(value)) for value in own]


def _still_shows(before: State, value: float) -> bool:
    """Whether a later reading still stands where the state stood: beyond its limit, or nearer it than its baseline."""
    away = distance(before.indicator, before.key.facet, value)
    if before.is_beyond_limit and is_beyond(before.indicator, before.limits.watch, value, away):
        return True
    size = before.drift_size
    if not before.has_moved or size is None or before.moved.baseline is None or before.moved.shift is None:
        return False
    return bool((value - before.moved.baseline) * np.sign(before.moved.shift) > size / 2)


def _outcome(stood: Sequence[State], since: Sequence[Sequence[bool]], followed: int) -> Outcome:
    if not stood:
        return "nothing stood out"
    seen = [shown for shown in since if len(shown) >= ENOUGH_RUNS]
    if not followed or not seen:
        return "not seen yet"
    now = any(sum(shown[-3:]) * 2 > len(shown[-3:]) for shown in seen)
    first = any(sum(shown[:3]) * 2 > len(shown[:3]) for shown in seen)
    if not now:
        return "held"
    return "not mended" if first else "came back"
