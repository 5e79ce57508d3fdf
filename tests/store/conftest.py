"""A small fleet folder to take in, and event queries simple enough that every row of the store can be foretold."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from pipeline import extract, readings
from pipeline.database import Database, rows
from pipeline.ingest import IngestResult, ingest
from pipeline.ledger import Ledger
from pipeline.register import load_register
from pipeline.store import Store

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from pipeline.extract import Chain

START_S: Final = 1_700_000_000.0
"""2023-11-14T22:13:20Z, the start of every log that names no other."""

REGISTER: Final = """\
[fleet]
name = "Test"
timezone = "UTC"

[channel_map.plain]
time = { column = "time" }
rpm = { column = "speed" }
oil_temp = { column = "oil" }

[[boat]]
id = "petrel"
channel_map = "plain"
[[boat.engine]]
id = "port"
[[boat.engine]]
id = "starboard"

[[boat]]
id = "heron"
[[boat.engine]]
id = "main"
shift_targets = { reverse = 12, neutral = 50, forward = 90 }
"""


@dataclass
class Fleet:
    """A fleet folder under test. Files are named relative to its inbox."""

    folder: Path
    told: list[tuple[int, int]] = field(default_factory=list)

    @property
    def store(self) -> Store:
        return Store(self.folder)

    def path(self, name: str) -> Path:
        return self.folder / "inbox" / name

    def register(self, text: str) -> None:
        (self.folder / "fleet.toml").write_text(text, encoding="utf-8")

    def write(self, name: str, text: str) -> Path:
        path = self.path(name)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        return path

    def log(self, name: str, *, start_s: float = START_S, seconds: int = 5, rpm: int = 600) -> Path:
        """A log of one row a second, `seconds` + 1 rows."""
        lines = [f"{start_s + second:.3f},{rpm},60" for second in range(seconds + 1)]
        return self.write(name, "\n".join(["time,rpm,oil_temp" if "heron" in name else "time,speed,oil", *lines, ""]))

    def copy(self, name: str, other: str) -> None:
        self.path(other).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(self.path(name), self.path(other))

    def move(self, name: str, other: str) -> None:
        self.path(other).parent.mkdir(parents=True, exist_ok=True)
        self.path(name).replace(self.path(other))

    def ingest(self, **options: Any) -> IngestResult:
        options.setdefault("progress", lambda done, total: self.told.append((done, total)))
        return ingest(load_register(self.folder), **options)

    def counts(self, **options: Any) -> tuple[int, int, int, int]:
        """One ingest: taken, replaced, known, refused."""
        result = self.ingest(**options)
        return result.taken, result.replaced, result.known, len(result.refused)

    def rows(self, sql: str) -> list[dict[str, Any]]:
        return rows(self.store.reader(), sql)

    def spans(self) -> list[tuple[str, str, int]]:
        """Engine, file and rows of every log measured, as the newest snapshot has them."""
        found = self.rows("""
            select runs.engine_id, logs.file, runs.samples
            from events.runs
            inner join marts.logs on runs.log_id = logs.log_id
            order by all
        """)
        return [(row["engine_id"], row["file"].removeprefix("inbox/"), row["samples"]) for row in found]

    def listed(self) -> list[tuple[str, str]]:
        """File and status of every row of the list of logs."""
        found = self.rows("select file, status from marts.logs order by file")
        return [(row["file"].removeprefix("inbox/"), row["status"]) for row in found]

    def ledger(self) -> Ledger:
        return Ledger(self.store.ledger_path)

    def samples(self) -> list[str]:
        """Sample files on the disk, relative to the store folder."""
        return sorted(str(path.relative_to(self.store.folder)) for path in self.store.folder.rglob("*.parquet*"))


_SIMPLE: Final = pa.schema(
    [
        ("engine_id", pa.string()),
        ("log_id", pa.string()),
        ("chain", pa.string()),
        ("started_at", pa.timestamp("us", "UTC")),
        ("samples", pa.int64()),
    ]
)


def simple_events(chains: Sequence[Chain]) -> dict[str, pa.Table]:
    """One row a log in every event table: how many samples it has and which logs its chain has."""
    found = []
    for chain in chains:
        names = "+".join(log.log_id for log in chain.logs)
        for log in chain.logs:
            times = pq.read_table(log.samples)["time_s"].to_pylist()
            at = datetime.fromtimestamp(times[0], UTC)
            found.append((chain.engine_id, log.log_id, names, at, len(times)))
    table = pa.Table.from_pylist([dict(zip(_SIMPLE.names, row, strict=True)) for row in found], _SIMPLE)
    return dict.fromkeys(extract.EVENT_TABLES, table)


def simple_readings(db: Database, touched: dict[str, datetime]) -> int:
    """One row an engine: how many logs it has."""
    db.execute("""
        create or replace table marts.readings as
        select engine_id, count(*) as logs from events.runs group by engine_id
    """)
    return len(touched)


@pytest.fixture
def true_fleet(tmp_path: Path) -> Fleet:
    """A fleet folder with a register and an empty inbox, measured with the real event queries."""
    made = Fleet(tmp_path / "fleet")
    made.path("").mkdir(parents=True)
    made.register(REGISTER)
    return made


@pytest.fixture
def fleet(true_fleet: Fleet, monkeypatch: pytest.MonkeyPatch) -> Fleet:
    """A fleet folder whose logs are measured by the simple events above: quick, and foretold row by row."""
    monkeypatch.setattr(extract, "extract", simple_events)
    monkeypatch.setattr(extract, "empty_tables", lambda: simple_events(()))
    monkeypatch.setattr(readings, "refresh", simple_readings)
    return true_fleet
