"""States -> causes: ties an engine's symptoms together, at most one finding a cause, each with what speaks for it.

Only here do indicators meet. Each module holds the rules of one room of the engine.
"""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.diagnosis.fuelling import fuel, swing
from pipeline.diagnosis.idling import engagement, idle, stall
from pipeline.diagnosis.patient import GEARS, Diagnosis, Engine, conclude, is_from_commissioning
from pipeline.diagnosis.shifting import dogs, play, reach, transit
from pipeline.diagnosis.signals import disbelieved
from pipeline.diagnosis.supply import cold, limits, voltage
from pipeline.states import State

__all__ = ["GEARS", "Diagnosis", "Engine", "diagnose", "is_from_commissioning"]


def diagnose(engine: Engine) -> Iterator[Diagnosis]:
    """Every cause that an engine shows, each once. What no rule explains is 'unknown', one finding an indicator."""
    for rule in (disbelieved, voltage, cold, play, reach, dogs, transit, stall, idle, fuel, swing, engagement, limits):
        yield from rule(engine)
    rest: dict[str, list[State]] = {}
    for state in engine.all_open():
        rest.setdefault(state.key.indicator, []).append(state)
    for group in rest.values():
        yield conclude("unknown", engine, group, 0.5, ("no pattern on the list fits",))
