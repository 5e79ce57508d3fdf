"""Air temperature and pressure at the invented harbour, one value a day, with one cold spell in the season."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from datetime import date

    from demo_fleet.arrays import Floats

MEAN_C = 11.5
SEASON_SWING_C = 2.5
DAILY_SD_C = 1.6
MEMORY = 0.65
COLD_SPELL_C = -9.0
COLD_SPELL_SHARE = 0.1


@dataclass(frozen=True)
class Weather:
    """Daily weather. `air_c` is the air temperature at seven in the morning in °C, `pressure_kpa` the air pressure."""

    first_day: date
    air_c: Floats
    pressure_kpa: Floats
    cold_spell: tuple[int, int]

    def at(self, day: int, hour: float) -> float:
        """Air temperature in °C on a day of the season at an hour of the day: mornings are coolest."""
        return float(self.air_c[day] + 5.0 * np.sin(np.clip((hour - 7.0) / 16.0, 0.0, 1.0) * np.pi))


def draw_weather(rng: np.random.Generator, first_day: date, days: int) -> Weather:
    """A season's weather: a slow swing, days that resemble the day before, and a spell of cold mornings.

    The curve hangs on the day of the season, not on the calendar, so that a fleet looks alike whenever it is built.
    """
    air = MEAN_C + SEASON_SWING_C * np.sin(np.arange(days) / max(days, 1) * np.pi)
    air = air + _with_memory(rng, days, DAILY_SD_C)
    spell = _cold_spell(days)
    air[spell[0] : spell[1]] += COLD_SPELL_C
    pressure = 101.3 + _with_memory(rng, days, 0.6)
    return Weather(first_day, np.maximum(air, -2.0), pressure, spell)


def _with_memory(rng: np.random.Generator, days: int, sd: float) -> Floats:
    shocks = rng.normal(0.0, sd * np.sqrt(1 - MEMORY**2), days)
    values = np.empty(days)
    level = rng.normal(0.0, sd)
    for day in range(days):
        level = MEMORY * level + shocks[day]
        values[day] = level
    return values


def _cold_spell(days: int) -> tuple[int, int]:
    length = max(1, round(days * COLD_SPELL_SHARE))
    begins = int(days * 0.56)
    return begins, min(days, begins + length)
