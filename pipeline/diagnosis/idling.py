"""Idling: stalls, the integral, and the speed around a shift."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from pipeline.diagnosis.patient import (
    GEARS,
    SMALL,
    Diagnosis,
    Engine,
    as_fresh,
    begins_s,
    conclude,
    is_from_calibration,
    shift_since,
)
from pipeline.states import State


def stall(engine: Engine) -> Iterator[Diagnosis]:
    """Stalls hold, whatever else stands."""
    stalls = tuple(each for each in engine.occurrences if each.indicator.name == "stall")
    if stalls:
        about = [state for name in ("engagement_dip", "idle_speed_error") for state in engine.open(name).values()]
        total = int(sum(each.count for each in stalls))
        said = (f"{total} stall{'s' if total > 1 else ''}",)
        yield conclude("idle_margin", engine, about, 0.9, said, occurrences=stalls, status="hold")


def idle(engine: Engine) -> Iterator[Diagnosis]:
    """Integrals of all gears, of the gears with load, or of the cold rows."""
    standing = engine.open("idle_integral")
    every = engine.of("idle_integral")
    sloped = list(engine.open("idle_integral_slope").values())
    if standing:
        cause, certainty, rather = _idle_cause(engine, standing, every)
        begins = begins_s(standing)
        said = (_integrals_said({gear: _idle_off(state, begins) for gear, state in every.items()}),)
        follows = sloped + _trailing(engine, cause)
        yield conclude(cause, engine, list(standing.values()), certainty, said, rather, follows=follows)
    elif sloped:
        most = max(sloped, key=lambda state: abs(state.strength))
        said = (f"the slope moved by {most.moved.shift or 0:+.1f} % per 10 °C, warm idle did not".replace("-", "−"),)
        yield conclude("temperature_axis", engine, sloped, 0.85, said, "throttle_body")


def _idle_cause(
    engine: Engine, standing: Mapping[str, State], every: Mapping[str, State]
) -> tuple[str, float, str | None]:
    begins = begins_s(standing)
    off = {gear: _idle_off(state, begins) for gear, state in as_fresh(every, standing).items()}
    if is_from_calibration(standing):
        return "calibration_change", 0.7, "throttle_body"
    most = max((abs(value) for value in off.values()), default=0.0)
    neutral = off.get("neutral")
    in_gear = [off[gear] for gear in ("forward", "reverse") if gear in off]
    if neutral is None or not in_gear:
        return ("throttle_body", 0.5, "propeller_load") if max(off.values()) > 0 else ("air_leak", 0.5, "unknown")
    if min(in_gear) > SMALL * most and abs(neutral) <= SMALL * most:
        return "propeller_load", 0.9, "throttle_body"
    if min(in_gear) > SMALL * most and neutral > SMALL * most:
        return "throttle_body", 0.9, "propeller_load"
    if max(in_gear) < -SMALL * most and neutral < -SMALL * most:
        leaks = any(state.strength > SMALL for state in engine.of("idle_fuel_trim").values())
        return "air_leak", 0.92 if leaks else 0.6, None if leaks else "calibration_change"
    return "unknown", 0.5, "propeller_load"


def _idle_off(state: State, begins: float) -> float:
    """Movement of the integral since its epoch began; the distance from the wanted band where there is no baseline."""
    shift = shift_since(state, begins)
    if shift is None or (state.status != "ready" and not state.has_moved and abs(state.strength) < SMALL):
        low, high = state.indicator.wanted.get(state.key.facet, (0.0, 0.0))
        return state.own - (low + high) / 2
    return shift


def _integrals_said(off: Mapping[str, float]) -> str:
    parts = ", ".join(f"{gear} {off[gear]:+.1f}" for gear in GEARS if gear in off)
    return f"integral moved by {parts} %".replace("-", "−")


def _trailing(engine: Engine, cause: str) -> list[State]:
    """Symptoms that follow from an idle cause and need no finding of their own."""
    names = ["idle_speed_error", "idle_spread", "engagement_dip", "release_flare"]
    if cause == "air_leak":
        names += ["idle_fuel_trim", "off_idle_lean"]
    return [state for name in names for state in engine.open(name).values()]


def engagement(engine: Engine) -> Iterator[Diagnosis]:
    """Speed that moves more around a shift while warm idle has not moved."""
    around = [state for name in ("engagement_dip", "release_flare") for state in engine.open(name).values()]
    if around:
        yield conclude("engagement_load", engine, around, 0.7, ("speed moves more around shifts, warm idle does not",))
