"""A stretch of a log as lines that a screen can draw quickly: thinned in SQL, straight from the sample file."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import pandas as pd

from pipeline.catalogue import read_query
from pipeline.channels import CHANNELS
from pipeline.database import Database, rows
from pipeline.screen_data import local_ms

BUCKETS: Final = 700
"""Two points a bucket: at most 1,400 a line, a little more than a wide screen has pixels."""

MOST_LOGS: Final = 400

SHORTEST_S: Final = 0.5
"""No stretch is shorter: a few samples of a slow log."""


@dataclass(frozen=True)
class LogPlace:
    """The samples of one engine in one log: the file they came from, where they are in the store, epoch seconds.

    `rows` counts the log's samples, `channels` are those that it holds of this engine, in the contract's order.
    """

    log_id: str
    file: str
    samples: str
    from_s: float
    to_s: float
    rows: int
    channels: tuple[str, ...]

    @property
    def seconds(self) -> float:
        """How long the log is."""
        return self.to_s - self.from_s

    @property
    def hertz(self) -> float | None:
        """Samples a second, over the whole log; None for a log of one moment."""
        return (self.rows - 1) / self.seconds if self.seconds > 0 and self.rows > 1 else None


@dataclass(frozen=True)
class Stretch:
    """A part of a log, epoch seconds. Every change of it stays inside the log."""

    place: LogPlace
    from_s: float
    to_s: float

    @property
    def seconds(self) -> float:
        """How long it is."""
        return self.to_s - self.from_s

    @property
    def is_whole(self) -> bool:
        """Whether it is the whole log."""
        return self.from_s <= self.place.from_s and self.to_s >= self.place.to_s

    def held(self, from_s: float, seconds: float) -> Stretch:
        """The stretch of that length from that moment on, moved and cut to lie inside the log."""
        length = min(max(seconds, SHORTEST_S), max(self.place.seconds, 0.0))
        first = min(max(from_s, self.place.from_s), self.place.to_s - length)
        return Stretch(self.place, first, first + length)

    def moved(self, share: float) -> Stretch:
        """As long, later by a share of its length; a negative share is earlier."""
        return self.held(self.from_s + share * self.seconds, self.seconds)

    def scaled(self, factor: float) -> Stretch:
        """About the same middle, longer by a factor; one below 1 is shorter."""
        length = max(self.seconds * factor, SHORTEST_S)
        return self.held((self.from_s + self.to_s - length) / 2, length)

    def whole(self) -> Stretch:
        """All of the log."""
        return Stretch(self.place, self.place.from_s, self.place.to_s)


def logs_of(db: Database, engine_id: str, as_of: datetime) -> tuple[LogPlace, ...]:
    """The logs of an engine up to a moment, the newest first."""
    return _places(db, engine_id, as_of, None, MOST_LOGS)


def log_named(db: Database, engine_id: str, as_of: datetime, file: str) -> LogPlace | None:
    """One log of an engine by its file; None where the engine has none of that name up to the moment."""
    return next(iter(_places(db, engine_id, as_of, file, 1)), None)


def trace(
    db: Database, samples: Path, stretch: Stretch, channels: Sequence[str], zone: ZoneInfo, buckets: int = BUCKETS
) -> pd.DataFrame:
    """The channels of a sample file in a stretch (both ends inclusive): `channel`, `at_s`, `value`, `local_ms`.

    `local_ms` is the log's own clock, see `clock_ms`. Each line keeps the lowest and the highest sample of every
    bucket. A channel without a sample there has no rows.
    """
    asked = [name for name in CHANNELS if name in channels and name in stretch.place.channels]
    if not asked:
        return pd.DataFrame({"channel": [], "at_s": [], "value": [], "local_ms": []})
    given = {
        "samples": str(samples),
        "from_s": stretch.from_s,
        "to_s": stretch.to_s,
        "channels": asked,
        "buckets": buckets,
    }
    found = db.execute(read_query("screens", "trace"), given).df()
    started_ms = local_ms(stretch.place.from_s, zone)
    return found.assign(local_ms=started_ms + (found["at_s"] - stretch.place.from_s) * 1000)


def clock_ms(place: LogPlace, at_s: float, zone: ZoneInfo) -> float:
    """A moment on the log's own clock: local time at its start, carried on, so that no line runs back at an hour's end.

    In milliseconds as if it were UTC, like `local_ms`; the same but in a log that spans a change of the clocks.
    """
    return local_ms(place.from_s, zone) + (at_s - place.from_s) * 1000


def at_clock(place: LogPlace, clock: float, zone: ZoneInfo) -> float:
    """The moment (epoch s) at which the log's own clock shows that (ms)."""
    return place.from_s + (clock - local_ms(place.from_s, zone)) / 1000


def stretch_of(place: LogPlace, from_text: str | None, seconds_text: str | None) -> Stretch:
    """The stretch that an address asks for, held inside the log; the whole log where it asks for none."""
    whole = Stretch(place, place.from_s, place.to_s)
    begin, length = _number(from_text), _number(seconds_text)
    if begin is None or length is None or length <= 0 or begin > place.to_s or begin + length < place.from_s:
        return whole
    return whole.held(begin, length)


def _number(text: str | None) -> float | None:
    """A finite number, None for anything else."""
    try:
        found = float(text or "")
    except ValueError:
        return None
    return found if math.isfinite(found) else None


def _places(db: Database, engine_id: str, as_of: datetime, file: str | None, most: int) -> tuple[LogPlace, ...]:
    asked = {"engine_id": engine_id, "as_of": as_of, "file": file, "most": most}
    return tuple(
        LogPlace(**{**row, "channels": tuple(name for name in CHANNELS if name in row["channels"])})
        for row in rows(db, read_query("screens", "log_place"), asked)
    )
