"""Planted faults: what is wrong with which engine, from when, how it grows, and what it does to the physics."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable

Profile = Literal["constant", "growing", "step", "window"]

CAUSES: Final[dict[str, str]] = {
    "end_stop_wear": "one gear's end is no longer reached, more short every week",
    "lost_travel": "both ends grow short, neutral is fine",
    "sensor_mounting": "the position sensor slipped: all gears read shifted by the same amount",
    "sensor_fault": "a sensor gives a flat line",
    "linkage_play": "the settled position scatters from shift to shift",
    "unit_mismatch": "a constant mechanical difference since commissioning",
    "actuator_wear": "the throw takes longer at like voltage and temperature",
    "weak_battery": "the battery sags while shifting and so slows the throw",
    "cold_grease": "stiff grease slows the throw on cold mornings only",
    "dog_contact": "dog teeth meet tip to tip too often",
    "throttle_body": "deposits take idle air away in all gears",
    "air_leak": "unmetered air: less correction needed, leaner mixture",
    "propeller_load": "the propeller asks for more torque in gear",
    "temperature_axis": "too little air in the cold rows of the table only",
    "idle_margin": "weak combustion just after engagement",
    "fuel_supply": "one engine's fuelling goes lean over weeks",
    "fuel_delivery": "the fuel delivered on a date burns leaner in every boat",
    "calibration_change": "a target or table was re-set on a date",
}
"""Every cause the scenario can plant, with what it does."""


@dataclass(frozen=True)
class Fault:
    """One planted fault. `onset`, `full` and `mended` are days of the season from 0; `mended` None means never."""

    boat: str
    engine: str
    cause: str
    facets: tuple[str, ...]
    profile: Profile
    size: float
    onset: float
    full: float
    mended: float | None = None
    detail: str = ""

    def amount(self, day: float) -> float:
        """How much of the fault is there on a day (size unit: see the cause), 0 before onset and once mended."""
        if day < self.onset or (self.mended is not None and day >= self.mended):
            return 0.0
        if self.profile != "growing":
            return self.size
        return self.size * min(1.0, (day - self.onset + 1.0) / max(self.full - self.onset + 1.0, 1.0))


@dataclass(frozen=True)
class Condition:
    """What all faults of one engine do to the physics on one day; everything zero is a healthy engine."""

    short_forward: float = 0.0
    """% of travel the forward end falls short."""
    short_reverse: float = 0.0
    sensor_offset: float = 0.0
    """% of travel added to every reading of the position sensor."""
    play: float = 0.0
    """% of travel, half width of the scatter of settled positions."""
    slower: float = 0.0
    """Share by which the throw takes longer."""
    battery_weak: float = 0.0
    """0 healthy to 1 worn out."""
    grease: float = 0.0
    """Share by which the throw takes longer ten kelvin below the grease's limit."""
    hesitation: float = 0.0
    """Added share of engagements that stand still part-way."""
    air: float = 0.0
    """% of idle air that arrives beside the table (negative: is missing)."""
    load: float = 0.0
    """% of idle air that the propeller asks for on top."""
    cold_air: float = 0.0
    """% of idle air missing at 10 °C oil, fading to none at 40 °C."""
    misfire: float = 0.0
    """0 healthy to 1: the engine dies on engagement."""
    lean: float = 0.0
    """% by which fuelling is lean at idle."""
    table: float = 0.0
    """% added to every neutral cell of the feed-forward table."""
    target_forward: float = 0.0
    """% of travel by which the forward target was re-set."""
    target_reverse: float = 0.0
    flat_position: float = 0.0
    """1: the position sensor gives one value all through the log; less: it freezes part-way."""
    flat_coolant: float = 0.0
    """1: the coolant reading stays where it was at start."""


def condition(faults: Iterable[Fault], boat: str, engine: str, day: float) -> Condition:
    """The sum of what an engine's own and the fleet's faults do on a day."""
    total = {field.name: 0.0 for field in fields(Condition)}
    for fault in faults:
        if fault.boat in {boat, "*"} and fault.engine in {engine, "*"}:
            for name, value in _effect(fault, fault.amount(day)).items():
                total[name] += value
    return Condition(**total)


def _effect(fault: Fault, amount: float) -> dict[str, float]:
    if fault.cause in {"end_stop_wear", "unit_mismatch"}:
        return {f"short_{facet}": amount for facet in fault.facets}
    if fault.cause == "calibration_change" and fault.facets[0] != "table":
        return {f"target_{facet}": amount for facet in fault.facets}
    if fault.cause == "sensor_fault":
        return {f"flat_{facet}": amount for facet in fault.facets}
    return {name: factor * amount for name, factor in _EFFECTS[fault.cause].items()}


_EFFECTS: Final[dict[str, dict[str, float]]] = {
    "lost_travel": {"short_forward": 1.0, "short_reverse": 1.0},
    "sensor_mounting": {"sensor_offset": 1.0},
    "linkage_play": {"play": 1.0},
    "actuator_wear": {"slower": 1.0},
    "weak_battery": {"battery_weak": 1.0},
    "cold_grease": {"grease": 1.0},
    "dog_contact": {"hesitation": 1.0},
    "throttle_body": {"air": -1.0},
    "air_leak": {"air": 1.0, "lean": 0.9},
    "propeller_load": {"load": 1.0},
    "temperature_axis": {"cold_air": 1.0},
    "idle_margin": {"misfire": 1.0},
    "fuel_supply": {"lean": 1.0},
    "fuel_delivery": {"lean": 1.0},
    "calibration_change": {"table": 1.0},
}
