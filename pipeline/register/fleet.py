"""The fleet as the rest of the program knows it: boats, their engines, channel maps and limits."""

from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import TypeVar

from pydantic import Field

from pipeline.register.tables import ChannelMap, Gear, LimitOverride, Limits, ReadingLimits, Service, Table
from pipeline.register.words import did_you_mean

_Named = TypeVar("_Named")


class Engine(Table):
    """One engine. `label` is what `{engine}` stands for in a column's name; shift targets are in % of travel.

    `idle_rows_c` are the temperatures (°C, rising) of the rows of its idle feed-forward table; None where not told.
    """

    id: str
    boat_id: str
    label: str
    serial: str | None
    shift_targets: Mapping[Gear, float] | None
    service: Service | None
    limits: Limits
    idle_rows_c: tuple[float, ...] | None = None

    @property
    def engine_id(self) -> str:
        """The engine's name across the fleet: `boat/engine`."""
        return f"{self.boat_id}/{self.id}"


class Boat(Table):
    """One boat. `id` is also its folder in the inbox; `channel_map` is the name of a map of the register, or None."""

    id: str
    name: str
    channel_map: str | None
    engines: tuple[Engine, ...]
    limits: Limits


class Register(Table):
    """The whole fleet. `timezone` is a valid IANA name; a boat silent for more than `currency_days` is unchecked."""

    folder: Path
    name: str
    timezone: str
    currency_days: float
    simulated: bool
    boats: tuple[Boat, ...]
    channel_maps: Mapping[str, ChannelMap]
    limits: Limits
    reading: ReadingLimits = Field(default_factory=ReadingLimits)

    def boat(self, boat_id: str) -> Boat:
        """The boat of that id; KeyError, with the nearest, where there is none."""
        return _named(boat_id, self._by_id)

    @cached_property
    def _by_id(self) -> dict[str, Boat]:
        """Made once: a judgement asks for a boat at every number of every engine."""
        return {boat.id: boat for boat in self.boats}

    def engines(self) -> tuple[Engine, ...]:
        """Every engine of every boat, in the register's order."""
        return tuple(engine for boat in self.boats for engine in boat.engines)

    def engine(self, engine_id: str) -> Engine:
        """The engine called `boat/engine`; KeyError, with the nearest, where there is none."""
        boat = self.boat(engine_id.partition("/")[0])
        return _named(engine_id, {engine.engine_id: engine for engine in boat.engines})

    def limit(self, indicator: str, engine_id: str) -> LimitOverride:
        """The limits set for an engine: its own, else its boat's, else the fleet's, watch and hold each by itself."""
        engine = self.engine(engine_id)
        layers = (engine.limits, self.boat(engine.boat_id).limits, self.limits)
        found = [layer[indicator] for layer in layers if indicator in layer]
        watch = next((each.watch for each in found if each.watch is not None), None)
        hold = next((each.hold for each in found if each.hold is not None), None)
        return LimitOverride(watch=watch, hold=hold)


def _named(name: str, known: Mapping[str, _Named]) -> _Named:
    if name not in known:
        raise KeyError(f"{name!r} is not in the register. {did_you_mean(name, known)}")
    return known[name]
