"""Voltage and temperature: what they explain of the transits, and the limits that speak for themselves."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.diagnosis.patient import (
    Diagnosis,
    Engine,
    conclude,
)
from pipeline.states import State, Status


def voltage(engine: Engine) -> Iterator[Diagnosis]:
    """A low or sinking voltage, with the slow transits that it explains."""
    low = list(engine.open("battery_idle").values())
    slow = [state for state in engine.of("shift_transit_time").values() if _slowed_by(state, "battery_v")]
    if not low and not slow:
        return
    voltage = engine.state("battery_idle", "")
    said = tuple(f"idle voltage {voltage.value:.1f} V" for voltage in [voltage] if voltage)
    said += ("transits are slower by what the voltage explains",) if slow else ()
    rather = "actuator_wear" if slow else None
    status: Status | None = None if low else "watch"
    yield conclude("weak_battery", engine, low or slow, 0.9, said, rather, status=status, follows=slow if low else ())


def cold(engine: Engine) -> Iterator[Diagnosis]:
    """Slow transits that the temperature explains, and the voltage does not."""
    every = engine.of("shift_transit_time").values()
    slow = [state for state in every if _slowed_by(state, "temp_c") and not engine.is_explained(state)]
    if slow:
        said = ("transits are slower by what the temperature explains",)
        yield conclude("cold_grease", engine, slow, 0.8, said, "actuator_wear", status="watch")


def _slowed_by(state: State, covariate: str) -> bool:
    """Whether raw transits grew by what is watched, and that is the covariate's doing, not the actuator's."""
    found, size = state.moved.found, state.drift_size
    if found is None or size is None or state.has_moved:
        return False
    known = [name for name in state.indicator.covariates if _is_known(state, name)]
    if covariate not in known:
        return False
    place = known.index(covariate)
    newest = state.moved.series.pick(state.moved.now)
    here = float(np.nanmedian(getattr(newest, covariate)))
    explained = float(found.expectation.slopes[place] * (here - found.expectation.centre[place]))
    return explained >= size


def _is_known(state: State, covariate: str) -> bool:
    return not bool(np.isnan(getattr(state.moved.series, covariate)).all())


def limits(engine: Engine) -> Iterator[Diagnosis]:
    """Temperatures and pressures speak for themselves; a sibling ran in the same water and as hard."""
    for indicator, cause in (("coolant_hot", "cooling"), ("oil_pressure_hot", "lubrication")):
        standing = list(engine.open(indicator).values())
        if standing:
            yield conclude(cause, engine, standing, 0.7, tuple(_beside(standing[0], engine)))


def _beside(state: State, engine: Engine) -> Iterator[str]:
    """Whether the boat's other engines moved with it; nothing where there is none or nothing is known of it."""
    moved = [each.strength for each in engine.siblings if each.key.indicator == state.key.indicator]
    if moved and all(value * state.strength > 0 and abs(value) > abs(state.strength) / 2 for value in moved):
        yield "the other engine of this boat moved with it: look first at how hard and how warm both ran"
    elif moved and state.has_moved:
        yield "the other engine of this boat did not move with it"
