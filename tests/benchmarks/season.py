"""How long a morning's judgement takes on a big fleet, as a ratio to merely reading the same readings.

Run: python tests/benchmarks/season.py [--boats 200] [--engines 3] [--days 200] [--rounds 3]
The readings are drawn (seeded) and written straight into a snapshot; no samples are made. Prints ratios of one run.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa

from pipeline.catalogue import indicators
from pipeline.database import Database, open_writable, rows
from pipeline.extract import empty_tables
from pipeline.history import load_history
from pipeline.morning import assess
from pipeline.register import Register, load_register
from pipeline.store import STORE_VERSION, Store

START = datetime(2026, 1, 1, 6, tzinfo=UTC)
DAY_S = 86400.0
EDITION = "drawn"

GEARS = ("reverse", "neutral", "forward")
FACETS: dict[str, tuple[str, ...]] = {
    "shift_reach_error": GEARS,
    "shift_transit_time": GEARS,
    "shift_scatter": GEARS,
    "shift_hesitation": GEARS,
    "idle_integral": GEARS,
    "idle_integral_slope": GEARS,
    "idle_speed_error": GEARS,
    "idle_spread": GEARS,
    "engagement_dip": ("forward", "reverse"),
    "release_flare": ("forward", "reverse"),
    "idle_fuel_trim": ("cold", "hot"),
    "battery_idle": ("",),
    "coolant_hot": ("",),
    "oil_pressure_hot": ("",),
    "off_idle_lean": ("",),
    "stall": GEARS,
}
CENTRE = {"shift_transit_time": 0.4, "battery_idle": 13.8, "coolant_hot": 72.0, "oil_pressure_hot": 300.0}


def main() -> None:
    """Print the ratio of judging to reading, the best of some rounds each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boats", type=int, default=200)
    parser.add_argument("--engines", type=int, default=3)
    parser.add_argument("--days", type=int, default=200)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        register = _fleet(Path(folder), asked.boats, asked.engines)
        readings = _snapshot(register, asked.days)
        as_of = START + timedelta(days=asked.days)
        store = Store(register.folder)
        read = _best(asked.rounds, lambda: load_history(store.reader(), as_of))
        judged = _best(asked.rounds, lambda: assess(store.reader(), register, as_of))
    print(f"{asked.boats} boats x {asked.engines} engines x {asked.days} days: {readings:,} readings")
    print(f"reading the readings {read:.2f} s, the whole judgement {judged:.2f} s: {judged / read:.1f} x")


def _best(rounds: int, work: Callable[[], object]) -> float:
    took = []
    for _ in range(rounds):
        started = time.perf_counter()
        work()
        took.append(time.perf_counter() - started)
    return min(took)


def _fleet(folder: Path, boats: int, engines: int) -> Register:
    lines = ['[fleet]\nname = "Drawn (simulated)"\ntimezone = "UTC"\nsimulated = true\n']
    for boat in range(boats):
        lines.append(f'[[boat]]\nid = "b{boat:03}"\nname = "B{boat:03}"\n')
        lines += [f'[[boat.engine]]\nid = "e{engine}"\n' for engine in range(engines)]
    (folder / "fleet.toml").write_text("\n".join(lines))
    return load_register(folder)


def _snapshot(register: Register, days: int) -> int:
    """Write and publish a snapshot with one run a day and engine; how many readings it holds."""
    store = Store(register.folder)
    store.folder.mkdir(parents=True)
    engine_ids = [engine.engine_id for engine in register.engines()]
    runs, logs, engine_logs = _runs(engine_ids, days)
    readings = _readings(engine_ids, days)
    db = open_writable(store.working_path)
    db.execute("create schema events; create schema marts")
    for name, table in (
        ("events.runs", runs),
        ("marts.logs", logs),
        ("marts.engine_logs", engine_logs),
        ("marts.readings", readings),
    ):
        db.register("drawn", table)
        db.execute(f"create table {name} as from drawn")
        db.unregister("drawn")
    completed(db)
    db.close()
    store.publish(EDITION)
    return int(readings.num_rows)


def completed(db: Database) -> None:
    """Add what else a snapshot holds: empty tables, columns of which nothing was drawn, and what it says of itself."""
    for name, shape in empty_tables().items():
        db.register("shape", shape)
        db.execute(f"create table if not exists events.{name} as from shape")
        drawn = {row["column_name"] for row in rows(db, f"describe events.{name}")}
        for row in rows(db, "describe shape"):
            if row["column_name"] not in drawn:
                db.execute(f"alter table events.{name} add column {row['column_name']} {row['column_type']}")
        db.unregister("shape")
    db.execute("create schema if not exists build; create table build.facts (name varchar, fact varchar)")
    db.executemany("insert into build.facts values (?, ?)", [("edition", EDITION), ("version", str(STORE_VERSION))])


def _moments(days: int) -> list[datetime]:
    return [START + timedelta(days=day) for day in range(days)]


def _runs(engine_ids: list[str], days: int) -> tuple[pa.Table, pa.Table, pa.Table]:
    moments = _moments(days)
    count = len(engine_ids)
    engine = np.repeat(engine_ids, days)
    started = pa.array(moments * count, pa.timestamp("us", "UTC"))
    ended = pa.array([moment + timedelta(minutes=20) for moment in moments] * count, pa.timestamp("us", "UTC"))
    run_id = np.asarray([f"{each}@{day}" for each in engine_ids for day in range(days)])
    hours = pa.array(np.tile(np.arange(days) * 1.5 + 400, count))
    runs = pa.table(
        {
            "engine_id": engine,
            "run_id": run_id,
            "log_id": run_id,
            "started_at": started,
            "seconds": pa.array(np.full(days * count, 1200.0)),
            "is_cold_start": pa.array(np.ones(days * count, dtype=bool)),
            "max_temp_c": pa.array(np.full(days * count, 75.0)),
            "first_hours": hours,
            "last_hours": hours,
        }
    )
    logs = pa.table({"log_id": run_id, "file": run_id, "ended_at": ended})
    channels = pa.array([["rpm"]] * (days * count))
    engine_logs = pa.table({"engine_id": engine, "log_id": run_id, "ended_at": ended, "channels": channels})
    return runs, logs, engine_logs


def _readings(engine_ids: list[str], days: int) -> pa.Table:
    draw = np.random.default_rng(1)
    parts = []
    moments = pa.array(_moments(days), pa.timestamp("us", "UTC"))
    for engine_id in engine_ids:
        run_id = [f"{engine_id}@{day}" for day in range(days)]
        for name, facets in FACETS.items():
            spread = max(indicators()[name].resolution, 0.05) * 1.5
            parts += [_series(engine_id, name, facet, run_id, moments, draw, spread) for facet in facets]
    return pa.concat_tables(parts).combine_chunks()


def _series(
    engine_id: str,
    name: str,
    facet: str,
    run_id: list[str],
    moments: pa.Array,
    draw: np.random.Generator,
    spread: float,
) -> pa.Table:
    days = len(run_id)
    value = CENTRE.get(name, 0.0) + draw.normal(0, spread, days) * (name != "stall")
    if draw.random() < 0.02:
        value = value + np.linspace(0, 30 * spread, days)
    if indicators()[name].kind == "share":
        value = np.clip(value, 0.0, 1.0)
    return pa.table(
        {
            "engine_id": pa.array([engine_id] * days).dictionary_encode(),
            "run_id": run_id,
            "indicator": pa.array([name] * days).dictionary_encode(),
            "facet": pa.array([facet] * days).dictionary_encode(),
            "started_at": moments,
            "value": value,
            "n": np.full(days, 5),
            "temp_c": draw.normal(65, 8, days),
            "battery_v": draw.normal(13.7, 0.1, days),
            "setting": np.full(days, np.nan),
            "remark": pa.nulls(days, pa.string()),
        }
    ).cast(_SCHEMA)


_SCHEMA = pa.schema(
    [
        ("engine_id", pa.string()),
        ("run_id", pa.string()),
        ("indicator", pa.string()),
        ("facet", pa.string()),
        ("started_at", pa.timestamp("us", "UTC")),
        ("value", pa.float64()),
        ("n", pa.int64()),
        ("temp_c", pa.float64()),
        ("battery_v", pa.float64()),
        ("setting", pa.float64()),
        ("remark", pa.string()),
    ]
)


if __name__ == "__main__":
    main()
