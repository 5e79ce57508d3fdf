"""Writes fleet.toml and schedule.csv of the simulated fleet."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from demo_fleet.arrays import GEAR_NAMES
from demo_fleet.scenario import FLEET_NAME, SERVICE_EVERY_H, TIMEZONE, BoatUnit, EngineUnit, Scenario
from demo_fleet.writing import time_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    from demo_fleet.loggers import Column, Logger

LIMITS = """
# Limits that the (invented) engine maker gives; the others are the tool's defaults.
[limits.battery_idle]
watch = 12.6
hold = 12.0

[limits.coolant_hot]
watch = 82.0
hold = 90.0

[limits.oil_pressure_hot]
watch = 150.0
hold = 110.0
"""

TIME_UNITS = {"seconds": "s", "iso_offset": "iso8601", "epoch_ms": "epoch_ms", "clock": "clock"}


def fleet_toml(scenario: Scenario) -> str:
    """The register as TOML text."""
    loggers = {boat.logger.channel_map: boat.logger for boat in scenario.boats if boat.logger.channel_map}
    head = f'[fleet]\nname = "{FLEET_NAME}"\ntimezone = "{TIMEZONE}"\ncurrency_days = 3\nsimulated = true\n{LIMITS}'
    maps = [_channel_map(name, logger) for name, logger in sorted(loggers.items(), key=lambda item: item[0] or "")]
    return "\n".join([head, *maps, *(_boat(boat) for boat in scenario.boats)])


def schedule_csv(scenario: Scenario) -> str:
    """The departures of the morning after the last day."""
    rng = np.random.default_rng([scenario.seed, 8])
    day = scenario.last_day + timedelta(days=1)
    morning = datetime(day.year, day.month, day.day, 8, 0, tzinfo=ZoneInfo(TIMEZONE))
    lines = ["boat,departs,note"]
    for boat in scenario.boats:
        if rng.random() < 0.7:
            departs = morning + timedelta(minutes=15 * int(rng.integers(0, 20)))
            lines.append(f"{boat.id},{departs.isoformat()},{rng.choice(['bay tour', 'day hire', 'school trip', ''])}")
    return "\n".join(lines) + "\n"


def _channel_map(name: str | None, logger: Logger) -> str:
    lines = [f"[channel_map.{name}]", _time_entry(logger)]
    lines += [f"{channel} = {_entry(column)}" for channel, column in logger.columns.items()]
    return "\n".join(lines) + "\n"


def _time_entry(logger: Logger) -> str:
    unit = TIME_UNITS.get(logger.clock)
    return f'time = {{ column = "{time_name(logger)}"' + (f', unit = "{unit}"' if unit else "") + " }"


def _entry(column: Column) -> str:
    parts = [f'column = "{column.name}"']
    if column.unit:
        parts.append(f'unit = "{column.unit}"')
    if column.stoich:
        parts.append(f"stoich = {column.stoich}")
    if column.values:
        parts.append("values = { " + ", ".join(f'"{word}" = "{gear}"' for word, gear in column.values) + " }")
    return "{ " + ", ".join(parts) + " }"


def _boat(boat: BoatUnit) -> str:
    lines = ["[[boat]]", f'id = "{boat.id}"', f'name = "{boat.name}"']
    if boat.logger.channel_map:
        lines.append(f'channel_map = "{boat.logger.channel_map}"')
    for engine in boat.engines:
        lines += ["", *_engine(boat, engine)]
    return "\n".join(lines) + "\n"


def _engine(boat: BoatUnit, engine: EngineUnit) -> Iterator[str]:
    yield "[[boat.engine]]"
    yield f'id = "{engine.id}"'
    if boat.logger.channel_map == "bench":
        yield f'label = "{engine.label}"'
    yield f'serial = "{engine.serial}"'
    targets = ", ".join(f"{GEAR_NAMES[gear]} = {engine.targets[gear]:g}" for gear in (-1, 0, 1))
    yield f"shift_targets = {{ {targets} }}"
    last = SERVICE_EVERY_H * np.floor(engine.hours / SERVICE_EVERY_H)
    yield f"service = {{ every_hours = {SERVICE_EVERY_H:g}, last_hours = {last:.1f} }}"
