"""How long a stretch of a very long log takes to draw: ten million samples, the whole and a thousandth of it.

The yardstick is a bare pass over the same columns in the same run: their sums, no buckets.
Run: python tests/benchmarks/long_log.py
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from zoneinfo import ZoneInfo

from pipeline import trace as traces
from pipeline.channels import CHANNELS
from pipeline.database import Database, open_writable
from pipeline.trace import LogPlace, Stretch

SAMPLES = 10_000_000
HERTZ = 200
STARTED_S = 1_780_000_000.0
FIRST_PANELS = ("shift_position", "shift_target", "rpm", "rpm_target")


def make(db: Database, path: Path) -> LogPlace:
    """A log of every channel, noise over slow waves: it packs badly, so that no real log is slower to read."""
    columns = ", ".join(
        f"(sin(i / {37.0 + 11 * place}) * {10 + place} + random())"
        f'::{"double" if name == "engine_hours" else "float"} as "{name}"'
        for place, name in enumerate(CHANNELS)
    )
    db.execute("select setseed(0.5)")
    db.execute(
        f"copy (select {STARTED_S} + i / {HERTZ}.0 as time_s, {columns} from range({SAMPLES}) made(i)) "
        f"to '{path}' (format parquet, compression zstd)"
    )
    ended_s = STARTED_S + (SAMPLES - 1) / HERTZ
    return LogPlace("long", path.name, path.name, STARTED_S, ended_s, SAMPLES, tuple(CHANNELS))


def timed(work: Callable[[], int]) -> tuple[float, float, int]:
    """Wall and processor seconds of the quicker of two runs, and what it gave."""
    found = []
    for _ in range(2):
        wall, processor = time.perf_counter(), time.process_time()
        most = work()
        found.append((time.perf_counter() - wall, time.process_time() - processor, most))
    return min(found)


def bare(db: Database, path: Path, channels: tuple[str, ...]) -> int:
    """The sum of each channel, in one pass; the lowest and highest would come from the file's index alone."""
    asked = ", ".join(f'sum("{name}")' for name in channels)
    db.execute(f"select {asked} from read_parquet('{path}')").fetchall()
    return 0


def drawn(db: Database, path: Path, stretch: Stretch, channels: tuple[str, ...]) -> int:
    """The thinned lines; the most points that any has."""
    found = traces.trace(db, path, stretch, channels, ZoneInfo("UTC"))
    return int(found.groupby("channel").size().max())


def main() -> None:
    """Make the log, measure, print a line each."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.parquet"
        db = open_writable(Path(folder) / "bench.duckdb")
        place = make(db, path)
        whole = Stretch(place, place.from_s, place.to_s)
        every = tuple(CHANNELS)
        print(f"{SAMPLES:,} samples of {len(every)} channels, {path.stat().st_size / 1e6:.0f} MB")
        for title, channels in (("first panels", FIRST_PANELS), ("every channel", every)):
            yardstick = timed(lambda channels=channels: bare(db, path, channels))
            print(f"{title:14} bare pass        {yardstick[0]:6.2f} s wall {yardstick[1]:6.2f} s processor")
            for part, stretch in (("whole log", whole), ("a thousandth", whole.scaled(0.001))):
                wall, processor, most = timed(
                    lambda stretch=stretch, channels=channels: drawn(db, path, stretch, channels)
                )
                ratio = f"{processor / yardstick[1]:5.1f} x bare" if part == "whole log" else ""
                print(f"{title:14} {part:16} {wall:6.2f} s wall {processor:6.2f} s processor {most:5} points {ratio}")
        db.close()


if __name__ == "__main__":
    main()
