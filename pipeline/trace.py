"""A stretch of a log as lines that a screen can draw quickly: thinned in SQL, straight from the sample file."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import pandas as pd

from pipeline.catalogue import read_query
from pipeline.database import Database, rows
from pipeline.screen_data import with_local_time

BUCKETS: Final = 700
"""Two points a bucket: at most 1,400 a line, a little more than a wide screen has pixels."""

MOST_LOGS: Final = 400


@dataclass(frozen=True)
class LogPlace:
    """The samples of one engine in one log: the file they came from, where they are in the store, epoch seconds."""

    log_id: str
    file: str
    samples: str
    from_s: float
    to_s: float


def logs_of(db: Database, engine_id: str, as_of: datetime) -> tuple[LogPlace, ...]:
    """The logs of an engine up to a moment, the newest first."""
    return _places(db, engine_id, as_of, None, MOST_LOGS)


def log_named(db: Database, engine_id: str, as_of: datetime, file: str) -> LogPlace | None:
    """One log of an engine by its file; None where the engine has none of that name up to the moment."""
    return next(iter(_places(db, engine_id, as_of, file, 1)), None)


def trace(
    db: Database, samples: Path, from_s: float, to_s: float, zone: ZoneInfo, buckets: int = BUCKETS
) -> pd.DataFrame:
    """The channels of a sample file between two moments (epoch s, inclusive): `channel`, `at_s`, `value`, local times.

    Each line keeps the lowest and the highest sample of every bucket. A channel without a sample there has no rows.
    """
    asked = {"samples": str(samples), "from_s": from_s, "to_s": to_s, "buckets": buckets}
    return with_local_time(db.execute(read_query("screens", "trace"), asked).df(), zone)


def stretch(place: LogPlace, from_text: str | None, seconds_text: str | None) -> tuple[float, float]:
    """The stretch (epoch s) that an address asks for, held inside the log; the whole log where it asks for none."""
    begin, length = _number(from_text), _number(seconds_text)
    if begin is None or length is None or length <= 0:
        return place.from_s, place.to_s
    first = min(max(begin, place.from_s), place.to_s)
    last = min(first + length, place.to_s)
    return (first, last) if last > first else (place.from_s, place.to_s)


def _number(text: str | None) -> float | None:
    """A finite number, None for anything else."""
    try:
        found = float(text or "")
    except ValueError:
        return None
    return found if math.isfinite(found) else None


def _places(db: Database, engine_id: str, as_of: datetime, file: str | None, most: int) -> tuple[LogPlace, ...]:
    asked = {"engine_id": engine_id, "as_of": as_of, "file": file, "most": most}
    return tuple(LogPlace(**row) for row in rows(db, read_query("screens", "log_place"), asked))
