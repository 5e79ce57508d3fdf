"""Events -> readings: runs every query of `sql/indicators/` and stacks the answers in one long table.

Adding an indicator adds a file there; nothing here names one. Only what changed is computed again: the runs from the
first changed one on, with the runs just before them as context for indicators that look back.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Final

from pipeline.catalogue import indicators, read_query
from pipeline.database import Database

COLUMNS: Final[dict[str, str]] = {
    "engine_id": "varchar",
    "run_id": "varchar",
    "indicator": "varchar",
    "facet": "varchar",
    "started_at": "timestamptz",
    "value": "double",
    "n": "bigint",
    "temp_c": "double",
    "battery_v": "double",
    "setting": "double",
    "remark": "varchar",
}
"""The long table. `setting` is the calibration in force (shift target, table value); `facet` is '' where the indicator
has none; a covariate is null where not declared or logged."""

CONTEXT_RUNS: Final = 10
"""How many earlier runs an indicator may look back on."""

_EVENTS: Final = ("runs", "shifts", "idle_windows", "stalls", "pick_ups", "signals")


def refresh(db: Database, touched: Mapping[str, datetime]) -> int:
    """Compute again the readings of these engines from the given moments on; how many rows were written.

    `db` is the working database with schema `events`; the readings go to `marts.readings`, made if it is missing.
    """
    _make_table(db)
    if not touched:
        return 0
    _focus(db, touched)
    db.execute(
        """
        delete from marts.readings
        using focus.touched
        where readings.engine_id = touched.engine_id and readings.started_at >= touched.from_at
        """
    )
    written = sum(_add(db, name) for name in indicators())
    # DuckDB 2.0.1 cannot commit a transaction in which tables were made, filled and dropped by way of their schema
    db.execute("drop table focus.touched")
    db.execute("drop table focus.run_order")
    db.execute("drop schema focus cascade")
    return written


def rebuild(db: Database) -> int:
    """Compute every reading from the events; how many rows were written."""
    _make_table(db)
    db.execute("delete from marts.readings")
    engines = db.execute("select engine_id, min(started_at) from events.runs group by engine_id").fetchall()
    return refresh(db, dict(engines))


def _make_table(db: Database) -> None:
    columns = ", ".join(f"{name} {kind}" for name, kind in COLUMNS.items())
    db.execute("create schema if not exists marts")
    db.execute(f"create table if not exists marts.readings ({columns})")


def _focus(db: Database, touched: Mapping[str, datetime]) -> None:
    """The schema that indicator queries read: the changed runs and their context, and what happened in them."""
    db.execute("create schema if not exists focus")
    db.execute("create or replace table focus.touched (engine_id varchar, from_at timestamptz)")
    db.executemany("insert into focus.touched values (?, ?)", [list(item) for item in touched.items()])
    db.execute(f"create or replace table focus.run_order as {read_query('marts', 'run_order')}", [CONTEXT_RUNS])
    db.execute(f"create or replace view focus.look_back as {read_query('marts', 'look_back')}")
    for name in _EVENTS:
        db.execute(
            f"""
            create or replace view focus.{name} as
            select {name}.* from events.{name} where run_id in (select run_id from focus.run_order)
            """
        )


def _add(db: Database, name: str) -> int:
    """Add one indicator's readings of the changed runs; columns that it does not give stay null."""
    query = read_query("indicators", name)
    given = [column[0] for column in db.execute(f"select * from ({query}) limit 0").description or []]
    columns = ["run_order.started_at" if name_ == "started_at" else _given(name_, name, given) for name_ in COLUMNS]
    counted = db.execute(
        f"""
        insert into marts.readings
        select {", ".join(columns)}
        from ({query}) as found
        inner join focus.run_order on found.run_id = run_order.run_id
        where run_order.is_changed and found.value is not null and isfinite(found.value)
        """
    ).fetchone()
    return int(counted[0]) if counted else 0


def _given(column: str, indicator: str, given: list[str]) -> str:
    if column == "indicator":
        return f"'{indicator}'"
    return f"found.{column}" if column in given else f"null::{COLUMNS[column]}"
