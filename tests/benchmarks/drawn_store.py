"""A big fleet's store that was never measured: drawn by SQL, published like any other, to time the screens on."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pyarrow as pa
from season import CENTRE, EDITION, FACETS, completed

from pipeline.catalogue import indicators
from pipeline.channels import CHANNELS
from pipeline.database import Database, open_writable
from pipeline.register import Register, load_register
from pipeline.store import Store

SQL = Path(__file__).with_suffix(".sql")
LONG_LOG = "inbox/b000/long.csv"
LONG_ROWS = 10_000_000
SHORT_ROWS = 24_000

_DRAWN = {
    "rpm": "640 + 20 * sin(row / 90.0)",
    "rpm_target": "640",
    "gear": "(row / 4000)::integer % 3 - 1",
    "shift_target": "[12, 50, 88][(row / 4000)::integer % 3 + 1]",
    "shift_position": "[12, 50, 88][(row / 4000)::integer % 3 + 1] + sin(row / 7.0) / 4",
    "idle_integral": "-1 + sin(row / 1900.0)",
    "oil_temp": "12 + 60 * (1 - exp(-row / 9000.0))",
    "fuel_trim": "2 * sin(row / 700.0)",
    "battery": "13.7 + 0.1 * sin(row / 50.0)",
}


def build(folder: Path, boats: int, engines: int, days: int) -> Register:
    """The fleet in this folder, its last log of today; drawn if it is not there yet."""
    if not (folder / "store" / "CURRENT").exists():
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "fleet.toml").write_text(_fleet_file(boats, engines), encoding="utf-8")
        (folder / "schedule.csv").write_text(_schedule(boats), encoding="utf-8")
        _publish(Store(folder), boats, engines, days)
    return load_register(folder, frozenset(indicators()))


def first_morning(days: int) -> datetime:
    """Midnight of the first of the days that end today."""
    today = datetime.now(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    return today - timedelta(days=days - 1)


def _fleet_file(boats: int, engines: int) -> str:
    lines = ['[fleet]\nname = "Drawn (simulated)"\ntimezone = "UTC"\nsimulated = true\n']
    for boat in range(boats):
        lines.append(f'[[boat]]\nid = "b{boat:03}"\nname = "Boat {boat:03}"\n')
        lines += [f'[[boat.engine]]\nid = "e{engine}"\n' for engine in range(engines)]
    return "\n".join(lines)


def _schedule(boats: int) -> str:
    leaving = datetime.now(UTC).replace(minute=0, second=0, microsecond=0) + timedelta(hours=1)
    rows = [f"b{boat:03},{(leaving + timedelta(minutes=boat)).isoformat()},charter" for boat in range(0, boats, 3)]
    return "\n".join(["boat,departs,note", *rows, ""])


def _publish(store: Store, boats: int, engines: int, days: int) -> None:
    (store.folder / "samples").mkdir(parents=True)
    db = open_writable(store.working_path)
    first = first_morning(days)
    for name, value in (("boats", boats), ("engines", engines), ("days", days)):
        db.execute(f"set variable {name} = {value}")
    db.execute(f"set variable first_morning = timestamptz '{first.isoformat()}'")
    db.register("drawn", _facets())
    db.execute("create table facets as from drawn")
    db.execute(SQL.read_text(encoding="utf-8"))
    _samples(db, store.folder / "samples" / "short.parquet", SHORT_ROWS, first, 20)
    _samples(db, store.folder / "samples" / "long.parquet", LONG_ROWS, first + timedelta(hours=6), 50)
    completed(db)
    db.close()
    store.publish(EDITION)


def _facets() -> pa.Table:
    found = [
        (
            name,
            facet,
            CENTRE.get(name, 0.0),
            0.0
            if indicators()[name].kind == "share" or name == "stall"
            else max(indicators()[name].resolution, 0.05) * 4,
        )
        for name, facets in FACETS.items()
        for facet in facets
    ]
    return pa.table(dict(zip(("indicator", "facet", "centre", "spread"), zip(*found, strict=True), strict=True)))


def _samples(db: Database, path: Path, rows: int, began: datetime, hertz: int) -> None:
    kinds = {name: "double" if name == "engine_hours" else "float" for name in CHANNELS}
    columns = [f"({_DRAWN.get(name, 'null')})::{kind} as {name}" for name, kind in kinds.items()]
    db.execute(
        f"copy (select {began.timestamp()} + row / {hertz}.0 as time_s, {', '.join(columns)}"
        f" from range({rows}) as drawn (row)) to '{path}' (format parquet, compression zstd)"
    )
