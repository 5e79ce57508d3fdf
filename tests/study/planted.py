"""What was truly wrong with which engine and when, what would show it, and what it should be called."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, Final

from drawn_fleets import read_truth

from demo_fleet.faults import Fault, Profile

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

_REACH: Final = frozenset({"shift_reach_error"})
_TRANSIT: Final = frozenset({"shift_transit_time"})
_INTEGRAL: Final = frozenset({"idle_integral", "idle_integral_slope"})
_ENGAGEMENT: Final = frozenset({"engagement_dip", "release_flare"})

SHOWN_BY: Final[dict[str, frozenset[str]]] = {
    "end_stop_wear": _REACH | {"shift_scatter"},
    "lost_travel": _REACH | {"shift_scatter"},
    "sensor_mounting": _REACH,
    "sensor_fault": frozenset({"signal"}),
    "linkage_play": _REACH | {"shift_scatter"},
    "unit_mismatch": _REACH,
    "actuator_wear": _TRANSIT,
    "weak_battery": _TRANSIT | {"battery_idle"},
    "cold_grease": _TRANSIT,
    "dog_contact": _TRANSIT | {"shift_hesitation"},
    "throttle_body": _INTEGRAL,
    "air_leak": _INTEGRAL | {"idle_fuel_trim"},
    "propeller_load": _INTEGRAL | _ENGAGEMENT,
    "temperature_axis": _INTEGRAL,
    "idle_margin": _ENGAGEMENT | {"stall", "idle_spread", "idle_speed_error"},
    "fuel_supply": frozenset({"idle_fuel_trim"}),
    "calibration_change": _REACH | _INTEGRAL,
}
"""Indicators by which each fault can be found."""

ALSO_RIGHT: Final[dict[str, frozenset[str]]] = {
    "idle_margin": frozenset({"engagement_load"}),
    "calibration_change": frozenset({"unit_mismatch"}),
}
"""Other names that are true as well: weak combustion at engagement, short of dying, is load the engine cannot take."""

_SCATTER: Final = frozenset({"scattered"})
_PROFILES: Final[dict[str, Profile]] = {"growing": "growing", "step": "step", "constant": "constant"}

SHOWS_FROM: Final[dict[str, float]] = {
    "linkage_play": 0.7,
    "dog_contact": 0.25,
    "temperature_axis": 3.0,
    "weak_battery": 0.85,
    "sensor_fault": 0.99,
    "idle_margin": 0.9,
}
"""Sizes (unit as planted) from which a fault without a default limit passes what is watched. Play of half width p has a
robust spread of 0.74 p. Stiff grease has none: it shows on cold mornings alone."""

DAY: Final = timedelta(days=1)
MENDING: Final = timedelta(days=10)
"""After a repair an engine is neither counted as ill nor as well for so long..."""

RUNS_TO_MEND: Final = 5
"""...and for so many runs, which is what makes the level now."""


@dataclass(frozen=True)
class Planted:
    """One planted fault of one engine, or of the fleet ('*'); `first` and `last` are the season's days."""

    engine_id: str
    cause: str
    facets: tuple[str, ...]
    profile: str
    size: float
    onset: date
    full: date
    mended: date | None
    watch_on: date | None
    hold_on: date | None
    first: date
    last: date

    @property
    def shown_by(self) -> frozenset[str]:
        """Indicators by which it can be found."""
        return SHOWN_BY[self.cause]

    @property
    def right_names(self) -> frozenset[str]:
        """Causes that name it truly."""
        return ALSO_RIGHT.get(self.cause, frozenset()) | {self.cause}

    @property
    def patterns(self) -> frozenset[str]:
        """Patterns that describe it: play scatters too; a step from the first day or a new target on is constant."""
        if self.cause == "calibration_change":
            return frozenset({"constant", "step"})
        if self.profile == "step" and self.onset <= self.first:
            return frozenset({"constant"})
        return frozenset({self.profile}) | (_SCATTER if self.cause in {"linkage_play", "dog_contact"} else frozenset())

    @property
    def end(self) -> date:
        """The first day without it, or the day after the season."""
        return self.mended or self.last + DAY

    def is_active(self, day: date) -> bool:
        """Whether it is there on a day."""
        return self.onset <= day < self.end

    def is_near(self, day: date, runs_since: int) -> bool:
        """Whether it is there, or was mended not long ago; `runs_since` counts the engine's runs since its end."""
        return self.onset <= day and (day < self.end + MENDING or runs_since < RUNS_TO_MEND)

    def amount(self, day: date) -> float:
        """How much of it is there on a day, in the unit it was planted in."""
        return _as_fault(self).amount((day - self.first).days)


def planted(folder: Path) -> tuple[Planted, ...]:
    """The planted faults of a fleet. A re-set target that answers a mismatch is no fault but ends one."""
    facts, rows = read_truth(folder, "fleet"), read_truth(folder, "faults")
    first, last = date.fromisoformat(facts["first_day"]), date.fromisoformat(facts["last_day"])
    return tuple(_planted(row, rows, first, last) for row in rows if not _is_answer(row, rows, facts))


def _planted(row: dict[str, Any], rows: Sequence[dict[str, Any]], first: date, last: date) -> Planted:
    mended = row["mended"] or (_answered_on(row, rows) if row["cause"] == "unit_mismatch" else None)
    found = Planted(
        engine_id="*" if row["boat"] == "*" else f"{row['boat']}/{row['engine']}",
        cause=row["cause"],
        facets=tuple(row["facets"]),
        profile=row["profile"],
        size=row["size"],
        onset=date.fromisoformat(row["onset"]),
        full=date.fromisoformat(row["full"]),
        mended=date.fromisoformat(mended) if mended else None,
        watch_on=_on(row["crosses_watch_on"]),
        hold_on=_on(row["crosses_hold_on"]),
        first=first,
        last=last,
    )
    return found if found.watch_on else replace(found, watch_on=_shows_on(found))


def _on(day: str | None) -> date | None:
    return None if day is None else date.fromisoformat(day)


def _shows_on(fault: Planted) -> date | None:
    """The first day on which a fault without a limit, or a moved calibration that nothing asked for, can be seen."""
    if fault.cause == "calibration_change" and "table" not in fault.facets:
        return fault.onset if fault.size >= 1.0 else None
    size = SHOWS_FROM.get(fault.cause)
    days = [fault.first + DAY * count for count in range((fault.end - fault.first).days)]
    return None if size is None else next((day for day in days if fault.amount(day) >= size), None)


def _is_answer(row: dict[str, Any], rows: Sequence[dict[str, Any]], facts: dict[str, Any]) -> bool:
    """Whether a calibration change is the cure of something: of a mismatch, or of a table that was too rich in air."""
    if row["cause"] != "calibration_change":
        return False
    stories = {boat["id"]: boat["story"] for boat in facts["boats"]}
    if row["facets"] == ["table"]:
        return "table cell corrected" in stories[row["boat"]]
    return any(_is_mismatch_of(row, other) for other in rows)


def _answered_on(row: dict[str, Any], rows: Sequence[dict[str, Any]]) -> str | None:
    return next(
        (each["onset"] for each in rows if each["cause"] == "calibration_change" and _is_mismatch_of(each, row)), None
    )


def _is_mismatch_of(change: dict[str, Any], other: dict[str, Any]) -> bool:
    place = ("boat", "engine", "facets")
    return other["cause"] == "unit_mismatch" and all(change[key] == other[key] for key in place)


def _as_fault(fault: Planted) -> Fault:
    boat, _, engine = fault.engine_id.partition("/")
    return Fault(
        boat,
        engine,
        fault.cause,
        fault.facets,
        _PROFILES[fault.profile],
        fault.size,
        onset=(fault.onset - fault.first).days,
        full=(fault.full - fault.first).days,
        mended=None if fault.mended is None else (fault.mended - fault.first).days,
    )
