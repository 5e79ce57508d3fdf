"""Engine hours: the counter where it is logged, whatever the runs beside it lack; the newest one's for the engine."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from pipeline.catalogue import read_query
from pipeline.database import open_writable, rows

if TYPE_CHECKING:
    from pathlib import Path

FIRST = datetime(2026, 8, 1, 8, tzinfo=UTC)
OTHERS = (
    "is_cold_start",
    "max_temp_c",
    "oil_first_c",
    "coolant_first_c",
    "air_first_c",
    "oil_high_c",
    "coolant_high_c",
    "air_high_c",
    "oil_pressure_kpa",
    "oil_pressure_high_kpa",
    "trim_swept_pct",
    "integral_swept_pct",
)


def hours(folder: Path, counters: list[tuple[float, float] | None]) -> tuple[list[tuple[float, float]], float]:
    """Hours at start and end of runs of half an hour, one a day, and the engine's; a counter is first and last."""
    with open_writable(folder / "hours.duckdb") as db:
        nothing = ", ".join(f"null::double as {name}" for name in OTHERS)
        db.execute("create schema events")
        db.execute("create schema marts")
        db.execute(f"""
            create table events.runs as
            select 'petrel/port' as engine_id, '' as run_id, '' as log_id, now() as started_at, 0.0::double as seconds,
                0.0::double as first_hours, 0.0::double as last_hours, {nothing} where false
        """)
        db.execute("create table marts.logs (log_id varchar, file varchar, ended_at timestamptz)")
        db.execute("create table marts.engine_logs (engine_id varchar, ended_at timestamptz, channels varchar[])")
        for number, counter in enumerate(counters):
            at = FIRST + timedelta(days=number)
            run = [f"run{number}", f"log{number}", at, *(counter or (None, None))]
            db.execute(
                f"insert into events.runs select 'petrel/port', ?, ?, ?, 1800.0, ?, ?, {nothing}",
                run,
            )
            db.execute("insert into marts.logs values (?, 'a.csv', ?)", [f"log{number}", at])
            db.execute("insert into marts.engine_logs values ('petrel/port', ?, ['rpm'])", [at])
        as_of = {"as_of": FIRST + timedelta(days=99)}
        db.execute(f"create temp table run_hours as {read_query('marts', 'run_hours')}", as_of)
        found = rows(db, "select hours, end_hours from run_hours order by run_no")
        (record,) = rows(db, read_query("marts", "engine_records"), as_of)
        return [(row["hours"], row["end_hours"]) for row in found], record["hours"]


def test_without_a_counter_running_hours_add_up(tmp_path: Path) -> None:
    assert hours(tmp_path, [None, None]) == ([(0.0, 0.5), (0.5, 1.0)], 1.0)


def test_a_run_without_the_counter_stands_between_those_that_have_it(tmp_path: Path) -> None:
    # half an hour each; what ran unlogged, two hours before the last run, shows when the counter is back
    runs, now = hours(tmp_path, [None, (600.0, 600.5), None, (603.0, 603.5), None])
    assert runs == [
        pytest.approx((599.5, 600.0)),
        (600.0, 600.5),
        pytest.approx((600.5, 601.0)),
        (603.0, 603.5),
        pytest.approx((603.5, 604.0)),
    ]
    assert now == pytest.approx(604.0)


def test_an_engine_in_the_place_of_another_has_its_own_hours(tmp_path: Path) -> None:
    assert hours(tmp_path, [(662.0, 662.5), (0.1, 0.6)])[1] == 0.6
