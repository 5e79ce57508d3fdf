"""States -> causes: ties an engine's symptoms together, at most one finding a cause, each with what speaks for it.

Only here do indicators meet. Each rule looks at one room of the engine: shifting, idling, fuelling, supply.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pipeline.findings import worst as worst_of
from pipeline.occurrences import Occurrence
from pipeline.states import STATUSES, State, Status

GEARS: Final = ("reverse", "neutral", "forward")

SMALL: Final = 0.35
"""A gear moved 'not' if it moved less than this share of the one that moved most (common practice)."""


@dataclass(frozen=True, eq=False)
class Diagnosis:
    """One cause with its symptoms, the leading one first. `certainty` is that this is the cause, if something is.

    `because` is what speaks for it, `rather_than` the next likeliest cause, if one was weighed. `status` is the worst
    of the symptoms', or what the occurrence demands.
    """

    cause: str
    symptoms: tuple[State, ...]
    occurrences: tuple[Occurrence, ...]
    certainty: float
    because: tuple[str, ...]
    rather_than: str | None
    status: Status


class Engine:
    """One engine's states and occurrences, and which of its states have been explained already."""

    def __init__(self, states: Sequence[State], occurrences: Sequence[Occurrence], siblings: Sequence[State]) -> None:
        self._by_key = {(state.key.indicator, state.key.facet): state for state in states}
        self.occurrences = list(occurrences)
        self.siblings = siblings
        self._explained: set[tuple[str, str]] = set()

    def state(self, indicator: str, facet: str) -> State | None:
        """The state of an indicator and facet, explained or not."""
        return self._by_key.get((indicator, facet))

    def of(self, indicator: str) -> dict[str, State]:
        """All facets of an indicator."""
        return {facet: state for (name, facet), state in self._by_key.items() if name == indicator}

    def open(self, indicator: str) -> dict[str, State]:
        """Facets of an indicator that stand out and are not explained yet."""
        return {
            facet: state
            for facet, state in self.of(indicator).items()
            if state.status != "ready" and (indicator, facet) not in self._explained
        }

    def explain(self, states: Sequence[State]) -> None:
        """Mark states as explained."""
        self._explained |= {(state.key.indicator, state.key.facet) for state in states}

    def is_explained(self, state: State) -> bool:
        """Whether a cause has claimed this state."""
        return (state.key.indicator, state.key.facet) in self._explained

    def all_open(self) -> list[State]:
        """Everything that stands out and is not explained yet."""
        return [state for key, state in self._by_key.items() if state.status != "ready" and key not in self._explained]


def diagnose(engine: Engine) -> Iterator[Diagnosis]:
    """Every cause that an engine shows, each once. What no rule explains is 'unknown', one finding an indicator."""
    for rule in (_signals, _supply, _cold, _play, _reach, _dogs, _transit, _stall, _idle, _fuel, _engagement, _limits):
        yield from rule(engine)
    rest: dict[str, list[State]] = {}
    for state in engine.all_open():
        rest.setdefault(state.key.indicator, []).append(state)
    for group in rest.values():
        yield _found("unknown", engine, group, 0.5, ("no pattern on the list fits",))


def _found(
    cause: str,
    engine: Engine,
    symptoms: Sequence[State],
    certainty: float,
    because: tuple[str, ...],
    rather_than: str | None = None,
    *,
    occurrences: tuple[Occurrence, ...] = (),
    status: Status | None = None,
    follows: Sequence[State] = (),
) -> Diagnosis:
    """A diagnosis; `symptoms` show the cause itself, the worst leads, `follows` come with it."""
    ordered = (*_worst_first(symptoms), *_worst_first(follows))
    engine.explain(ordered)
    worst = worst_of([status] if status else [state.status for state in ordered] or ["watch"])
    return Diagnosis(cause, ordered, occurrences, certainty, because, rather_than, worst)


def _worst_first(states: Sequence[State]) -> list[State]:
    return sorted(states, key=lambda state: (STATUSES.index(state.status), -state.nearness, state.key.facet))


def _signals(engine: Engine) -> Iterator[Diagnosis]:
    """A channel that cannot be believed: said as such, and what rests on it is not held against the engine."""
    for found in [each for each in engine.occurrences if each.indicator.name == "signal"]:
        channel = found.series.key.facet
        is_unit = bool(found.remark and found.remark.startswith("wrong unit"))
        spoiled = [state for name in _RESTS_ON.get(channel, ()) for state in engine.open(name).values()]
        yield _found(
            "wrong_unit" if is_unit else "sensor_fault",
            engine,
            spoiled,
            0.95,
            (found.remark or "",),
            occurrences=(found,),
            status="watch",
        )


_RESTS_ON: Final[Mapping[str, tuple[str, ...]]] = {
    "shift_position": (
        "shift_reach_error",
        "shift_transit_time",
        "shift_scatter",
        "shift_hesitation",
    ),
    "coolant_temp": ("coolant_hot",),
    "battery": ("battery_idle",),
    "oil_pressure": ("oil_pressure_hot",),
    "lambda": ("off_idle_lean",),
    "idle_integral": ("idle_integral", "idle_integral_slope"),
    "fuel_trim": ("idle_fuel_trim",),
    "rpm": ("idle_speed_error", "idle_spread", "engagement_dip", "release_flare"),
}
"""Which indicators say nothing while a channel is not to be believed."""


def _supply(engine: Engine) -> Iterator[Diagnosis]:
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
    yield _found("weak_battery", engine, low or slow, 0.9, said, rather, status=status, follows=slow if low else ())


def _cold(engine: Engine) -> Iterator[Diagnosis]:
    """Slow transits that the temperature explains, and the voltage does not."""
    every = engine.of("shift_transit_time").values()
    slow = [state for state in every if _slowed_by(state, "temp_c") and not engine.is_explained(state)]
    if slow:
        said = ("transits are slower by what the temperature explains",)
        yield _found("cold_grease", engine, slow, 0.8, said, "actuator_wear", status="watch")


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


def _reach(engine: Engine) -> Iterator[Diagnosis]:
    """Offset, span or one end: which of three simple pictures fits the reach errors of the gears best."""
    standing = engine.open("shift_reach_error")
    if not standing:
        return
    every = engine.of("shift_reach_error")
    is_constant = all(is_from_commissioning(state) for state in standing.values())
    every = _as_fresh(every, standing)
    begins = _begins(standing)
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
    yield _found(cause, engine, list(standing.values()), min(0.97, margin), said, rather, follows=follows)


def _begins(standing: Mapping[str, State]) -> float:
    """From when (epoch s) the levels that stand out are taken."""
    return min(float(state.moved.series.at_s[state.moved.now.start]) for state in standing.values())


def _as_fresh(every: Mapping[str, State], standing: Mapping[str, State]) -> dict[str, State]:
    """The gears whose newest reading is not older than what stands out: an older one knows nothing of it yet."""
    begins = _begins(standing)
    return {gear: state for gear, state in every.items() if gear in standing or state.series.at_s[-1] >= begins}


def _shift_since(state: State, begins: float) -> float | None:
    """How far a gear stands off its baseline in the runs from a moment on; None where that is not known."""
    if state.moved.found is None or state.moved.shift is None:
        return None
    later = state.moved.found.residual[state.moved.series.at_s >= begins]
    return float(np.median(later)) if later.size else state.moved.shift


def is_from_commissioning(state: State) -> bool:
    """The error has been there, much the same, since the engine was first seen."""
    if state.moved.reason != "commissioning" or state.has_moved:
        return False
    if state.moved.is_learning:
        return True
    if state.moved.pattern != "constant":
        return False
    return state.moved.baseline is not None and abs(state.moved.shift or 0.0) <= SMALL * abs(state.own)


def _is_from_calibration(standing: Mapping[str, State]) -> bool:
    """Something stands where it does since a setting was changed, and has not moved after that."""
    return any(state.moved.reason == "calibration" and not state.has_moved for state in standing.values())


def _off(state: State, begins: float, *, constant: bool) -> float:
    """What is to be explained: the movement since the epoch began, or the whole error if it was there at the start."""
    shift = _shift_since(state, begins)
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
    if _is_from_calibration(standing):
        return "calibration_change"
    if picture == "span":
        return "lost_travel"
    return "end_stop_wear" if picture in {"reverse", "forward"} else "unknown"


def _gears_said(off: Mapping[str, float]) -> str:
    return ", ".join(f"{gear} {off[gear]:+.1f}" for gear in GEARS if gear in off).replace("-", "−") + " % of travel"


def _play(engine: Engine) -> Iterator[Diagnosis]:
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
        yield _found(
            "linkage_play", engine, loose, 0.85, ("settled positions scatter",), "end_stop_wear", follows=follows
        )


def _is_loose(engine: Engine, gear: str) -> bool:
    reach = engine.state("shift_reach_error", gear)
    if reach is None or reach.moved.shape is None or reach.moved.found is None:
        return True
    return reach.moved.shape.scale > LOOSE * reach.moved.found.scale


LOOSE: Final = 2.0
"""Scatter about the drift, in multiples of the baseline's, that is play (common practice, no published source)."""


def _dogs(engine: Engine) -> Iterator[Diagnosis]:
    """Shifts that stand still part-way, and the transits that are slow because of it."""
    hesitant = list(engine.open("shift_hesitation").values())
    if hesitant:
        facets = {state.key.facet for state in hesitant}
        slow = [state for facet, state in engine.open("shift_transit_time").items() if facet in facets]
        most = max(state.value for state in hesitant)
        said = (f"{most:.0%} of shifts stand still part-way",)
        yield _found("dog_contact", engine, hesitant, 0.9, said, "actuator_wear" if slow else None, follows=slow)


def _transit(engine: Engine) -> Iterator[Diagnosis]:
    """Transits that are slow at like voltage and temperature are the actuator's."""
    slow = list(engine.open("shift_transit_time").values())
    if slow:
        gears = ", ".join(sorted(state.key.facet for state in slow))
        said = (f"slower at like voltage and temperature into {gears}",)
        yield _found("actuator_wear", engine, slow, 0.9 if len(slow) > 1 else 0.75, said, "weak_battery")


def _stall(engine: Engine) -> Iterator[Diagnosis]:
    stalls = tuple(each for each in engine.occurrences if each.indicator.name == "stall")
    if stalls:
        about = [state for name in ("engagement_dip", "idle_speed_error") for state in engine.open(name).values()]
        total = int(sum(each.count for each in stalls))
        said = (f"{total} stall{'s' if total > 1 else ''}",)
        yield _found("idle_margin", engine, about, 0.9, said, occurrences=stalls, status="hold")


def _idle(engine: Engine) -> Iterator[Diagnosis]:
    """Integrals of all gears, of the gears with load, or of the cold rows."""
    standing = engine.open("idle_integral")
    every = engine.of("idle_integral")
    sloped = list(engine.open("idle_integral_slope").values())
    if standing:
        cause, certainty, rather = _idle_cause(engine, standing, every)
        begins = _begins(standing)
        said = (_integrals_said({gear: _idle_off(state, begins) for gear, state in every.items()}),)
        follows = sloped + _trailing(engine, cause)
        yield _found(cause, engine, list(standing.values()), certainty, said, rather, follows=follows)
    elif sloped:
        most = max(sloped, key=lambda state: abs(state.strength))
        said = (f"the slope moved by {most.moved.shift or 0:+.1f} % per 10 °C, warm idle did not".replace("-", "−"),)
        yield _found("temperature_axis", engine, sloped, 0.85, said, "throttle_body")


def _idle_cause(
    engine: Engine, standing: Mapping[str, State], every: Mapping[str, State]
) -> tuple[str, float, str | None]:
    begins = _begins(standing)
    off = {gear: _idle_off(state, begins) for gear, state in _as_fresh(every, standing).items()}
    if _is_from_calibration(standing):
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
    shift = _shift_since(state, begins)
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


def _fuel(engine: Engine) -> Iterator[Diagnosis]:
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
        yield _found("unknown", engine, symptoms, 0.6, ("as it was at commissioning: the table, not wear",))
    elif len(falling) > 1 and most > 0:
        integral = [state for state in engine.of("idle_integral").values() if state.strength < -SMALL]
        yield _found("air_leak", engine, symptoms, 0.85, said, "fuel_supply", follows=integral + lean)
    elif together and all(value * most > 0 and abs(value) > abs(most) / 2 for value in together):
        said += ("the other engine of this boat moved with it",)
        yield _found("fuel_delivery", engine, symptoms, 0.7, said, "fuel_supply")
    else:
        said += ("the other engine of this boat did not",) if together else ()
        yield _found("fuel_supply", engine, symptoms, 0.9 if together else 0.8, said, "air_leak", follows=lean)


def _trim_said(state: State) -> str:
    return f"{state.moved.shift or 0:+.1f} % {state.key.facet}".replace("-", "−")


def _engagement(engine: Engine) -> Iterator[Diagnosis]:
    around = [state for name in ("engagement_dip", "release_flare") for state in engine.open(name).values()]
    if around:
        yield _found("engagement_load", engine, around, 0.7, ("speed moves more around shifts, warm idle does not",))


def _limits(engine: Engine) -> Iterator[Diagnosis]:
    """Temperatures and pressures speak for themselves."""
    for indicator, cause in (("coolant_hot", "cooling"), ("oil_pressure_hot", "lubrication")):
        standing = list(engine.open(indicator).values())
        if standing:
            yield _found(cause, engine, standing, 0.7, ())
