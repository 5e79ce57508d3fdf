"""Logs for the benchmarks: seeded, 20 Hz, 18 columns, made of idling, shifting and running. No boat was harmed."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.csv as pa_csv

RATE_HZ: Final = 20
COLUMNS: Final = (
    "time", "rpm", "rpm_target", "gear", "shift_target", "shift_position", "throttle", "pedal", "idle_integral",
    "idle_active", "oil_temp", "coolant_temp", "air_temp", "lambda", "lambda_target", "fuel_trim", "battery",
    "oil_pressure",
)  # fmt: skip
"""Canonical names, so that no channel map is needed."""

FIRST_S: Final = 1_700_000_000.0
"""2023-11-14T22:13:20Z, the start of the first log."""

_TARGETS: Final = np.array([12.0, 50.0, 90.0])
"""Shift target by gear -1, 0, 1, % of travel."""

_CYCLE: Final = ((0, 12.0, 0.0), (1, 15.0, 0.0), (0, 8.0, 0.0), (-1, 10.0, 0.0), (0, 10.0, 0.0), (1, 45.0, 40.0))
"""Gear, seconds and pedal (%) of the parts of one cycle."""

Floats = npt.NDArray[np.float64]


def write_log(path: Path, *, start_s: float, minutes: float, seed: int, every: int = 1) -> None:
    """One CSV log, of which only one row in `every` is written."""
    path.parent.mkdir(parents=True, exist_ok=True)
    columns = _columns(round(minutes * 60 * RATE_HZ), np.random.default_rng(seed))
    columns["time"] = start_s + np.arange(len(columns["rpm"])) / RATE_HZ
    table = pa.table({name: np.round(columns[name][::every], 3) for name in COLUMNS})
    pa_csv.write_csv(table, path, pa_csv.WriteOptions(quoting_style="none"))


def _columns(rows: int, dice: np.random.Generator) -> dict[str, Floats]:
    gear, pedal = _parts(rows, dice)
    since_s = np.arange(rows) / RATE_HZ
    target = _TARGETS[gear + 1]
    rpm_target = np.full(rows, 610.0)
    rpm = _followed(rpm_target + pedal * 60, 0.8) + dice.normal(0, 6, rows)
    rpm[: RATE_HZ // 2] = 0.0
    warm = 1 - np.exp(-since_s / 240)
    lambda_target = np.where(pedal > 0, 0.9, 1.0)
    return {
        "rpm": rpm,
        "rpm_target": rpm_target,
        "gear": gear.astype(float),
        "shift_target": target,
        "shift_position": _followed(target, 0.15) - 0.4 * (gear != 0) + dice.normal(0, 0.05, rows),
        "throttle": 4 + pedal * 0.8 + dice.normal(0, 0.1, rows),
        "pedal": pedal,
        "idle_integral": -1.5 + 3.5 * (gear != 0) + dice.normal(0, 0.4, rows),
        "idle_active": (pedal == 0).astype(float),
        "oil_temp": 25 + 55 * warm,
        "coolant_temp": 25 + 48 * warm,
        "air_temp": np.full(rows, 21.5),
        "lambda": lambda_target + dice.normal(0, 0.01, rows),
        "lambda_target": lambda_target,
        "fuel_trim": dice.normal(1.5, 0.6, rows),
        "battery": dice.normal(13.9, 0.05, rows),
        "oil_pressure": 180 + rpm / 20,
    }


def _parts(rows: int, dice: np.random.Generator) -> tuple[npt.NDArray[np.int64], Floats]:
    """Gear and pedal of every row: cycles whose parts vary a little in length."""
    gears: list[npt.NDArray[np.int64]] = []
    pedals: list[Floats] = []
    made = 0
    while made < rows:
        for gear, seconds, pedal in _CYCLE:
            length = round(seconds * dice.uniform(0.8, 1.3) * RATE_HZ)
            gears.append(np.full(length, gear))
            pedals.append(np.full(length, pedal))
            made += length
    return np.concatenate(gears)[:rows], np.concatenate(pedals)[:rows]


def _followed(wanted: Floats, time_constant_s: float) -> Floats:
    """A first-order lag behind what is wanted, cut off after ten time constants."""
    steps = np.arange(round(10 * time_constant_s * RATE_HZ))
    weights = np.exp(-steps / (time_constant_s * RATE_HZ))
    padded = np.concatenate([np.full(len(steps), wanted[0]), wanted])
    return np.convolve(padded, weights / weights.sum())[len(steps) : len(steps) + len(wanted)]
