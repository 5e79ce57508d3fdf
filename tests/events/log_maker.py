"""Small logs whose truth is known because they are drawn from it: step by step, at any rate, with jitter and blanks.

Nothing here reads the event queries. Times are seconds from the log's start; `START_S` is added where a log is stored.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from pipeline.channels import CHANNELS
from pipeline.extract import Chain, ChainLog, GearLevel, extract

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

START_S: Final = 1_780_000_000.0
"""2026-05-28T20:26:40Z."""

TARGETS: Final = {"reverse": 12.0, "neutral": 50.0, "forward": 90.0}
CODES: Final = {"reverse": -1.0, "neutral": 0.0, "forward": 1.0}
LEVELS: Final = tuple(GearLevel(target, gear) for gear, target in TARGETS.items())

WARM_IDLE: Final = {
    "rpm": 620.0,
    "rpm_target": 620.0,
    "gear": 0.0,
    "shift_target": 50.0,
    "shift_position": 50.0,
    "pedal": 0.0,
    "idle_integral": -2.0,
    "fuel_closed_loop": 1.0,
    "fuel_trim": 1.0,
    "oil_temp": 70.0,
    "coolant_temp": 75.0,
    "battery": 13.8,
}
"""A warm engine idling in neutral; a test changes what it is about."""


@dataclass(frozen=True)
class Log:
    """Samples: times (s from the log's start, rising) and channels, NaN where a channel is blank."""

    time_s: Floats
    channels: Mapping[str, Floats]

    def only(self, kept: NDArray[np.bool_]) -> Log:
        """The samples that a mask keeps."""
        return Log(self.time_s[kept], {name: values[kept] for name, values in self.channels.items()})

    def without(self, *names: str) -> Log:
        """The log of a logger that lacks these channels."""
        return replace(self, channels={name: values for name, values in self.channels.items() if name not in names})

    def changed(self, name: str, values: Floats | float) -> Log:
        """The log with one channel replaced."""
        return replace(self, channels={**self.channels, name: np.broadcast_to(values, self.time_s.shape)})

    def glitch(self, name: str, at_s: float, value: float) -> Log:
        """The log with one single sample of a channel overwritten: the first one at or after `at_s`."""
        values = self.channels[name].copy()
        values[np.searchsorted(self.time_s, at_s - 2.5e-7)] = value
        return self.changed(name, values)

    def blank_but(self, name: str, every: int, phase: int = 0) -> Log:
        """The log of a logger that gives a channel in each `every`-th row only, from row `phase` on."""
        values = np.full(self.time_s.shape, np.nan)
        values[phase::every] = self.channels[name][phase::every]
        return self.changed(name, values)

    def table(self, start_s: float = START_S) -> pa.Table:
        """The log as it stands in the store."""
        columns: dict[str, pa.Array] = {"time_s": pa.array(self.time_s + start_s)}
        for name in CHANNELS:
            kind = pa.float64() if name == "engine_hours" else pa.float32()
            held = self.channels.get(name)
            columns[name] = (
                pa.nulls(len(self.time_s), kind) if held is None else pa.array(held, mask=np.isnan(held)).cast(kind)
            )
        return pa.table(columns)


@dataclass(frozen=True)
class _Piece:
    """A channel goes from one value to another between two times, and stays there until the next piece."""

    from_s: float
    to_s: float
    low: float
    high: float


@dataclass
class Trip:
    """A trip in the making: what each channel does, and when. Rendering gives a `Log`."""

    channels: dict[str, list[_Piece]] = field(default_factory=dict)
    length_s: float = 0.0

    @staticmethod
    def warm(**changed: float | None) -> Trip:
        """A trip that begins with a warm engine idling in neutral; None takes a channel away."""
        return Trip().at(0, **{name: value for name, value in {**WARM_IDLE, **changed}.items() if value is not None})

    def at(self, at_s: float, **values: float) -> Trip:
        """From this moment on these channels have these values."""
        for name, value in values.items():
            self.channels.setdefault(name, []).append(_Piece(at_s, at_s, value, value))
        self.length_s = max(self.length_s, at_s)
        return self

    def ramp(self, from_s: float, to_s: float, **values: float) -> Trip:
        """These channels go straight from where they are to these values."""
        for name, value in values.items():
            now = self.value(name, np.array([from_s]))[0]
            self.channels[name].append(_Piece(from_s, to_s, float(now), value))
        self.length_s = max(self.length_s, to_s)
        return self

    def shift(
        self, at_s: float, gear: str, *, settled: float | None = None, dead_s: float = 0.05, travel_s: float = 0.4
    ) -> Trip:
        """Ask for a gear: target and lever step, the position waits `dead_s` and travels evenly for `travel_s`."""
        self.at(at_s, shift_target=TARGETS[gear], gear=CODES[gear])
        if "shift_position" in self.channels:
            reached = TARGETS[gear] if settled is None else settled
            self.ramp(at_s + dead_s, at_s + dead_s + travel_s, shift_position=reached)
        return self

    def until(self, end_s: float) -> Trip:
        """The log ends here."""
        self.length_s = end_s
        return self

    def value(self, name: str, time_s: Floats) -> Floats:
        """A channel at some times; NaN before its first piece."""
        pieces = sorted(self.channels[name], key=lambda piece: piece.from_s)
        # that quarter of a microsecond more, so that a sample at the very moment of a step has the new value
        at = np.searchsorted([piece.from_s for piece in pieces], time_s + 2.5e-7, side="right") - 1
        start, end, low, high = (
            np.array([getattr(piece, part) for piece in pieces])[at] for part in ("from_s", "to_s", "low", "high")
        )
        share = np.clip((time_s - start) / np.where(end > start, end - start, 1.0), 0.0, 1.0)
        return np.where(at < 0, np.nan, np.where(end > start, low + (high - low) * share, high))

    def log(
        self,
        rate_hz: float = 20.0,
        *,
        jitter: float = 0.0,
        noise: Mapping[str, float] | None = None,
        seed: int = 1,
    ) -> Log:
        """The samples; `jitter` is a share of the sample step (below 0.5), `noise` a standard deviation by channel."""
        random = np.random.default_rng(seed)
        time_s = np.arange(round(self.length_s * rate_hz) + 1) / rate_hz
        time_s = time_s + np.append(0.0, random.uniform(-jitter, jitter, len(time_s) - 1) / rate_hz)
        time_s = (
            time_s + START_S
        ) - START_S  # as double precision holds a time since 1970: to a quarter of a microsecond
        channels = {name: self.value(name, time_s) for name in self.channels}
        for name, spread in (noise or {}).items():
            channels[name] = channels[name] + random.normal(0.0, spread, len(time_s))
        return Log(time_s, channels)


Row = dict[str, Any]


@dataclass(frozen=True)
class Events:
    """Event rows by table; `at_s` is added to each: seconds from the chain's start."""

    tables: Mapping[str, list[Row]]

    def __getattr__(self, name: str) -> list[Row]:
        return self.tables[name]

    def of(self, engine: str) -> Events:
        """The events of one engine."""
        return Events({name: [row for row in rows if row["engine_id"] == engine] for name, rows in self.tables.items()})

    def faults(self, channel: str) -> list[str]:
        """Signal faults of a channel."""
        return [row["fault"] for row in self.tables["signals"] if row["channel"] == channel]


class Bench:
    """Writes logs to a folder and measures them."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._numbers = itertools.count()

    def chain(
        self, *logs: tuple[Log, float] | Log, engine: str = "petrel/port", levels: Sequence[GearLevel] = LEVELS
    ) -> Chain:
        """Write the logs of one chain; a log may stand with the moment (s since 1970) of its time zero."""
        pairs = [each if isinstance(each, tuple) else (each, START_S) for each in logs]
        return Chain(engine, tuple(self._write(log, start_s) for log, start_s in pairs), tuple(levels))

    def measure(self, *logs: tuple[Log, float] | Log, levels: Sequence[GearLevel] = LEVELS) -> Events:
        """The events of one chain."""
        start_s = logs[0][1] if isinstance(logs[0], tuple) else START_S
        return events_of(extract([self.chain(*logs, levels=levels)]), start_s)

    def each(self, logs: Iterable[Log]) -> list[Events]:
        """The events of several logs that have nothing to do with each other, measured in one pass."""
        chains = [self.chain(log, engine=f"boat{number:03d}/main") for number, log in enumerate(logs)]
        found = events_of(extract(chains))
        return [found.of(chain.engine_id) for chain in chains]

    def _write(self, log: Log, start_s: float) -> ChainLog:
        name = f"log{next(self._numbers):05d}"
        path = self._folder / f"{name}.parquet"
        pq.write_table(log.table(start_s), path)
        return ChainLog(name, path)


def events_of(tables: Mapping[str, pa.Table], start_s: float = START_S) -> Events:
    """Event tables as rows, with times from the chain's start."""
    found = {name: table.to_pylist() for name, table in tables.items()}
    for rows in found.values():
        for row in rows:
            row["at_s"] = round(row["started_at"].timestamp() - start_s, 6)
    return Events(found)
