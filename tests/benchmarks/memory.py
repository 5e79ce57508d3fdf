"""Peak memory of an ingest of one large log, each in a process of its own.

    python tests/benchmarks/memory.py [--parquet-mb 2000] [--mdf4-mb 500] [--only small one mdf4] [--keep FOLDER]

A Parquet log in row groups of 122,880 rows, the same in one single row group, and an MDF4 log. The limits under
`[reading]` are raised as far as the file needs. Values are noise around what an engine does: nothing packs well.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).resolve().parent)]

import numpy as np  # noqa: E402 - the paths above come first
import pyarrow as pa  # noqa: E402
import pyarrow.parquet as pq  # noqa: E402

from pipeline.channels import CHANNELS  # noqa: E402
from pipeline.ingest import ingest  # noqa: E402
from pipeline.register import load_register  # noqa: E402

RATE_HZ: Final = 200
ROWS_AT_ONCE: Final = 122_880
ROW_BYTES: Final = 8 + 4 * len(CHANNELS)
FIRST_S: Final = 1_700_000_000.0
REGISTER: Final = """
[fleet]
name = "Benchmark"
timezone = "UTC"

[reading]
max_mb = 20_000
max_rows = 200_000_000

[[boat]]
id = "petrel"

[[boat.engine]]
id = "main"
"""


def main() -> None:
    """Make the logs, ingest each in a process of its own and print what it took."""
    asked = _arguments()
    if asked.ingest:
        _ingest(asked.ingest)
        return
    with tempfile.TemporaryDirectory() as folder:
        for kind in asked.only:
            megabytes = asked.mdf4_mb if kind == "mdf4" else asked.parquet_mb
            _measure(_fleet(asked.keep or Path(folder), kind, megabytes), kind)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--parquet-mb", type=int, default=2_000)
    parser.add_argument("--mdf4-mb", type=int, default=500)
    parser.add_argument("--only", nargs="+", choices=("small", "one", "mdf4"), default=["small", "one", "mdf4"])
    parser.add_argument("--keep", type=Path, help="make the logs here, or take those that are here")
    parser.add_argument("--ingest", type=Path, help=argparse.SUPPRESS)
    return parser.parse_args()


def _fleet(work: Path, kind: str, megabytes: int) -> Path:
    """A fleet folder with one log of about so many MB."""
    fleet = work / f"{kind}_{megabytes}"
    if (fleet / "fleet.toml").exists():
        return fleet
    folder = fleet / "inbox" / "petrel"
    folder.mkdir(parents=True)
    rows = megabytes * 1_000_000 // ROW_BYTES
    if kind == "mdf4":
        _write_mdf4(folder / "2026-06-14_0710.mf4", rows)
    else:
        _write_parquet(folder / "2026-06-14_0710.parquet", rows, in_one=kind == "one")
    (fleet / "fleet.toml").write_text(REGISTER, encoding="utf-8")
    return fleet


def _write_parquet(path: Path, rows: int, *, in_one: bool) -> None:
    schema = pa.schema([("time", pa.float64()), *((name, pa.float32()) for name in CHANNELS)])
    parts = (_table(first, min(ROWS_AT_ONCE, rows - first), schema) for first in range(0, rows, ROWS_AT_ONCE))
    with pq.ParquetWriter(path, schema, use_dictionary=False) as writer:
        if in_one:
            writer.write_table(pa.concat_tables(parts), row_group_size=rows)
            return
        for part in parts:
            writer.write_table(part)


def _table(first: int, rows: int, schema: pa.Schema) -> pa.Table:
    columns = _columns(first, rows)
    return pa.table([columns[name] for name in schema.names], schema=schema)


def _columns(first: int, rows: int) -> dict[str, np.ndarray[tuple[int], np.dtype[np.float64]]]:
    """Rows of a log from its row `first` on: an engine that is shifted every half minute; noise in every channel."""
    dice = np.random.default_rng(first)
    at = first + np.arange(rows)
    gear = (at // (30 * RATE_HZ) % 3 - 1).astype(float)
    middle = {
        "rpm": 650.0, "rpm_target": 650.0, "shift_target": 50 + 40 * gear, "shift_position": 50 + 40 * gear,
        "oil_temp": 80.0, "coolant_temp": 75.0, "air_temp": 20.0, "lambda": 1.0, "lambda_target": 1.0, "battery": 13.8,
        "oil_pressure": 300.0, "manifold_pressure": 40.0, "engine_hours": at / RATE_HZ / 3600 + 400,
    }  # fmt: skip
    columns = {name: middle.get(name, 0.0) + dice.normal(0, 0.05, rows) for name in CHANNELS}
    columns |= {"gear": gear, "shift_target": 50 + 40 * gear, "engine_hours": at / RATE_HZ / 3600 + 400}
    return columns | {"time": FIRST_S + at / RATE_HZ}


def _write_mdf4(path: Path, rows: int) -> None:
    from asammdf import MDF, Signal  # noqa: PLC0415 - an optional part of the program

    columns = _columns(0, rows)
    times = columns.pop("time") - FIRST_S
    with MDF(version="4.10") as log:
        log.append([Signal(each.astype(np.float32), times, name=name) for name, each in columns.items()])
        log.save(path, overwrite=True)


def _measure(fleet: Path, kind: str) -> None:
    shutil.rmtree(fleet / "store", ignore_errors=True)
    (log,) = (fleet / "inbox" / "petrel").iterdir()
    command = [sys.executable, __file__, "--ingest", str(fleet)]
    said = subprocess.run(command, check=True, capture_output=True, text=True)  # noqa: S603 - ourselves
    print(f"{kind:<6} {log.stat().st_size / 1e6:8,.0f} MB  {said.stdout.strip()}", flush=True)


def _ingest(fleet: Path) -> None:
    """One ingest in this process; prints its answer, seconds and peak memory."""
    started = time.perf_counter()
    result = ingest(load_register(fleet))
    status = Path("/proc/self/status").read_text(encoding="ascii")  # getrusage would also count the parent's peak
    peak = int(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))) / 1024
    told = "taken" if result.taken else result.refused[0].reason
    print(f"peak {peak:6,.0f} MB  {time.perf_counter() - started:6.0f} s  {told}")


if __name__ == "__main__":
    main()
