"""Which channels an indicator cannot do without, so that an empty picture can say what the logs lack."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Final

NEEDS: Final[Mapping[str, tuple[frozenset[str], ...]]] = {
    "shift_reach_error": (frozenset({"shift_position"}), frozenset({"shift_target"})),
    "shift_transit_time": (frozenset({"shift_position"}), frozenset({"shift_target", "gear"})),
    "idle_integral": (frozenset({"idle_integral"}), frozenset({"oil_temp", "coolant_temp"}), frozenset({"rpm"})),
    "idle_fuel_trim": (frozenset({"fuel_trim"}), frozenset({"oil_temp", "coolant_temp"}), frozenset({"rpm"})),
    "engagement_dip": (frozenset({"rpm"}), frozenset({"rpm_target"}), frozenset({"shift_target", "gear"})),
    "release_flare": (frozenset({"rpm"}), frozenset({"rpm_target"}), frozenset({"shift_target", "gear"})),
    "idle_spread": (frozenset({"rpm"}), frozenset({"pedal", "idle_active"})),
    "idle_speed_error": (frozenset({"rpm"}), frozenset({"rpm_target"}), frozenset({"pedal", "idle_active"})),
    "off_idle_lean": (frozenset({"rpm"}), frozenset({"lambda"}), frozenset({"lambda_target"})),
    "stall": (frozenset({"rpm"}),),
}
"""By indicator: of each set at least one channel must be logged."""


def lacking(indicator: str, held: Collection[str]) -> tuple[str, ...]:
    """What an engine's logs lack for an indicator, in words; empty where they hold all that it needs."""
    return tuple(
        " or ".join(name.replace("_", " ") for name in sorted(choice))
        for choice in NEEDS.get(indicator, ())
        if not choice & set(held)
    )


def why_empty(indicator: str, held: Collection[str], otherwise: str) -> str:
    """Why there is no reading: the channels that no log holds, else `otherwise`."""
    lacks = lacking(indicator, held)
    return f"No log of this engine holds {' nor '.join(lacks)}." if lacks else otherwise
