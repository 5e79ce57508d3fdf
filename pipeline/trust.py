"""Which readings may be believed: what rests on a channel that cannot be believed in a run is withheld from judgement.

A data finding is never turned into an engine finding. The readings themselves stay in the store as they were measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.catalogue import Indicator, indicators
from pipeline.history import FloatArray, History, Series
from pipeline.readings import CONTEXT_RUNS

SIGNAL: Final = "signal"
"""The indicator whose facets are channels that could not be believed."""

Doubts = Mapping[str, FloatArray]
"""By channel, the starts (epoch s) of the runs in which it could not be believed."""


def trusted(history: History) -> History:
    """The history without the readings that rest on a channel that could not be believed when they were taken."""
    return replace(
        history, series={engine_id: _believed(history, engine_id, group) for engine_id, group in history.series.items()}
    )


def rests_on(indicator: Indicator, facet: str) -> tuple[str, ...]:
    """The channels without which readings of an indicator and facet say nothing."""
    return indicator.rests_on.get("any", ()) + indicator.rests_on.get(facet.split(" ", maxsplit=1)[0], ())


def _believed(history: History, engine_id: str, group: tuple[Series, ...]) -> tuple[Series, ...]:
    doubts = {each.key.facet: each.at_s[each.value > 0] for each in group if each.key.indicator == SIGNAL}
    if not doubts:
        return group
    starts_s = history.runs[engine_id].started_s
    kept = (_without(series, _withheld(series, doubts, starts_s)) for series in group)
    return tuple(series for series in kept if len(series))


def _withheld(series: Series, doubts: Doubts, starts_s: FloatArray) -> NDArray[np.bool_]:
    """Which readings (n,) rest on a run in which one of their channels could not be believed."""
    indicator = indicators()[series.key.indicator]
    spoiled = [doubts[channel] for channel in rests_on(indicator, series.key.facet) if channel in doubts]
    if not spoiled:
        return np.zeros(len(series), dtype=bool)
    runs = np.searchsorted(starts_s, np.concatenate(spoiled))
    mine = np.searchsorted(starts_s, series.at_s)
    reach = CONTEXT_RUNS if indicator.looks_back else 1
    behind = mine[:, None] - runs[None, :]
    return np.asarray(((behind >= 0) & (behind < reach)).any(axis=1))


def _without(series: Series, withheld: NDArray[np.bool_]) -> Series:
    return series.where(~withheld) if withheld.any() else series
