"""Logs of every simulated logger with their names taken away, and what each column truly is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

import demo_fleet
from pipeline.channels import CHANNELS
from pipeline.database import scratch
from pipeline.proposal.engines import one_engine
from pipeline.readers.header import Column
from pipeline.readers.peek import Peek, PeekedColumn, peek
from pipeline.register import Boat, Register, load_register

LAST_DAY = date(2026, 6, 14)


@dataclass(frozen=True)
class Scrambled:
    """A log whose columns are called ch1, ch2, … in any order, but for the time; `truth` is the channel of each name.

    A name that is no key of `truth` belongs to something that is no channel.
    """

    boat: str
    peek: Peek
    truth: dict[str, str]


@pytest.fixture(scope="session")
def simulated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One day of twelve boats, each with another logger."""
    folder = tmp_path_factory.mktemp("proposal") / "fleet"
    demo_fleet.build(folder, boats=12, days=1, last_day=LAST_DAY)
    return folder


@pytest.fixture(scope="session")
def scrambled(simulated: Path) -> list[Scrambled]:
    """The first log of each boat, without names and units."""
    register, rng = load_register(simulated), np.random.default_rng(5)
    return [_scrambled(register, boat, log, rng, ()) for boat, log in _logs(register)]


@pytest.fixture(scope="session")
def scrambled_with_others(simulated: Path) -> list[Scrambled]:
    """Six of them with a dozen columns that are no channel of ours, such as the boat's speed and its heading."""
    register, rng = load_register(simulated), np.random.default_rng(6)
    return [_scrambled(register, boat, log, rng, OTHERS) for boat, log in _logs(register)[:6]]


def _logs(register: Register) -> list[tuple[Boat, Path]]:
    return [(boat, log) for boat in register.boats if (log := first_log(register, boat)) is not None]


def first_log(register: Register, boat: Boat) -> Path | None:
    """The boat's first log that is whole; None where it stayed in."""
    logs = sorted((register.folder / "inbox" / boat.id).rglob("*.*"))
    return next((log for log in logs if log.name[:1].isdigit() or log.name.startswith("log_")), None)


def _scrambled(
    register: Register, boat: Boat, log: Path, rng: np.random.Generator, others: tuple[str, ...]
) -> Scrambled:
    seen = peek(scratch(), log)
    _, columns = one_engine(seen.columns, [engine.id for engine in boat.engines])
    true_names = {column.column.written: _channel(column.column, boat, register) for column in columns}
    speed = next(column.numbers for column in columns if true_names[column.column.written] == "rpm")
    columns += [_other(name, np.nan_to_num(speed), rng) for name in others]
    truth, renamed = {}, []
    for number, at in enumerate(rng.permutation(len(columns)), start=1):
        channel = true_names.get(columns[at].column.written)
        name = "time" if channel == "time" else f"ch{number}"
        renamed.append(replace(columns[at], column=Column(name, name, None)))
        if channel is not None and channel != "time":
            truth[name] = channel
    renamed.sort(key=lambda column: column.column.written != "time")
    return Scrambled(boat.id, Peek(tuple(renamed), seen.metadata, seen.own_time), truth)


def _channel(column: Column, boat: Boat, register: Register) -> str | None:
    if boat.channel_map is not None:
        entries = register.channel_maps[boat.channel_map].items()
        return next((channel for channel, entry in entries if entry.column in {column.written, column.name}), None)
    bare = column.written.replace("{engine}", "").strip("_ ./").removesuffix("_c")
    return bare if bare in {"time", *CHANNELS} else None


OTHERS = ("speed", "load", "level", "sea", "air", "heading", "latitude", "flow", "exhaust", "tab", "bilge", "torque")


def _other(name: str, rpm: np.ndarray, rng: np.random.Generator) -> PeekedColumn:
    """A column that is no channel of ours, made from the engine's speed where it would go with it."""
    rows, smooth = rpm.size, np.convolve(rpm, np.ones(61) / 61, "same")
    turns = rpm > 100

    def walk(step: float) -> np.ndarray:
        return np.cumsum(rng.normal(0, step, rows))

    values = {
        "speed": np.maximum(0, (smooth - 550) / 90),
        "load": np.where(turns, 18 + smooth / 60 + rng.normal(0, 1, rows), 0),
        "level": 62 - np.arange(rows) * 1e-4 + walk(0.01),
        "sea": 12.5 + rng.normal(0, 0.05, rows),
        "air": 101.3 + rng.normal(0, 0.05, rows),
        "heading": np.mod(180 + walk(1.5), 360),
        "latitude": 53.2 + walk(1e-6),
        "flow": np.where(turns, smooth / 300 + rng.normal(0, 0.1, rows), 0),
        "exhaust": 40 + np.maximum.accumulate(smooth) / 40 + walk(0.02),
        "tab": np.repeat(rng.choice([0.0, 15.0, 40.0]), rows),
        "bilge": (np.arange(rows) % 1500 < 80) * 1.0,
        "torque": np.clip(smooth / 50 + rng.normal(0, 1, rows), -5, 95),
    }[name].round({"latitude": 6, "flow": 2, "heading": 0}.get(name, 1))
    return PeekedColumn(Column(name, name, None), values, (), str(values[0]))
