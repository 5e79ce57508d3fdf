"""Engines of one boat recorded under each other: told by their hours, else by how each one shifts and idles.

Two engines are compared in the runs that they began together. Only if each looks like the other used to, and neither
like itself, were they exchanged: wear and new targets touch one engine and do not make it the other.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.history import Doubt, FloatArray, History, Runs, Series

TOGETHER_S: Final = 120.0
"""Runs of two engines that begin within this of each other belong together."""

HOURS_APART: Final = 0.3
"""Engines whose counters are closer than this cannot be told apart by them."""

BACKWARDS: Final = 10.0
"""A counter that runs back counts this many times as much against an engine as one that runs on."""

LEARNED_RUNS: Final = 20
"""Runs from the first on that teach what an engine is like."""

FEWEST_LEARNED: Final = 5

APART: Final = 2.0
"""Spreads by which two engines must differ in a habit for it to tell them apart."""

FEWEST_HABITS: Final = 2
"""Habits that must tell them apart."""

APART_TOGETHER: Final = 32.0
"""What the squares of those differences must add up to: two habits at four spreads, or many at less."""

SPREADS: Final = {"shift_reach_error": 0.3, "idle_integral": 0.7, "idle_fuel_trim": 1.0}
"""Habits that tell engines apart, each with the least spread it is taken to have, in its unit."""

Pairs = NDArray[np.intp]


def exchanged(history: History) -> Iterator[tuple[str, Doubt]]:
    """The engines that were recorded under another one of their boat, with the runs in which."""
    boats = itertools.groupby(sorted(history.runs), key=lambda engine_id: engine_id.partition("/")[0])
    for _, group in boats:
        for one, other in itertools.combinations(list(group), 2):
            yield from _pair(history, one, other)


def _pair(history: History, one: str, other: str) -> Iterator[tuple[str, Doubt]]:
    runs = history.runs[one], history.runs[other]
    pairs = _began_together(*runs)
    if not len(pairs):
        return
    by_hours, is_told = _by_hours(*runs, pairs)
    found = by_hours if is_told.all() else np.where(is_told, by_hours, _by_habit(history, one, other, pairs))
    if not found.any():
        return
    witness = "engine_hours" if by_hours[found].any() else "shift_position"
    for place, (engine_id, its_runs, sibling) in enumerate(((one, runs[0], other), (other, runs[1], one))):
        mine = np.zeros(len(its_runs), dtype=bool)
        mine[pairs[found, place]] = True
        what = "hours" if witness == "engine_hours" else "shift positions, idle and trim"
        yield (
            engine_id,
            Doubt(witness, mine, f"other engine: {what} are those of {sibling.partition('/')[2]}", whole=True),
        )


def _began_together(one: Runs, other: Runs) -> Pairs:
    """Places of runs that began together, (m, 2), in time order."""
    at = np.clip(np.searchsorted(other.started_s, one.started_s - TOGETHER_S), 0, max(len(other) - 1, 0))
    if not len(one) or not len(other):
        return np.zeros((0, 2), dtype=np.intp)
    mine = np.flatnonzero(np.abs(other.started_s[at] - one.started_s) <= TOGETHER_S)
    return np.column_stack([mine, at[mine]])


def _by_hours(one: Runs, other: Runs, pairs: Pairs) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which pairs (m,) were exchanged by their counters, and for which the counters can tell."""
    first = np.column_stack([one.level("first_hours")[pairs[:, 0]], other.level("first_hours")[pairs[:, 1]]])
    last = np.column_stack([one.level("last_hours")[pairs[:, 0]], other.level("last_hours")[pairs[:, 1]]])
    found, told = np.zeros(len(pairs), dtype=bool), np.zeros(len(pairs), dtype=bool)
    known = np.flatnonzero(~np.isnan(first).any(axis=1) & ~np.isnan(last).any(axis=1))
    if known.size < 2 or np.all(np.diff(first[known], axis=0) >= -HOURS_APART / 2):
        # neither counter ever ran back, as one of the two does where they are exchanged
        told[known] = np.abs(first[known, 0] - first[known, 1]) >= HOURS_APART
        return found, told
    counted = last[known[0]]
    for place in known[1:]:
        told[place] = abs(counted[0] - counted[1]) >= HOURS_APART
        as_told = _strangeness(first[place] - counted)
        swapped = _strangeness(first[place][::-1] - counted)
        found[place] = told[place] and as_told > HOURS_APART and swapped < as_told / 4
        counted = last[place][::-1] if found[place] else last[place]
    return found, told


def _strangeness(steps: FloatArray) -> float:
    """How strange it is that counters moved by these hours while nothing was logged."""
    return float(np.sum(np.where(steps < -HOURS_APART / 2, BACKWARDS * np.abs(steps), np.abs(steps))))


def _by_habit(history: History, one: str, other: str, pairs: Pairs) -> NDArray[np.bool_]:
    """Which pairs (m,) were exchanged by what their shifts, idle and trim were like."""
    same, swap, apart, habits = (np.zeros(len(pairs)) for _ in range(4))
    for mine, its in _shared(history, one, other):
        values = np.column_stack(
            [
                _at(mine, history.runs[one].started_s[pairs[:, 0]]),
                _at(its, history.runs[other].started_s[pairs[:, 1]]),
            ]
        )
        known = ~np.isnan(values).any(axis=1)
        if np.count_nonzero(known) <= FEWEST_LEARNED:
            continue
        learned = values[known][:LEARNED_RUNS]
        usual = np.median(learned, axis=0)
        spread = np.maximum(1.4826 * np.median(np.abs(learned - usual), axis=0), SPREADS[mine.key.indicator])
        off = abs(usual[0] - usual[1]) / float(spread.max())
        if off < APART:
            continue
        habits += known
        apart += np.where(known, off**2, 0.0)
        same += np.where(known, (((values - usual) / spread) ** 2).sum(axis=1), 0.0)
        swap += np.where(known, (((values - usual[::-1]) / spread[::-1]) ** 2).sum(axis=1), 0.0)
    is_told = (habits >= FEWEST_HABITS) & (apart >= APART_TOGETHER)
    return np.asarray(is_told & (swap < same / 4) & (swap <= 2 * apart))


def _shared(history: History, one: str, other: str) -> Iterator[tuple[Series, Series]]:
    """The habits that both engines have."""
    its = {(each.key.indicator, each.key.facet): each for each in history.series.get(other, ())}
    for mine in history.series.get(one, ()):
        if mine.key.indicator in SPREADS and (mine.key.indicator, mine.key.facet) in its:
            yield mine, its[mine.key.indicator, mine.key.facet]


def _at(series: Series, starts_s: FloatArray) -> FloatArray:
    """The readings of the runs that began at these moments, (m,); NaN where none. Shifts: where they settled."""
    value = (
        series.value + np.nan_to_num(series.setting) if series.key.indicator == "shift_reach_error" else series.value
    )
    place = np.clip(np.searchsorted(series.at_s, starts_s), 0, len(series) - 1)
    return np.asarray(np.where(series.at_s[place] == starts_s, value[place], np.nan))
