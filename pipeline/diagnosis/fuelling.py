"""Fuelling: the trim of this engine, or of the boat's fuel."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.diagnosis.patient import (
    SMALL,
    Diagnosis,
    Engine,
    conclude,
    is_from_commissioning,
)
from pipeline.states import State


def fuel(engine: Engine) -> Iterator[Diagnosis]:
    """Trim: this engine's alone, or the boat's fuel where the siblings moved with it."""
    standing = engine.open("idle_fuel_trim")
    if not standing:
        return
    falling = [state.strength for state in engine.of("idle_integral").values() if state.strength < -SMALL]
    moved = [state.strength for state in standing.values()]
    together = [
        state.strength
        for state in engine.siblings
        if state.key.indicator == "idle_fuel_trim" and state.key.facet in standing
    ]
    most = max(moved, key=abs)
    said: tuple[str, ...] = (f"trim moved by {', '.join(_trim_said(state) for state in standing.values())}",)
    symptoms = list(standing.values())
    lean = list(engine.open("off_idle_lean").values())
    if all(is_from_commissioning(state) for state in standing.values()):
        yield conclude("unknown", engine, symptoms, 0.6, ("as it was at commissioning: the table, not wear",))
    elif len(falling) > 1 and most > 0:
        integral = [state for state in engine.of("idle_integral").values() if state.strength < -SMALL]
        yield conclude("air_leak", engine, symptoms, 0.85, said, "fuel_supply", follows=integral + lean)
    elif together and all(value * most > 0 and abs(value) > abs(most) / 2 for value in together):
        said += ("the other engine of this boat moved with it",)
        yield conclude("fuel_delivery", engine, symptoms, 0.7, said, "fuel_supply")
    else:
        said += ("the other engine of this boat did not",) if together else ()
        yield conclude("fuel_supply", engine, symptoms, 0.9 if together else 0.8, said, "air_leak", follows=lean)


def swing(engine: Engine) -> Iterator[Diagnosis]:
    """A lean swing off idle before anything else stands out: by what else has begun to move; alone it has no cause.

    An engine that leans at idle leans there first, since the loop cannot follow a pick-up.
    """
    lean = list(engine.open("off_idle_lean").values())
    if not lean:
        return
    falling = [state for state in engine.of("idle_integral").values() if state.strength < -SMALL]
    rising = [state for state in engine.of("idle_fuel_trim").values() if state.strength > SMALL]
    if len(falling) > 1:
        said = ("lambda swings lean off idle, and the integral has begun to fall",)
        yield conclude("air_leak", engine, lean, 0.5, said, "fuel_supply")
    elif rising:
        said = (f"lambda swings lean off idle, and the trim has begun to rise: {', '.join(map(_trim_said, rising))}",)
        yield conclude("fuel_supply", engine, lean, 0.6, said, "air_leak")
    else:
        yield conclude("unknown", engine, lean, 0.5, ("lambda swings lean off idle alone, trim at idle has not moved",))


def _trim_said(state: State) -> str:
    return f"{state.moved.shift or 0:+.1f} % {state.key.facet}".replace("-", "−")
