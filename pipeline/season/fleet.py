"""The whole fleet's season: every series compared with its own past, what all did at once taken out first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, tzinfo
from typing import Final

import numpy as np

from pipeline.catalogue import Indicator, indicators
from pipeline.history import History, Series, SeriesKey
from pipeline.logbook import Note
from pipeline.season.epochs import current_epoch
from pipeline.season.like_for_like import like_for_like
from pipeline.season.movement import Compared, Movement, movement
from pipeline.season.together import CommonStep, Residuals, common_steps

SHARED: Final = frozenset({"idle_fuel_trim", "idle_integral", "shift_transit_time", "idle_speed_error", "coolant_hot"})
"""Indicators that fuel or weather can move on a whole fleet at once."""


@dataclass(frozen=True)
class Season:
    """Every series' movement by key, the fleet's common steps in time order, and what they were judged with.

    `usual_scales` is the run-to-run spread of an engine of this fleet by indicator and facet; `notes` are by engine id.
    """

    movements: Mapping[SeriesKey, Movement]
    steps: tuple[CommonStep, ...]
    usual_scales: Mapping[tuple[str, str], float | None]
    notes: Mapping[str, Sequence[Note]]


def season(history: History, notes: Mapping[str, Sequence[Note]]) -> Season:
    """Compare every judged series with its past. `notes` are those that concern each engine, by engine id."""
    groups = _groups(history)
    found: dict[SeriesKey, Movement] = {}
    steps: list[CommonStep] = []
    usual_scales: dict[tuple[str, str], float | None] = {}
    for (name, facet), members in groups.items():
        indicator = indicators()[name]
        compared = [_compared(each, notes.get(each.key.engine_id, ()), indicator) for each in members]
        common = _common(compared, indicator, facet, history.as_of.tzinfo or UTC)
        scales = [each.found.scale for each in compared if each.found is not None]
        usual = float(np.median(scales)) if scales else None
        found |= {each.series.key: movement(each, indicator, common, usual) for each in compared}
        steps += common
        usual_scales[name, facet] = usual
    return Season(found, tuple(sorted(steps, key=lambda step: step.at_s)), usual_scales, notes)


def movement_until(series: Series, count: int, indicator: Indicator, known: Season) -> Movement:
    """The movement of a series as it stood after its first `count` readings, with the fleet's steps known today."""
    place = (series.key.indicator, series.key.facet)
    steps = [step for step in known.steps if (step.indicator, step.facet) == place]
    until = series.pick(slice(0, count))
    moment = float(series.at_s[count]) if count < len(series) else float("inf")
    notes = [note for note in known.notes.get(series.key.engine_id, ()) if note.at.timestamp() < moment]
    return movement(_compared(until, notes, indicator), indicator, steps, known.usual_scales.get(place))


def _groups(history: History) -> dict[tuple[str, str], list[Series]]:
    groups: dict[tuple[str, str], list[Series]] = {}
    for series in (each for group in history.series.values() for each in group):
        if indicators()[series.key.indicator].judged.against in {"limits", "baseline"}:
            groups.setdefault((series.key.indicator, series.key.facet), []).append(series)
    return groups


def _compared(series: Series, notes: Sequence[Note], indicator: Indicator) -> Compared:
    epoch = current_epoch(series, notes)
    here = series.pick(slice(epoch.start, None))
    return Compared(series, epoch, like_for_like(here, here.value, indicator))


def _common(compared: Sequence[Compared], indicator: Indicator, facet: str, zone: tzinfo) -> tuple[CommonStep, ...]:
    """The fleet's common steps; engines still being learned say nothing about the fleet."""
    if indicator.name not in SHARED:
        return ()
    learned = [
        Residuals(each.series.key, each.series.at_s[each.epoch.start :], each.found.residual)
        for each in compared
        if each.found is not None
    ]
    return common_steps(learned, indicator, facet, zone)
