"""Which readings may be believed: what rests on a channel that cannot be believed in a run is withheld from judgement.

A data finding is never turned into an engine finding. The readings themselves stay in the store as they were measured.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.catalogue import Indicator, indicators
from pipeline.history import FloatArray, History, Runs, Series
from pipeline.readings import CONTEXT_RUNS

SIGNAL: Final = "signal"
"""The indicator whose facets are channels that could not be believed."""


@dataclass(frozen=True, eq=False)
class Doubt:
    """A channel that cannot be believed in some of an engine's runs (n,), and why.

    `whole` says that nothing of those runs can be believed of this engine.
    """

    channel: str
    runs: NDArray[np.bool_]
    remark: str
    whole: bool = False


def trusted(history: History, doubts: Mapping[str, Sequence[Doubt]]) -> History:
    """The history without the readings that rest on a channel that could not be believed when they were taken.

    Channels in doubt are those with a reading of the indicator `signal`; `doubts` tells which runs fall out whole.
    """
    kept = {
        engine_id: _believed(history.runs.get(engine_id), group, doubts.get(engine_id, ()))
        for engine_id, group in history.series.items()
    }
    return replace(history, series=kept)


def rests_on(indicator: Indicator, facet: str) -> tuple[str, ...]:
    """The channels without which readings of an indicator and facet say nothing."""
    return indicator.rests_on.get("any", ()) + indicator.rests_on.get(facet.split(" ", maxsplit=1)[0], ())


def _believed(runs: Runs | None, group: tuple[Series, ...], doubts: Sequence[Doubt]) -> tuple[Series, ...]:
    if runs is None or not any(each.key.indicator == SIGNAL for each in group):
        return group
    spoiled: dict[str, list[FloatArray]] = {}
    for each in group:
        if each.key.indicator == SIGNAL:
            spoiled.setdefault(each.key.facet, []).append(each.at_s[each.value > 0])
    whole = [runs.started_s[doubt.runs] for doubt in doubts if doubt.whole]
    kept = (_without(series, _withheld(series, spoiled, whole, runs.started_s)) for series in group)
    return tuple(series for series in kept if len(series))


def _withheld(
    series: Series, spoiled: Mapping[str, Sequence[FloatArray]], whole: Sequence[FloatArray], starts_s: FloatArray
) -> NDArray[np.bool_]:
    """Which readings (n,) rest on a run in which one of their channels could not be believed."""
    indicator = indicators()[series.key.indicator]
    concerned = [each for channel in rests_on(indicator, series.key.facet) for each in spoiled.get(channel, ())]
    concerned += [] if indicator.name == SIGNAL else list(whole)
    if not concerned:
        return np.zeros(len(series), dtype=bool)
    runs = np.searchsorted(starts_s, np.concatenate(concerned))
    mine = np.searchsorted(starts_s, series.at_s)
    reach = CONTEXT_RUNS if indicator.looks_back else 1
    behind = mine[:, None] - runs[None, :]
    return np.asarray(((behind >= 0) & (behind < reach)).any(axis=1))


def _without(series: Series, withheld: NDArray[np.bool_]) -> Series:
    return series.where(~withheld) if withheld.any() else series
