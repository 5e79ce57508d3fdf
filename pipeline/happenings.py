"""What happened to an engine over a season, in words: notes, services, changed targets, steps of the fleet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

import numpy as np

from pipeline import wording
from pipeline.catalogue import indicators
from pipeline.history import Series
from pipeline.logbook import Kind, Note
from pipeline.register import Engine
from pipeline.season.epochs import setting_changes
from pipeline.season.together import CommonStep
from pipeline.states import State

HappeningKind = Literal["note", "service", "calibration", "compared anew", "whole fleet"]

_NAMED_TARGET: Final = "shift_"


@dataclass(frozen=True)
class Happening:
    """One thing that happened. `engine_id` is None for a whole boat or fleet, which `who` names then; `at` is aware."""

    at: datetime
    kind: HappeningKind
    engine_id: str | None
    who: str
    what: str


def happenings(
    series: Sequence[Series],
    states: Sequence[State],
    notes: Sequence[Note],
    steps: Sequence[CommonStep],
    engines: Sequence[Engine],
) -> tuple[Happening, ...]:
    """Everything that happened to some engines, in time order.

    `series` are the whole seasons of one indicator and facet, `states` where they stand, `steps` the fleet's of that
    indicator and facet. What reads a note's or a change's own mark is not marked a second time as a comparison anew.
    """
    found = [
        *(_of_note(note) for note in notes),
        *(each for one in series for each in _changes(one)),
        *(_anew(state) for state in states if state.moved.reason == "improvement"),
        *(_of_step(step) for step in steps),
        *(each for state in states for each in _service(state, engines)),
    ]
    return tuple(sorted(found, key=lambda each: each.at))


def step_says(step: CommonStep) -> str:
    """A common step with its size, interval and count."""
    indicator = indicators()[step.indicator]
    low, high = step.interval.low, step.interval.high
    ends = [wording.number(end, indicator) for end in (low, high) if end is not None]
    span = f" ({ends[0]} to {ends[1]})" if len(ends) == 2 else ""
    boats = wording.count(step.boats, "boat")
    size = wording.number(step.size, indicator)
    return f"{step.engines} of {step.engines_seen} engines on {boats} moved by {size}{span}"


def _of_note(note: Note) -> Happening:
    engine_id = None if note.engine is None else f"{note.boat}/{note.engine}"
    kind: HappeningKind = "service" if note.kind is Kind.SERVICE else "note"
    return Happening(note.at, kind, engine_id, engine_id or note.boat, f"{wording.note_kind(note.kind)}: {note.text}")


def _changes(series: Series) -> Iterator[Happening]:
    engine_id = series.key.engine_id
    for place in setting_changes(series):
        at = series.moment(series.at_s[place])
        yield Happening(at, "calibration", engine_id, engine_id, _changed(series, place))


def _changed(series: Series, place: int) -> str:
    """A target with its old and new value; a table's value also follows temperature, so only that it changed."""
    if not series.key.indicator.startswith(_NAMED_TARGET):
        return "the table's value changed"
    known = series.setting[:place][~np.isnan(series.setting[:place])]
    return f"target {known[-1]:.1f} to {series.setting[place]:.1f} % of travel"


def _anew(state: State) -> Happening:
    key = state.key.engine_id
    return Happening(state.moved.started_at, "compared anew", key, key, "it became clearly better from here on")


def _of_step(step: CommonStep) -> Happening:
    return Happening(step.began, "whole fleet", None, "whole fleet", step_says(step))


def _service(state: State, engines: Sequence[Engine]) -> Iterator[Happening]:
    """The service that the fleet file names, where the series' own hours pass it."""
    engine = next((each for each in engines if each.engine_id == state.key.engine_id), None)
    hours = state.series.hours
    if engine is None or engine.service is None:
        return
    done = engine.service.last_hours
    if hours.size and hours[0] < done <= hours[-1]:
        at = state.series.moment(state.series.at_s[int(np.searchsorted(hours, done))])
        yield Happening(at, "service", engine.engine_id, engine.engine_id, f"service at {done:g} h")
