"""Cases given as TOML beside each indicator, all loaded into one database: every case is an engine of its own."""

from __future__ import annotations

import tomllib
from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from pipeline import extract, readings
from pipeline.database import Database, open_writable, rows

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

CASES = Path(__file__).parent / "cases"
FIRST_RUN_AT = datetime(2026, 6, 1, 7, tzinfo=UTC)

Row = dict[str, Any]


@dataclass(frozen=True)
class Case:
    """Rows of event tables given, readings of one indicator expected; `engines` are its engines in the database."""

    indicator: str
    name: str
    given: dict[str, list[Row]]
    expected: list[Row]

    def key(self, engine: str) -> str:
        """The name in the database of one of the case's engines or runs."""
        return f"{self.indicator}/{self.name}/{engine}"

    def tables(self) -> dict[str, list[Row]]:
        """The given rows, complete: runs follow day by day, and what happened takes engine and time from its run."""
        runs = {
            run["run_id"]: {"engine_id": "port", "started_at": FIRST_RUN_AT + timedelta(days=number), **run}
            for number, run in enumerate(self.given["runs"])
        }
        events = {
            table: [{**_of_run(runs[row["run_id"]]), **row} for row in listed]
            for table, listed in self.given.items()
            if table != "runs"
        }
        return {
            table: [
                {**row, "engine_id": self.key(row["engine_id"]), "run_id": self.key(row["run_id"])} for row in listed
            ]
            for table, listed in {"runs": list(runs.values()), **events}.items()
        }


def _of_run(run: Row) -> Row:
    return {"engine_id": run["engine_id"], "started_at": run["started_at"]}


def all_cases() -> list[Case]:
    """Every case of every file."""
    return [
        Case(path.stem, case["name"], case["given"], case.get("expected", []))
        for path in sorted(CASES.glob("*.toml"))
        for case in tomllib.loads(path.read_text(encoding="utf-8"))["case"]
    ]


@cache
def _columns() -> dict[str, set[str]]:
    return {name: set(table.schema.names) for name, table in extract.empty_tables().items()}


def add_rows(db: Database, table: str, listed: Sequence[Row]) -> None:
    """Insert rows by column name; an unknown name raises KeyError, a missing one is null."""
    for row in listed:
        if unknown := row.keys() - _columns()[table]:
            raise KeyError(f"events.{table} has no column {sorted(unknown)}")
        names = ", ".join(f'"{name}"' for name in row)
        db.execute(f"insert into events.{table} ({names}) values ({', '.join('?' * len(row))})", list(row.values()))


def make_events(db: Database) -> None:
    """The empty event tables, as the extraction makes them."""
    db.execute("create schema events")
    for name, table in extract.empty_tables().items():
        db.register("empty_table", table)
        db.execute(f"create table events.{name} as from empty_table")
        db.unregister("empty_table")


@pytest.fixture(scope="session", name="add_rows")
def _add_rows() -> Callable[[Database, str, Sequence[Row]], None]:
    """The function that inserts event rows."""
    return add_rows


@pytest.fixture(scope="session", name="make_events")
def _make_events() -> Callable[[Database], None]:
    """The function that makes the empty event tables."""
    return make_events


@pytest.fixture(scope="session")
def case_readings(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, str], list[Row]]:
    """The readings of all cases, by engine and indicator."""
    connection = open_writable(tmp_path_factory.mktemp("cases") / "working.duckdb")
    make_events(connection)
    connection.execute("begin transaction")
    for case in all_cases():
        for table, listed in case.tables().items():
            add_rows(connection, table, listed)
    connection.execute("commit")
    readings.rebuild(connection)
    found: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for row in rows(connection, "select * from marts.readings"):
        found[row["engine_id"], row["indicator"]].append(row)
    connection.close()
    return found


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Give `case` every case."""
    if "case" in metafunc.fixturenames:
        cases = all_cases()
        metafunc.parametrize("case", cases, ids=[f"{case.indicator}: {case.name}" for case in cases])
