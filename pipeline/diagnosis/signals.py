"""Channels that cannot be believed, and what must not be concluded from them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from pipeline.diagnosis.patient import (
    Diagnosis,
    Engine,
    conclude,
)


def disbelieved(engine: Engine) -> Iterator[Diagnosis]:
    """A channel that cannot be believed: said as such, and what rests on it is not held against the engine."""
    for found in [each for each in engine.occurrences if each.indicator.name == "signal"]:
        channel = found.series.key.facet
        is_unit = bool(found.remark and found.remark.startswith("wrong unit"))
        spoiled = [state for name in _RESTS_ON.get(channel, ()) for state in engine.open(name).values()]
        yield conclude(
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
