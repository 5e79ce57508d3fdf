"""Seasons of healthy engines, drawn at random: noise, rounding, weather and voltage as logs have them, and no fault.

What such a season makes the watch say is a false alarm.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from season_maker import made_series

from pipeline.catalogue import Indicator, indicators
from pipeline.history import FloatArray, Series
from pipeline.season.epochs import Epoch
from pipeline.season.like_for_like import like_for_like
from pipeline.season.movement import Compared, movement
from pipeline.states import State, judge

RUNS_A_DAY = 1.3
"""As the budget has it."""

GEARS = ("reverse", "neutral", "forward")

# Level and run-to-run noise (sd) of a healthy engine: simulated, in each indicator's unit. No published source.
ORDINARY = {
    "shift_reach_error": (0.1, 0.12),
    "shift_transit_time": (0.5, 0.03),
    "idle_integral": (-1.5, 0.5),
    "idle_speed_error": (0.0, 5.0),
    "idle_spread": (12.0, 1.5),
    "engagement_dip": (60.0, 10.0),
    "release_flare": (40.0, 10.0),
    "idle_fuel_trim": (0.5, 0.7),
    "off_idle_lean": (0.03, 0.01),
    "battery_idle": (13.2, 0.12),
    "coolant_hot": (68.0, 1.5),
    "oil_pressure_hot": (250.0, 10.0),
}

FACETS = {
    "shift_reach_error": GEARS,
    "shift_transit_time": GEARS,
    "shift_scatter": GEARS,
    "shift_hesitation": GEARS,
    "idle_integral": GEARS,
    "idle_integral_slope": GEARS,
    "idle_speed_error": GEARS,
    "idle_spread": GEARS,
    "engagement_dip": ("reverse", "forward"),
    "release_flare": ("reverse", "forward"),
    "idle_fuel_trim": ("cold", "hot"),
    "off_idle_lean": ("",),
    "battery_idle": ("",),
    "coolant_hot": ("",),
    "oil_pressure_hot": ("",),
}
"""Every monitor of one engine: 34 series."""


@dataclass(frozen=True, eq=False)
class Weather:
    """What every reading of one engine's season was taken at: a cold month, a battery that weakens, or neither."""

    temp_c: FloatArray
    battery_v: FloatArray


def drawn_weather(rng: np.random.Generator, runs: int) -> Weather:
    """Half of the seasons turn 15 °C colder for a month; half of the batteries lose 0.8 V by the end."""
    temp_c = 66 + rng.normal(0, 4, runs)
    if rng.random() < 0.5:
        first = int(rng.integers(12, runs - 30))
        temp_c[first : first + 30] -= 15
    battery_v = 12.9 + rng.normal(0, 0.12, runs)
    if rng.random() < 0.5:
        battery_v -= np.linspace(0, 0.8, runs)
    return Weather(temp_c, battery_v)


def neighbourly(rng: np.random.Generator, runs: int, lag_one: float) -> FloatArray:
    """Noise of sd 1 whose neighbours resemble each other: AR(1)."""
    own = rng.normal(size=runs) * np.sqrt(1 - lag_one**2)
    found = np.empty(runs)
    last = rng.normal()
    for place in range(runs):
        last = found[place] = lag_one * last + own[place]
    return found


def healthy_series(rng: np.random.Generator, name: str, facet: str, weather: Weather) -> Series:
    """One healthy series, rounded as finely as the indicator can be told."""
    indicator = indicators()[name]
    runs = weather.temp_c.size
    values = _values(rng, indicator, weather)
    rounded = np.round(values / indicator.resolution) * indicator.resolution
    columns = {each: getattr(weather, each) for each in indicator.covariates}
    return made_series(rounded, name, facet, days=np.arange(runs) / RUNS_A_DAY, **columns)


def _values(rng: np.random.Generator, indicator: Indicator, weather: Weather) -> FloatArray:
    runs = weather.temp_c.size
    if indicator.name == "shift_hesitation":
        return rng.binomial(6, 0.03, runs) / 6
    if indicator.name == "shift_scatter":
        return _rolling_spread(np.round(rng.normal(0, 0.15, (runs, 6)), 1))
    if indicator.name == "idle_integral_slope":
        return _rolling_slope(rng, runs)
    level, sd = ORDINARY[indicator.name]
    found = level + sd * neighbourly(rng, runs, float(rng.uniform(0, 0.3)))
    for name in indicator.covariates:
        slope, off = indicator.priors[name]
        covariate = getattr(weather, name)
        found = found + rng.normal(slope, off) * (covariate - covariate[:12].mean())
    return np.asarray(found)


def _rolling_spread(settled: FloatArray) -> FloatArray:
    """Scaled MAD of the shifts (runs, shifts a run) of each run and the nine before."""
    found = []
    for last in range(1, len(settled) + 1):
        recent = settled[max(0, last - 10) : last].ravel()
        found.append(1.4826 * np.median(np.abs(recent - np.median(recent))))
    return np.asarray(found)


def _rolling_slope(rng: np.random.Generator, runs: int) -> FloatArray:
    """Slope (% per 10 °C) of four windows a run on temperature, over each run and the nine before."""
    temp_c = rng.uniform(20, 75, (runs, 4))
    integral = rng.normal(0, 0.3, (runs, 1)) + rng.normal(0, 0.4, (runs, 4))
    found = []
    for last in range(1, runs + 1):
        recent = slice(max(0, last - 10), last)
        off = temp_c[recent].ravel() - temp_c[recent].mean()
        found.append(10 * float(off @ integral[recent].ravel()) / float(off @ off))
    return np.asarray(found)


def mornings(series: Series, first: int = 13, every: int = 1) -> Iterator[State]:
    """The state of a series on each morning from its `first` reading on, by the real comparison and judgement."""
    indicator = indicators()[series.key.indicator]
    usual = like_for_like(series, series.value, indicator)
    assert usual is not None
    for count in range(first, len(series) + 1, every):
        known = series.pick(slice(0, count))
        compared = Compared(known, Epoch(0, "commissioning"), like_for_like(known, known.value, indicator))
        yield judge(movement(compared, indicator, (), usual.scale), indicator, indicator.limits)


def false_watches(states: list[State]) -> int:
    """How often a series went from ready to watch or hold."""
    standing = [state.status != "ready" for state in states]
    return sum(now and not before for before, now in zip([False, *standing], standing, strict=False))
