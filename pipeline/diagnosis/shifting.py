"""Shifting: reach, play, dogs and transit."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np

from pipeline.diagnosis.patient import (
    GEARS,
    SMALL,
    Diagnosis,
    Engine,
    as_fresh,
    begins_s,
    conclude,
    is_from_calibration,
    is_from_commissioning,
    shift_since,
)
from pipeline.states import State


def play(engine: Engine) -> Iterator[Diagnosis]:
    """Positions that scatter about where they go, rather than going somewhere else.

    A steady drift widens the spread over ten runs too, so what counts is the scatter left about the drift.
    """
    wide = list(engine.open("shift_scatter").values())
    loose = [state for state in wide if _is_loose(engine, state.key.facet)]
    # the spread of a gear that drifts is the drift's, and that has its own limit
    engine.explain([state for state in wide if state not in loose])
    if loose:
        # play leaves no gear where it belongs; a gear that steadily goes elsewhere is another story
        reach = engine.open("shift_reach_error").values()
        follows = [state for state in reach if state.moved.pattern not in {"growing", "step"}]
        yield conclude(
            "linkage_play", engine, loose, 0.85, ("settled positions scatter",), "end_stop_wear", follows=follows
        )


def _is_loose(engine: Engine, gear: str) -> bool:
    reach = engine.state("shift_reach_error", gear)
    if reach is None or reach.moved.shape is None or reach.moved.found is None:
        return True
    return reach.moved.shape.scale > LOOSE * reach.moved.found.scale


LOOSE: Final = 2.0
"""Scatter about the drift, in multiples of the baseline's, that is play (common practice, no published source)."""


def reach(engine: Engine) -> Iterator[Diagnosis]:
    """Offset, span or one end: which of three simple pictures fits the reach errors of the gears best."""
    standing = engine.open("shift_reach_error")
    if not standing:
        return
    every = engine.of("shift_reach_error")
    is_constant = all(is_from_commissioning(state) for state in standing.values())
    every = as_fresh(every, standing)
    begins = begins_s(standing)
    off = {gear: _off(state, begins, constant=is_constant) for gear, state in every.items()}
    error = {gear: max(state.moved.shift_error or 0.1, 0.1) for gear, state in every.items()}
    pictures = _pictures(off, error, every)
    best, second = pictures[0], pictures[1] if len(pictures) > 1 else None
    cause = _reach_cause(best[0], standing, is_constant=is_constant)
    margin = 1 / (1 + math.exp(-((second[1] - best[1]) if second else 4.0) / 2))
    # lost travel and a bad stop also slow the shift and widen its spread; a slipped sensor does neither
    names = ("shift_transit_time", "shift_scatter") if cause in {"lost_travel", "end_stop_wear"} else ()
    follows = [state for name in names for facet, state in engine.open(name).items() if facet in standing]
    said = (_gears_said(off),)
    rather = _reach_cause(second[0], standing, is_constant=is_constant) if second else None
    rather = None if rather == cause else rather
    yield conclude(cause, engine, list(standing.values()), min(0.97, margin), said, rather, follows=follows)


def _off(state: State, begins: float, *, constant: bool) -> float:
    """What is to be explained: the movement since the epoch began, or the whole error if it was there at the start."""
    shift = shift_since(state, begins)
    return state.own if constant or shift is None or state.moved.reason == "calibration" else shift


def _pictures(
    off: Mapping[str, float], error: Mapping[str, float], states: Mapping[str, State]
) -> list[tuple[str, float]]:
    """Each picture with its misfit (chi-square plus a charge for its parameters), the best first.

    One error may be off by a tenth of the largest through the unit's own geometry, so that is added to the noise.
    """
    gears = [gear for gear in GEARS if gear in off]
    seen = np.asarray([off[gear] for gear in gears])
    give = 0.1 * float(np.max(np.abs(seen)))
    weight = 1 / (np.asarray([error[gear] for gear in gears]) ** 2 + give**2)
    # one gear alone cannot show that all are off
    found = {"offset": _misfit(seen, weight, np.ones(len(gears))) + 1.0} if len(gears) > 1 else {}
    for end in ("reverse", "forward"):
        if end in gears:
            found[end] = _misfit(seen, weight, np.asarray([float(gear == end) for gear in gears])) + 1.0
    if {"reverse", "forward"} <= set(gears) and _is_short_at_both(off, states):
        both = np.asarray([abs(off[gear]) if gear != "neutral" else 0.0 for gear in gears])
        found["span"] = _misfit(seen, weight, both * np.sign(seen)) + 2.0
    if "neutral" in gears:
        found["neutral"] = _misfit(seen, weight, np.asarray([float(gear == "neutral") for gear in gears])) + 2.0
    return sorted(found.items(), key=lambda item: item[1])


def _misfit(seen: np.ndarray, weight: np.ndarray, shape: np.ndarray) -> float:
    """Chi-square left when the best multiple of a shape is taken off."""
    across = float(np.sum(weight * shape**2))
    size = float(np.sum(weight * shape * seen)) / across if across else 0.0
    return float(np.sum(weight * (seen - size * shape) ** 2))


def _is_short_at_both(off: Mapping[str, float], states: Mapping[str, State]) -> bool:
    """Both ends fall short of their targets: each error points from its end towards the other, and neither is small."""
    sizes = sorted(abs(off[gear]) for gear in ("reverse", "forward"))
    if sizes[0] < SMALL * sizes[1]:
        return False
    ends = {gear: states[gear].moved.series.setting for gear in ("reverse", "forward")}
    if any(np.isnan(setting).all() for setting in ends.values()):
        return off["reverse"] * off["forward"] < 0
    upwards = float(np.nanmedian(ends["forward"]) - np.nanmedian(ends["reverse"]))
    return off["reverse"] * upwards > 0 > off["forward"] * upwards


def _reach_cause(picture: str, standing: Mapping[str, State], *, is_constant: bool) -> str:
    if picture == "offset":
        return "sensor_mounting"
    if is_constant:
        return "unit_mismatch"
    if is_from_calibration(standing):
        return "calibration_change"
    if picture == "span":
        return "lost_travel"
    return "end_stop_wear" if picture in {"reverse", "forward"} else "unknown"


def _gears_said(off: Mapping[str, float]) -> str:
    return ", ".join(f"{gear} {off[gear]:+.1f}" for gear in GEARS if gear in off).replace("-", "−") + " % of travel"


def dogs(engine: Engine) -> Iterator[Diagnosis]:
    """Shifts that stand still part-way, and the transits that are slow because of it."""
    hesitant = list(engine.open("shift_hesitation").values())
    if hesitant:
        facets = {state.key.facet for state in hesitant}
        slow = [state for facet, state in engine.open("shift_transit_time").items() if facet in facets]
        most = max(state.value for state in hesitant)
        said = (f"{most:.0%} of shifts stand still part-way",)
        yield conclude("dog_contact", engine, hesitant, 0.9, said, "actuator_wear" if slow else None, follows=slow)


def transit(engine: Engine) -> Iterator[Diagnosis]:
    """Transits that are slow at like voltage and temperature are the actuator's."""
    slow = list(engine.open("shift_transit_time").values())
    if slow:
        gears = ", ".join(sorted(state.key.facet for state in slow))
        said = (f"slower at like voltage and temperature into {gears}",)
        yield conclude("actuator_wear", engine, slow, 0.9 if len(slow) > 1 else 0.75, said, "weak_battery")
