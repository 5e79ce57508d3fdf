"""A database with the few tables that the queries of the engine's screen read, empty and of this test alone."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.database import Database, open_writable

sys.path.append(str(Path(__file__).parents[1] / "season"))

TABLES = """
create schema events;
create schema marts;
create table marts.logs (log_id varchar, file varchar, ended_at timestamptz);
create table marts.engine_logs (engine_id varchar, log_id varchar, samples varchar);
create table events.runs (engine_id varchar, run_id varchar, log_id varchar);
create table events.shifts (
    engine_id varchar, run_id varchar, log_id varchar, started_at timestamptz, held_s double, from_gear varchar,
    to_gear varchar, from_target_pct double, target_pct double, start_pct double, settled_pct double,
    reach_error_pct double, transit_s double, hesitation_s double, battery_v double, temp_c double
);
create table events.idle_windows (
    engine_id varchar, run_id varchar, log_id varchar, started_at timestamptz, thermal varchar, fuel_trim_pct double
);
create table marts.readings (
    engine_id varchar, run_id varchar, indicator varchar, facet varchar, started_at timestamptz, value double,
    n bigint, setting double
);
"""


@pytest.fixture
def db(tmp_path: Path) -> Iterator[Database]:
    """Tables as a snapshot has them, without rows."""
    found = open_writable(tmp_path / "made.duckdb")
    for statement in TABLES.split(";"):
        if statement.strip():
            found.execute(statement)
    yield found
    found.close()
