"""One engine's states and occurrences, and what a cause found in them is: what every rule of the diagnosis works on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pipeline.findings import worst as worst_of
from pipeline.occurrences import Occurrence
from pipeline.states import STATUSES, State, Status

GEARS: Final = ("reverse", "neutral", "forward")


SMALL: Final = 0.35
"""A gear moved 'not' if it moved less than this share of the one that moved most (common practice)."""


@dataclass(frozen=True, eq=False)
class Diagnosis:
    """One cause with its symptoms, the leading one first. `certainty` is that this is the cause, if something is.

    `because` is what speaks for it, `rather_than` the next likeliest cause, if one was weighed. `status` is the worst
    of the symptoms', or what the occurrence demands.
    """

    cause: str
    symptoms: tuple[State, ...]
    occurrences: tuple[Occurrence, ...]
    certainty: float
    because: tuple[str, ...]
    rather_than: str | None
    status: Status


class Engine:
    """One engine's states and occurrences, and which of its states have been explained already."""

    def __init__(self, states: Sequence[State], occurrences: Sequence[Occurrence], siblings: Sequence[State]) -> None:
        self._by_key = {(state.key.indicator, state.key.facet): state for state in states}
        self.occurrences = list(occurrences)
        self.siblings = siblings
        self._explained: set[tuple[str, str]] = set()

    def state(self, indicator: str, facet: str) -> State | None:
        """The state of an indicator and facet, explained or not."""
        return self._by_key.get((indicator, facet))

    def of(self, indicator: str) -> dict[str, State]:
        """All facets of an indicator."""
        return {facet: state for (name, facet), state in self._by_key.items() if name == indicator}

    def open(self, indicator: str) -> dict[str, State]:
        """Facets of an indicator that stand out and are not explained yet."""
        return {
            facet: state
            for facet, state in self.of(indicator).items()
            if state.status != "ready" and (indicator, facet) not in self._explained
        }

    def explain(self, states: Sequence[State]) -> None:
        """Mark states as explained."""
        self._explained |= {(state.key.indicator, state.key.facet) for state in states}

    def is_explained(self, state: State) -> bool:
        """Whether a cause has claimed this state."""
        return (state.key.indicator, state.key.facet) in self._explained

    def all_open(self) -> list[State]:
        """Everything that stands out and is not explained yet."""
        return [state for key, state in self._by_key.items() if state.status != "ready" and key not in self._explained]


def conclude(
    cause: str,
    engine: Engine,
    symptoms: Sequence[State],
    certainty: float,
    because: tuple[str, ...],
    rather_than: str | None = None,
    *,
    occurrences: tuple[Occurrence, ...] = (),
    status: Status | None = None,
    follows: Sequence[State] = (),
) -> Diagnosis:
    """A diagnosis; `symptoms` show the cause itself, the worst leads, `follows` come with it."""
    ordered = (*worst_first(symptoms), *worst_first(follows))
    engine.explain(ordered)
    worst = worst_of([status] if status else [state.status for state in ordered] or ["watch"])
    return Diagnosis(cause, ordered, occurrences, certainty, because, rather_than, worst)


def worst_first(states: Sequence[State]) -> list[State]:
    """States in the order in which they press."""
    return sorted(states, key=lambda state: (STATUSES.index(state.status), -state.nearness, state.key.facet))


def begins_s(standing: Mapping[str, State]) -> float:
    """From when (epoch s) the levels that stand out are taken."""
    return min(float(state.moved.series.at_s[state.moved.now.start]) for state in standing.values())


def as_fresh(every: Mapping[str, State], standing: Mapping[str, State]) -> dict[str, State]:
    """The gears whose newest reading is not older than what stands out: an older one knows nothing of it yet."""
    begins = begins_s(standing)
    return {gear: state for gear, state in every.items() if gear in standing or state.series.at_s[-1] >= begins}


def shift_since(state: State, begins: float) -> float | None:
    """How far a gear stands off its baseline in the runs from a moment on; None where that is not known."""
    if state.moved.found is None or state.moved.shift is None:
        return None
    later = state.moved.found.residual[state.moved.series.at_s >= begins]
    return float(np.median(later)) if later.size else state.moved.shift


def is_from_commissioning(state: State) -> bool:
    """The error has been there, much the same, since the engine was first seen."""
    if state.moved.reason != "commissioning" or state.has_moved:
        return False
    if state.moved.is_learning:
        return True
    if state.moved.pattern != "constant":
        return False
    return state.moved.baseline is not None and abs(state.moved.shift or 0.0) <= SMALL * abs(state.own)


def is_from_calibration(standing: Mapping[str, State]) -> bool:
    """Something stands where it does since a setting was changed, and has not moved after that."""
    return any(state.moved.reason == "calibration" and not state.has_moved for state in standing.values())
