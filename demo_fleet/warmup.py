"""Coolant and oil temperature through a log, second by second, from what the helm asks of the engine.

A block warmed by a few kilowatts at idle reaches its thermostat in three to five minutes, faster
under load; the oil follows. Rates are common practice, no published source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from demo_fleet.lanes import Lane, column

if TYPE_CHECKING:
    from collections.abc import Sequence

    from demo_fleet.arrays import Floats

IDLE_HEAT_K_S = 0.30
LOAD_HEAT_K_S = 0.75
OIL_COUPLING_S = 240.0
OIL_IDLE_HEAT_K_S = 0.03
OIL_LOAD_HEAT_K_S = 0.26
OIL_COOLING_S = 1000.0
THERMOSTAT_S = 15.0


@dataclass(frozen=True)
class Temperatures:
    """Coolant and oil in °C, shape (seconds, lanes), one row a second from the log's start."""

    coolant_c: Floats
    oil_c: Floats


def demand_pct(lanes: Sequence[Lane], times_s: Floats) -> Floats:
    """The helm's demand in %, shape (times, lanes)."""
    rows = np.empty((times_s.size, len(lanes)), dtype=np.float32)
    for index, lane in enumerate(lanes):
        steps = np.array(lane.outing.helm.pedal)
        rows[:, index] = np.interp(times_s, steps[:, 0], steps[:, 1])
    return rows


def warm_up(lanes: Sequence[Lane], seconds: int) -> Temperatures:
    """Temperatures of all lanes for that many seconds."""
    load = demand_pct(lanes, np.arange(seconds, dtype=np.float64)) / 100.0
    starts = column(lanes, lambda lane: lane.outing.helm.cranks[0] if lane.outing.helm.cranks else 0.0)
    opens = column(lanes, lambda lane: lane.engine.thermostat_c)
    air = column(lanes, lambda lane: lane.outing.air_c)
    coolant, oil = np.empty((seconds, len(lanes))), np.empty((seconds, len(lanes)))
    coolant[0], oil[0] = column(lanes, lambda lane: lane.coolant_c), column(lanes, lambda lane: lane.oil_c)
    for second in range(1, seconds):
        runs = second > starts
        heat = np.where(runs, IDLE_HEAT_K_S + LOAD_HEAT_K_S * load[second], 0.0)
        heated = coolant[second - 1] + heat
        regulated = opens + 3.0 * load[second]
        coolant[second] = np.where(
            heated > regulated, heated - (heated - regulated) / THERMOSTAT_S - heat * 0.8, heated
        )
        friction = np.where(runs, OIL_IDLE_HEAT_K_S + OIL_LOAD_HEAT_K_S * load[second], 0.0)
        before = oil[second - 1]
        oil[second] = before + friction + (coolant[second] - before) / OIL_COUPLING_S - (before - air) / OIL_COOLING_S
    return Temperatures(coolant, oil)
