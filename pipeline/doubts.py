"""Faults of the record that only an engine's own past can show: a changed unit, a counter that jumps, a thermometer.

Each becomes a series of the indicator `signal`, like the faults that one run shows by itself. All sizes are common
practice, no published source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.exchanged import exchanged
from pipeline.history import Doubt, FloatArray, History, Runs, Series, SeriesKey
from pipeline.trust import SIGNAL, trusted

REFERENCE_RUNS: Final = 20
"""The latest sound runs that a run is compared with."""

FEWEST_BEFORE: Final = 5
"""Below this many sound runs there is nothing to compare with."""

SOAK_H: Final = 6.0
"""Hours of standing after which all temperatures of an engine are taken to be alike."""

SOAK_OFF_C: Final = 10.0
"""How far a thermometer must stand from where it usually stands beside the others, on two such mornings running."""


@dataclass(frozen=True)
class OtherUnit:
    """A channel's level by run, and how it would look in another unit: `level` = `there` * factor + offset.

    `near` and `far` are in the level's unit where `is_share` is false, else shares of it: how close the converted
    level must come to the usual one, and how far the logged one must be from it.
    """

    channel: str
    level: str
    unit: str
    factor: float
    offset: float
    near: float
    far: float
    least: float = 0.0
    is_share: bool = False


_OTHER_UNITS: Final = (
    OtherUnit("oil_temp", "oil_high_c", "°F", 5 / 9, -32 * 5 / 9, 15.0, 45.0, 125.0),
    OtherUnit("coolant_temp", "coolant_high_c", "°F", 5 / 9, -32 * 5 / 9, 15.0, 45.0, 112.0),
    OtherUnit("air_temp", "air_high_c", "°F", 5 / 9, -32 * 5 / 9, 12.0, 35.0, 60.0),
    OtherUnit("oil_pressure", "oil_pressure_high_kpa", "psi", 6.894757, 0.0, 0.15, 0.7, is_share=True),
    OtherUnit("fuel_trim", "trim_swept_pct", "a fraction", 100.0, 0.0, 0.7, 0.9, is_share=True),
    OtherUnit("idle_integral", "integral_swept_pct", "a fraction", 100.0, 0.0, 0.7, 0.9, is_share=True),
)
"""Units in which a channel looks ordinary enough for a single run not to betray it."""


COUNTER_H: Final = 1.0
"""Hours that a counter may gain beyond the time that went by; half of it is what it may seem to lose."""


def with_doubts(history: History) -> History:
    """The history with the faults that the past shows added as signal series, and what rests on them withheld."""
    found: dict[str, list[Doubt]] = {}
    for engine_id, doubt in exchanged(history):
        found.setdefault(engine_id, []).append(doubt)
    for engine_id, runs in history.runs.items():
        found.setdefault(engine_id, []).extend(_of_engine(runs))
    told = {
        engine_id: _told(engine_id, history.runs[engine_id], history.series.get(engine_id, ()), doubts)
        for engine_id, doubts in found.items()
        if doubts
    }
    every = {
        engine_id: (*history.doubts.get(engine_id, ()), *found.get(engine_id, ()))
        for engine_id in {*history.doubts, *found}
    }
    return trusted(replace(history, series={**history.series, **told}, doubts=every))


def _of_engine(runs: Runs) -> Iterator[Doubt]:
    for unit in _OTHER_UNITS:
        found = _in_other_unit(runs.levels.get(unit.level), unit)
        if found is not None and found.any():
            yield Doubt(unit.channel, found, f"wrong unit: reads like {unit.unit}, by what it read before")
    yield from _off_after_a_night(runs)
    yield from _jumping_counter(runs)


def _told(engine_id: str, runs: Runs, group: Sequence[Series], doubts: Sequence[Doubt]) -> tuple[Series, ...]:
    """An engine's series with each doubt as readings of `signal`; what a run showed by itself is told as it was."""
    signals = {each.key.facet: each for each in group if each.key.indicator == SIGNAL}
    for doubt in doubts:
        known = signals.get(doubt.channel)
        places = np.flatnonzero(doubt.runs)
        places = places if known is None else places[~np.isin(runs.started_s[places], known.at_s)]
        if places.size:
            added = _series(engine_id, runs, doubt, places)
            signals[doubt.channel] = added if known is None else known.joined(added)
    return (*(each for each in group if each.key.indicator != SIGNAL), *signals.values())


def _series(engine_id: str, runs: Runs, doubt: Doubt, places: NDArray[np.intp]) -> Series:
    """A doubt as readings of the indicator `signal`: value 1 for each run."""
    unknown = np.full(places.size, np.nan)
    return Series(
        key=SeriesKey(engine_id, SIGNAL, doubt.channel),
        at_s=runs.started_s[places],
        hours=runs.hours[places],
        value=np.ones(places.size),
        n=np.ones(places.size),
        temp_c=unknown,
        battery_v=unknown,
        setting=unknown,
        run_ids=runs.run_ids[places],
        remark=doubt.remark,
    )


def _jumping_counter(runs: Runs) -> Iterator[Doubt]:
    """Runs whose counter of hours does not go on from the run before."""
    first, last = runs.level("first_hours"), runs.level("last_hours")
    known = np.flatnonzero(~np.isnan(first) & ~np.isnan(last))
    if known.size < 2:
        return
    gained = first[known[1:]] - last[known[:-1]]
    went_by = (runs.started_s[known[1:]] - runs.ended_s[known[:-1]]) / 3600
    jumps = np.flatnonzero((gained < -COUNTER_H / 2) | (gained > went_by + COUNTER_H))
    if jumps.size:
        found = np.zeros(len(runs), dtype=bool)
        found[known[jumps + 1]] = True
        before, after = last[known[jumps[-1]]], first[known[jumps[-1] + 1]]
        yield Doubt("engine_hours", found, f"impossible: the counter went from {before:.1f} to {after:.1f} h")


def _in_other_unit(level: FloatArray | None, unit: OtherUnit) -> NDArray[np.bool_] | None:
    """Which runs (n,) have the usual level once converted and are far from it as logged; None where none can."""
    if level is None or np.count_nonzero(~np.isnan(level)) <= FEWEST_BEFORE:
        return None
    early = float(np.median(level[~np.isnan(level)][:FEWEST_BEFORE]))
    if not _looks_converted(level, early, unit, slack=2.0).any():
        return None
    found = np.zeros(level.size, dtype=bool)
    for place in np.flatnonzero(~np.isnan(level)):
        before = level[:place][~found[:place] & ~np.isnan(level[:place])][-REFERENCE_RUNS:]
        if before.size >= FEWEST_BEFORE:
            found[place] = _looks_converted(level[place : place + 1], float(np.median(before)), unit)[0]
    return found


def _looks_converted(level: FloatArray, usual: float, unit: OtherUnit, slack: float = 1.0) -> NDArray[np.bool_]:
    scale = abs(usual) if unit.is_share else 1.0
    with np.errstate(invalid="ignore"):
        near = np.abs(level * unit.factor + unit.offset - usual) <= slack * unit.near * scale
        return np.asarray(near & (level >= unit.least) & (np.abs(level - usual) >= unit.far * scale / slack))


_THERMOMETERS: Final = {"oil_temp": "oil_first_c", "coolant_temp": "coolant_first_c", "air_temp": "air_first_c"}


def _off_after_a_night(runs: Runs) -> Iterator[Doubt]:
    """A thermometer that stands elsewhere beside two others that agree, on two mornings running.

    Each is compared with how it usually stood beside the others, so a logger that begins late or a warm place is no
    fault of a sensor. On-board diagnostics check thermometers for rationality at a cold start in much the same way.
    """
    first = {channel: runs.levels.get(level) for channel, level in _THERMOMETERS.items()}
    if any(each is None for each in first.values()):
        return
    soaked = np.r_[False, (runs.started_s[1:] - runs.ended_s[:-1]) >= SOAK_H * 3600]
    table = np.vstack([np.asarray(each) for each in first.values()])
    places = np.flatnonzero(soaked & ~np.isnan(table).any(axis=0))
    if places.size < FEWEST_BEFORE + 2:
        return
    here = table[:, places]
    off = here - here.mean(axis=0)
    off = off - np.median(off[:, :REFERENCE_RUNS], axis=1, keepdims=True)
    for row, channel in enumerate(_THERMOMETERS):
        yield from _strays(channel, row, off, places, len(runs))


def _strays(channel: str, row: int, off: FloatArray, places: NDArray[np.intp], total: int) -> Iterator[Doubt]:
    """The runs from the second stray morning on. Against the mean of three, two thirds of an offset show."""
    others = np.delete(off, row, axis=0)
    gap = off[row] - others.mean(axis=0)
    stray = (np.abs(gap) >= SOAK_OFF_C) & (np.abs(others[0] - others[1]) < SOAK_OFF_C / 2)
    # oil and coolant that are alike and warmer than the air have run since, in a log that was lost
    stray &= (gap > 0) | (channel != "air_temp")
    twice = np.r_[False, stray[1:] & stray[:-1] & (np.abs(gap[1:] - gap[:-1]) < SOAK_OFF_C / 2)]
    if not twice.any():
        return
    first = int(np.argmax(twice)) - 1
    jump = abs(gap[first] - gap[first - 1]) if first else abs(gap[first])
    kind = "offset" if jump >= abs(gap[first]) / 2 else "drift"
    found = np.zeros(total, dtype=bool)
    for place in np.flatnonzero(twice):
        # until the next such morning nothing is known of it
        until = places[place + 1] if place + 1 < places.size else total
        found[places[place] : until] = True
    newest = gap[np.flatnonzero(twice)[-1]]
    yield Doubt(channel, found, f"{kind}: reads {newest:+.0f} °C beside the others after a night".replace("-", "−"))
