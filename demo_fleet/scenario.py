"""The fleet that is simulated: boats, engines with their own parameters, weather, planted faults, all from one seed."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from demo_fleet.arrays import FORWARD, NEUTRAL, REVERSE, Floats
from demo_fleet.loggers import COLUMNAR, LOGGERS, Logger
from demo_fleet.physics import needed_air_pct
from demo_fleet.stories import HEALTHY, Story, deal, plant_all, scatter
from demo_fleet.weather import Weather, draw_weather

if TYPE_CHECKING:
    from demo_fleet.faults import Fault

FLEET_NAME: Final = "Saltmarsh Lane Day Boats (simulated)"
TIMEZONE: Final = "Europe/Dublin"
SERVICE_EVERY_H: Final = 100.0
TABLE_OIL_C: Final[Floats] = np.array([-10.0, 0.0, 10.0, 20.0, 30.0, 45.0, 60.0, 80.0, 100.0])
WANTED_NEUTRAL_PCT: Final = -2.5
"""Idle integral wanted in neutral (common practice, no published source)."""
WANTED_GEAR_PCT: Final = 2.5
"""Idle integral wanted in forward and reverse (common practice, no published source)."""

BOATS: Final[tuple[tuple[str, int], ...]] = (
    ("curlew", 2),
    ("dunlin", 1),
    ("garganey", 3),
    ("lapwing", 2),
    ("merganser", 2),
    ("pipit", 1),
    ("redshank", 4),
    ("sanderling", 2),
    ("scoter", 2),
    ("turnstone", 3),
    ("whimbrel", 1),
    ("wigeon", 3),
)
"""Boats of the invented fleet with their number of engines."""

ENGINE_SEATS: Final[dict[int, tuple[tuple[str, str], ...]]] = {
    1: (("main", "Main"),),
    2: (("port", "Port"), ("starboard", "Stbd")),
    3: (("port", "Port"), ("center", "Ctr"), ("starboard", "Stbd")),
    4: (("port_outer", "PO"), ("port_inner", "PI"), ("starboard_inner", "SI"), ("starboard_outer", "SO")),
}
"""Engine ids and labels, port first, for each number of engines."""


@dataclass(frozen=True)
class Variation:
    """Knobs for drawing other fleets, for a season study as well as for the demo."""

    noise: float = 1.0
    """Scale of sensor noise and of the spread from day to day."""
    rate_hz: float | None = None
    """One sampling rate for all boats, instead of each logger's own."""
    engines: int | None = None
    forward_low_share: float = 0.15
    """Share of boats whose shift travel runs the other way round, forward at the low end."""
    out_share: tuple[float, float] = (0.55, 0.65)
    """Share of days on which a boat goes out, drawn for each boat between the two."""
    second_trip_share: float = 0.1
    gap_share: float = 0.0
    """Share of logs lost on their way."""
    columnar: bool = False
    """All boats log to Parquet under canonical names, which is the quickest to write and to read."""
    planting: Literal["stories", "scattered", "none"] = "stories"
    fault_share: float = 0.25
    """With scattered faults: chance that an engine has one."""


@dataclass(frozen=True)
class EngineUnit:
    """One engine and its shift actuator as built. Idle air is in % of the idle controller's range."""

    id: str
    label: str
    serial: str
    targets: dict[int, float]
    """Shift target of each gear at commissioning, % of travel."""
    mismatch: dict[int, float]
    """Where the mechanism rests beyond (+) or short of (-) each target, % of travel, towards the outside."""
    speed_pct_s: float
    friction: float
    """Share of the actuator's drive that friction takes."""
    hesitation: float
    power_w_per_pct: float
    """Indicated power for each % of idle air, W."""
    friction_nm: float
    """Drag torque at idle and hot oil, Nm."""
    leak_pct: float
    load_pct: dict[int, float]
    """Idle air the propeller's load needs in each gear, %."""
    table_pct: Floats
    """Neutral feed-forward table over TABLE_OIL_C, %."""
    add_pct: dict[int, float]
    thermostat_c: float
    lean_cold: float
    lean_hot: float
    lean_load: float
    """Fuelling error in % (+ is lean): cold idle, hot idle, under load."""
    volts_charging: float
    battery_ohm: float
    impact_rpm: float
    oil_pressure_kpa: float
    hours: float
    """Engine hours on the first day."""


@dataclass(frozen=True)
class BoatUnit:
    """One boat, its engines, its logger and its season."""

    id: str
    name: str
    engines: tuple[EngineUnit, ...]
    logger: Logger
    story: Story = field(default=HEALTHY)
    out_share: float = 0.6

    @property
    def engine_ids(self) -> tuple[str, ...]:
        """The ids of its engines, port first."""
        return tuple(engine.id for engine in self.engines)


@dataclass(frozen=True)
class Scenario:
    """Everything the simulation needs, decided before a single sample is made."""

    seed: int
    days: int
    first_day: date
    boats: tuple[BoatUnit, ...]
    weather: Weather
    faults: tuple[Fault, ...]
    variation: Variation

    @property
    def last_day(self) -> date:
        """The last day of the season."""
        return self.first_day + timedelta(days=self.days - 1)


def draw_scenario(boats: int, days: int, seed: int, last_day: date, variation: Variation | None = None) -> Scenario:
    """A fleet from a seed: the same arguments always give the same fleet."""
    knobs = variation or Variation()
    rng = np.random.default_rng([seed, 1])
    first_day = last_day - timedelta(days=days - 1)
    weather = draw_weather(rng, first_day, days)
    shells = [_Shell(*_boat_name(i), knobs.engines) for i in range(boats)]
    stories = deal(rng, shells) if knobs.planting == "stories" else {shell.id: HEALTHY for shell in shells}
    units = tuple(_draw_boat(rng, shell, i, stories[shell.id], knobs) for i, shell in enumerate(shells))
    return Scenario(seed, days, first_day, units, weather, _faults(rng, stories, units, days, knobs), knobs)


def _faults(
    rng: np.random.Generator, stories: dict[str, Story], units: tuple[BoatUnit, ...], days: int, knobs: Variation
) -> tuple[Fault, ...]:
    if knobs.planting == "stories":
        return plant_all(rng, stories, units, days)
    return scatter(rng, units, days, knobs.fault_share) if knobs.planting == "scattered" else ()


class _Shell:
    """A boat before its engines are drawn."""

    def __init__(self, boat_id: str, engines: int, override: int | None) -> None:
        self.id = boat_id
        self.seats = ENGINE_SEATS[override or engines]
        self.engine_ids = tuple(seat[0] for seat in self.seats)


def _boat_name(index: int) -> tuple[str, int]:
    name, engines = BOATS[index % len(BOATS)]
    lap = index // len(BOATS)
    return (name if lap == 0 else f"{name}_{lap + 1}"), engines


def _draw_boat(rng: np.random.Generator, shell: _Shell, index: int, story: Story, knobs: Variation) -> BoatUnit:
    forward_low = bool(rng.random() < knobs.forward_low_share)
    hours = float(np.round(rng.uniform(60.0, 900.0), 1))
    logger = (COLUMNAR if knobs.columnar else LOGGERS[index % len(LOGGERS)]).at_rate(knobs.rate_hz)
    high = [story.table_high if i == 0 else 0.0 for i in range(len(shell.seats))]
    engines = tuple(
        _draw_engine(rng, seat, hours, forward_low=forward_low, table_high=table_high)
        for seat, table_high in zip(shell.seats, high, strict=True)
    )
    name = shell.id.replace("_", " ").title()
    return BoatUnit(shell.id, name, engines, logger, story, float(rng.uniform(*knobs.out_share)))


def _draw_engine(
    rng: np.random.Generator, seat: tuple[str, str], boat_hours: float, *, forward_low: bool, table_high: float
) -> EngineUnit:
    forward, reverse = float(rng.integers(88, 93)), float(rng.integers(10, 15))
    ends = (reverse, forward) if forward_low else (forward, reverse)
    power, friction = 62.0 * _near_one(rng, 0.02), 29.0 * _near_one(rng, 0.025)
    leak = float(rng.normal(4.0, 0.4))
    load = float(np.clip(rng.normal(10.0, 0.9), 8.0, 12.0))
    loads = {NEUTRAL: 0.0, FORWARD: load, REVERSE: 0.82 * load}
    neutral_error, row_error = rng.normal(0.0, 0.35), rng.normal(0.0, 0.25, TABLE_OIL_C.size)
    needed = needed_air_pct(TABLE_OIL_C, friction, power) - leak
    gear_error = rng.normal(0.0, 0.3, 2)
    lean_hot = float(rng.normal(0.0, 0.8))
    return EngineUnit(
        id=seat[0],
        label=seat[1],
        serial=f"S{int(rng.integers(10000, 99999))}",
        targets={FORWARD: ends[0], NEUTRAL: float(rng.integers(49, 52)), REVERSE: ends[1]},
        mismatch={gear: float(np.clip(rng.normal(0.0, sd), -0.6, 0.6)) for gear, sd in _MISMATCH_SD},
        speed_pct_s=float(rng.normal(105.0, 7.0)),
        friction=float(rng.uniform(0.06, 0.1)),
        hesitation=float(rng.uniform(0.005, 0.03)),
        power_w_per_pct=power,
        friction_nm=friction,
        leak_pct=leak,
        load_pct=loads,
        table_pct=np.round((needed - WANTED_NEUTRAL_PCT + neutral_error + row_error + table_high) * 2) / 2,
        add_pct={
            NEUTRAL: 0.0,
            FORWARD: round(loads[FORWARD] - WANTED_GEAR_PCT + WANTED_NEUTRAL_PCT + float(gear_error[0]), 1),
            REVERSE: round(loads[REVERSE] - WANTED_GEAR_PCT + WANTED_NEUTRAL_PCT + float(gear_error[1]), 1),
        },
        thermostat_c=float(rng.normal(70.0, 1.5)),
        lean_cold=lean_hot + float(rng.normal(1.2, 0.4)),
        lean_hot=lean_hot,
        lean_load=float(rng.normal(0.0, 1.2)),
        volts_charging=float(rng.normal(13.9, 0.1)),
        battery_ohm=float(rng.uniform(0.018, 0.026)),
        impact_rpm=float(rng.uniform(25.0, 45.0)),
        oil_pressure_kpa=float(rng.normal(215.0, 12.0)),
        hours=boat_hours + float(rng.uniform(0.0, 3.0)),
    )


_MISMATCH_SD = ((FORWARD, 0.18), (NEUTRAL, 0.08), (REVERSE, 0.18))


def _near_one(rng: np.random.Generator, sd: float) -> float:
    return float(np.clip(rng.normal(1.0, sd), 1 - 2.5 * sd, 1 + 2.5 * sd))
