"""What happens to which boat in a season: small stories of planted faults, dealt out to the boats by the seed."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Protocol

from demo_fleet.faults import Fault, Profile

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np


@dataclass(frozen=True)
class Plant:
    """A fault to plant in a story's boat. Days are shares of the season; `slot` counts the boat's engines from 0."""

    slot: int
    cause: str
    facets: tuple[str, ...]
    profile: Profile
    size: float
    onset: float
    full: float = 1.0
    mended: float | None = None
    detail: str = ""


@dataclass(frozen=True)
class Story:
    """One boat's season. `silent` is the share of the season after which no log comes in."""

    name: str
    engines: int
    plants: tuple[Plant, ...] = field(default=())
    silent: float | None = None
    never_reverse: bool = False
    damaged_logs: bool = False
    table_high: float = 0.0
    """% by which the neutral table of the first engine was too rich in air at commissioning."""


class HasEngines(Protocol):
    """A boat as far as dealing out stories needs it."""

    @property
    def id(self) -> str:
        """The boat's id."""

    @property
    def engine_ids(self) -> tuple[str, ...]:
        """The ids of its engines, port first."""


ENDS = ("forward", "reverse")
GEARS = ("reverse", "neutral", "forward")

STORIES: Final[tuple[Story, ...]] = (
    Story(
        "a forward end wears until the boat stays",
        2,
        (
            Plant(0, "end_stop_wear", ("forward",), "growing", 2.8, 0.28, 0.97),
            Plant(0, "temperature_axis", ("cold",), "step", 6.5, 0.6, detail="a thicker oil was filled"),
        ),
    ),
    Story(
        "a dirty throttle body and a loose linkage",
        2,
        (
            Plant(0, "throttle_body", GEARS, "growing", 8.8, 0.33, 0.93),
            Plant(0, "linkage_play", ENDS, "growing", 1.5, 0.4, 0.9),
        ),
    ),
    Story(
        "a worn reverse end that was mended, and stiff grease",
        2,
        (
            Plant(0, "end_stop_wear", ("reverse",), "growing", 1.8, 0.08, 0.55, 0.62, "bushing replaced"),
            Plant(0, "cold_grease", ENDS, "constant", 0.5, 0.0),
        ),
        damaged_logs=True,
    ),
    Story(
        "an engine that dies on engagement, and a tired battery",
        2,
        (
            Plant(0, "idle_margin", ("forward",), "growing", 1.0, 0.72, 0.98),
            Plant(0, "weak_battery", ENDS, "growing", 1.0, 0.3, 0.9),
        ),
    ),
    Story("a boat whose logs stop coming", 1, silent=0.9),
    Story(
        "differences since commissioning, one of them answered by a new target",
        2,
        (
            Plant(0, "unit_mismatch", ("forward",), "constant", 0.85, 0.0),
            Plant(1, "unit_mismatch", ("forward",), "constant", 1.35, 0.0),
            Plant(
                1, "calibration_change", ("forward",), "step", 1.35, 0.5, detail="target set to what the unit reaches"
            ),
        ),
    ),
    Story(
        "one engine's fuel supply fails slowly",
        2,
        (Plant(0, "fuel_supply", ("cold", "hot"), "growing", 6.8, 0.35, 0.97),),
    ),
    Story("both ends grow short", 1, (Plant(0, "lost_travel", ENDS, "growing", 2.6, 0.3, 0.97),)),
    Story(
        "an air leak that was found and closed",
        2,
        (Plant(0, "air_leak", GEARS, "growing", 6.0, 0.2, 0.5, 0.66, "manifold gasket replaced"),),
    ),
    Story(
        "a fouled propeller and worn dogs, beside a frozen position sensor",
        2,
        (
            Plant(0, "propeller_load", ENDS, "step", 7.5, 0.7, detail="line round the shaft"),
            Plant(0, "dog_contact", ENDS, "growing", 0.45, 0.4, 0.9),
            Plant(
                1,
                "sensor_fault",
                ("position",),
                "growing",
                1.0,
                0.93,
                0.98,
                detail="the reading freezes, then never moves",
            ),
        ),
    ),
    Story(
        "a slow actuator with a slipped sensor, beside a frozen coolant sensor",
        2,
        (
            Plant(0, "actuator_wear", ENDS, "growing", 0.6, 0.35, 0.95),
            Plant(0, "sensor_mounting", GEARS, "step", 1.5, 0.62),
            Plant(1, "sensor_fault", ("coolant",), "step", 1.0, 0.9, detail="the coolant reading never moves"),
        ),
    ),
    Story(
        "never in reverse, and a table cell corrected",
        1,
        (
            Plant(
                0,
                "calibration_change",
                ("table",),
                "step",
                -3.0,
                0.58,
                detail="neutral cells lowered by what the integral asked for",
            ),
        ),
        never_reverse=True,
        table_high=3.0,
    ),
)
"""The seasons dealt out, the most telling first, so that a small fleet still shows something."""

FUEL_DELIVERY = Plant(
    -1, "fuel_delivery", ("cold", "hot"), "step", 2.8, 0.66, detail="a leaner delivery at the fuel dock"
)
HEALTHY = Story("a healthy boat", 1)


def deal(rng: np.random.Generator, boats: Sequence[HasEngines]) -> dict[str, Story]:
    """Give each boat a story by chance, as long as it has the engines the story needs."""
    stories = [STORIES[i] if i < len(STORIES) else HEALTHY for i in range(len(boats))]
    free = [boats[i] for i in rng.permutation(len(boats))]
    dealt: dict[str, Story] = {}
    for story in sorted(stories, key=lambda story: -story.engines):
        boat = next((boat for boat in free if len(boat.engine_ids) >= story.engines), free[0])
        free.remove(boat)
        dealt[boat.id] = story
    return dealt


def plant_all(
    rng: np.random.Generator, stories: dict[str, Story], boats: Sequence[HasEngines], days: int
) -> tuple[Fault, ...]:
    """The planted faults of all stories in days of this season, sizes varied by the seed, and the fuel delivery."""
    planted: list[Fault] = []
    for boat in boats:
        planted += _plant_boat(rng, stories[boat.id], boat, days)
    planted.append(_in_days(FUEL_DELIVERY, "*", "*", days, float(rng.uniform(0.9, 1.1)), 0.0))
    return tuple(planted)


def _plant_boat(rng: np.random.Generator, story: Story, boat: HasEngines, days: int) -> list[Fault]:
    seats = [boat.engine_ids[i] for i in rng.permutation(len(boat.engine_ids))]
    factors = rng.uniform(0.94, 1.08, len(seats))
    later = rng.uniform(-0.03, 0.03, len(seats))
    return [
        _in_days(
            plant,
            boat.id,
            seats[plant.slot],
            days,
            _varied(plant, float(factors[plant.slot])),
            float(later[plant.slot]),
        )
        for plant in story.plants
        if plant.slot < len(seats)
    ]


def _varied(plant: Plant, factor: float) -> float:
    return (
        1.0 if plant.cause in {"idle_margin", "weak_battery", "sensor_fault"} or plant.facets == ("table",) else factor
    )


def _in_days(plant: Plant, boat: str, engine: str, days: int, factor: float, later: float) -> Fault:
    onset = max(0.0, plant.onset + later) if plant.onset > 0 else 0.0
    return Fault(
        boat,
        engine,
        plant.cause,
        plant.facets,
        plant.profile,
        round(plant.size * factor, 3),
        round(onset * days),
        round(plant.full * days) - 1,
        None if plant.mended is None else round(plant.mended * days),
        plant.detail,
    )


_FREE_PLANTS: Final[tuple[Plant, ...]] = tuple(plant for story in STORIES for plant in story.plants)


def scatter(rng: np.random.Generator, boats: Sequence[HasEngines], days: int, share: float) -> tuple[Fault, ...]:
    """Faults for a study: each engine has one with chance `share`, of any kind, onset and size drawn freely."""
    planted: list[Fault] = []
    for boat in boats:
        for engine in boat.engine_ids:
            if rng.random() < share:
                plant = _FREE_PLANTS[int(rng.integers(len(_FREE_PLANTS)))]
                planted.append(
                    _in_days(plant, boat.id, engine, days, float(rng.uniform(0.6, 1.3)), float(rng.uniform(-0.2, 0.1)))
                )
    return tuple(planted)
