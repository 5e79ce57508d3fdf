"""Which readings may be believed: one decision for judgement, proposals, screens and exports.

What rests on a channel that cannot be believed in a run is withheld: a data finding is never turned into an engine
finding. The readings themselves stay in the store as they were measured.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.catalogue import Indicator, indicators
from pipeline.history import Doubt, History, Runs, Series
from pipeline.readings import CONTEXT_RUNS

SIGNAL: Final = "signal"
"""The indicator whose facets are channels that could not be believed."""


@dataclass(frozen=True, eq=False)
class Distrust:
    """The runs of one engine, in time order, and what cannot be believed of them."""

    runs: Runs
    doubts: tuple[Doubt, ...]

    def spoils(self, indicator: Indicator, facet: str) -> NDArray[np.bool_]:
        """From which runs (n,) readings of an indicator and facet are withheld."""
        spoiled = np.zeros(len(self.runs), dtype=bool)
        for doubt in self._against(indicator, facet):
            spoiled |= _reached(doubt.runs, indicator)
        return spoiled

    def reasons(self, indicator: Indicator, facet: str) -> dict[str, str]:
        """Why readings of an indicator and facet are withheld, by run id in time order; believed runs are not there."""
        found: dict[int, list[str]] = {}
        for doubt in self._against(indicator, facet):
            said = f"{doubt.channel.replace('_', ' ')} not believed ({doubt.remark})"
            for place in np.flatnonzero(_reached(doubt.runs, indicator)).tolist():
                found.setdefault(place, []).append(said)
        run_ids = self.runs.run_ids
        return {str(run_ids[place]): "; ".join(dict.fromkeys(found[place])) for place in sorted(found)}

    def _against(self, indicator: Indicator, facet: str) -> Iterator[Doubt]:
        """The doubts that concern an indicator and facet; the faults themselves stay told."""
        channels = rests_on(indicator, facet)
        for doubt in self.doubts:
            if doubt.channel in channels or (doubt.whole and indicator.name != SIGNAL):
                yield doubt


@dataclass(frozen=True, eq=False)
class Withheld:
    """What is withheld from a fleet's judgement, by engine id; an engine that is believed in all is not there."""

    engines: Mapping[str, Distrust] = field(default_factory=dict)

    def reasons(self, engine_id: str, indicator: str, facet: str = "") -> Mapping[str, str]:
        """Why readings of an engine, an indicator and a facet are withheld, by run id; believed runs are not there."""
        found = self.engines.get(engine_id)
        return {} if found is None else found.reasons(indicators()[indicator], facet)

    def everywhere(self, indicator: str, facet: str) -> Mapping[str, str]:
        """The same for all engines at once: a run id is of one engine alone."""
        found = indicators()[indicator]
        return {run: why for engine in self.engines.values() for run, why in engine.reasons(found, facet).items()}


def trusted(history: History) -> History:
    """The history without the readings that rest on a channel that could not be believed when they were taken."""
    found = withheld(history).engines
    kept = {
        engine_id: _believed(group, found[engine_id]) if engine_id in found else group
        for engine_id, group in history.series.items()
    }
    return replace(history, series=kept)


def withheld(history: History) -> Withheld:
    """What is withheld, by the doubts of a history."""
    return Withheld(
        {
            engine_id: Distrust(history.runs[engine_id], doubts)
            for engine_id, doubts in history.doubts.items()
            if doubts and engine_id in history.runs
        }
    )


def rests_on(indicator: Indicator, facet: str) -> tuple[str, ...]:
    """The channels without which readings of an indicator and facet say nothing."""
    return indicator.rests_on.get("any", ()) + indicator.rests_on.get(facet.split(" ", maxsplit=1)[0], ())


def _reached(runs: NDArray[np.bool_], indicator: Indicator) -> NDArray[np.bool_]:
    """The runs (n,) whose readings rest on some of the given ones: themselves, and those that look back on them."""
    reach = CONTEXT_RUNS if indicator.looks_back else 1
    seen = np.cumsum(np.r_[np.zeros(reach, dtype=int), runs])
    return np.asarray(seen[reach:] > seen[:-reach])


def _believed(group: tuple[Series, ...], distrust: Distrust) -> tuple[Series, ...]:
    kept = (_without(series, distrust) for series in group)
    return tuple(series for series in kept if len(series))


def _without(series: Series, distrust: Distrust) -> Series:
    spoiled = distrust.spoils(indicators()[series.key.indicator], series.key.facet)
    if not spoiled.any():
        return series
    place = np.searchsorted(distrust.runs.started_s, series.at_s)
    return series.where(~spoiled[np.minimum(place, len(spoiled) - 1)])
