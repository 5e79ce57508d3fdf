"""Samples of one engine -> events: runs, shifts, idle windows, stalls, pick-ups and signal faults.

Logs of one engine that follow each other within 10 s are one chain, so a run split over two files is one run. A chain
is a pure, picklable job for any `concurrent.futures.Executor`; the definitions stand in `sql/events/`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pyarrow as pa
import pyarrow.parquet as pq

from pipeline.catalogue import read_query
from pipeline.channels import CHANNELS
from pipeline.database import Database, scratch

EVENT_TABLES: Final = ("runs", "shifts", "idle_windows", "stalls", "pick_ups", "signals")
"""The tables that are kept, in the order in which they can be made."""

_STEPS: Final = (
    "edges",
    "run_spans",
    "first_gears",
    "steps",
    "marks",
    "timeline",
    "run_states",
    "shift_rows",
    "log_rate",
    "glitches",
    "position_doubts",
    "shift_levels",
    "idle_rows",
)
"""The tables on the way, each made from the ones before it."""

GEARS: Final[dict[str, int]] = {"reverse": -1, "neutral": 0, "forward": 1}

_CARRY_S: Final = 10.0
"""How long a value stands for the blanks after it: as long as a hole that a run survives."""

_APART_S: Final = 1e5
"""How far apart chains lie on the axis: farther than anything that one event looks around."""

_CARRIED: Final = (
    "rpm",
    "rpm_target",
    "shift_target",
    "fuel_closed_loop",
    "oil_temp",
    "coolant_temp",
    "lambda_target",
    "battery",
)
"""Channels that judge the state of every sample: their last value stands for the blanks after it."""

_PLAIN: Final = (
    "shift_position",
    "idle_integral",
    "idle_feedforward",
    "lambda",
    "fuel_trim",
    "oil_pressure",
    "engine_hours",
)
"""Channels that are measured: only their own samples count."""


@dataclass(frozen=True)
class ChainLog:
    """One log of a chain: its id and the Parquet file that holds the engine's samples."""

    log_id: str
    samples: Path


@dataclass(frozen=True)
class GearLevel:
    """One level of the shift target (% of travel) and the gear it stands for."""

    target_pct: float
    gear: str


@dataclass(frozen=True)
class Chain:
    """Logs of one engine in time order with no gap above 10 s; `gear_levels` may be empty where gears are unknown."""

    engine_id: str
    logs: tuple[ChainLog, ...]
    gear_levels: tuple[GearLevel, ...] = ()


def extract(chains: Sequence[Chain]) -> dict[str, pa.Table]:
    """All event tables of some chains, each row with engine_id, run_id, started_at and log_id.

    The chains are laid one after another on one time axis, far apart, so that one pass of the event queries serves
    them all: planning the queries costs as much as twenty minutes of log. Times come back as timestamps in UTC. Raises
    DatabaseError or OSError where a sample file is missing or broken.
    """
    db = scratch()
    _load_codes(db)
    db.execute(f"create or replace temp table samples as {_select_samples('nothing', _NOTHING, (), 0.0)}")
    _values(db, "pieces", "engine_id varchar, log_id varchar, from_s double, shift_s double", _load(db, chains))
    for name in _STEPS:
        db.execute(f"create or replace temp table {name} as {read_query('events', name)}")
    return {name: _with_log(db, read_query("events", name)) for name in EVENT_TABLES}


def empty_tables() -> dict[str, pa.Table]:
    """Every event table with its columns and no row: the shape of the store before the first log."""
    return extract([])


def batches(chains: Sequence[Chain], *, rows_at_most: int, rows_of: Callable[[Chain], int]) -> list[tuple[Chain, ...]]:
    """Chains in groups of at most `rows_at_most` samples (a longer chain stands alone), in their order."""
    groups: list[list[Chain]] = []
    held = rows_at_most + 1
    for chain in chains:
        count = rows_of(chain)
        if held + count > rows_at_most:
            groups.append([])
            held = 0
        groups[-1].append(chain)
        held += count
    return [tuple(group) for group in groups]


def _load(db: Database, chains: Sequence[Chain]) -> list[tuple[str, str, float, float]]:
    """Fill `samples` chain by chain; the pieces of the axis: engine, log, its beginning there, what to add for the time."""
    pieces: list[tuple[str, str, float, float]] = []
    free_s = _APART_S
    for chain in chains:
        known = [_contents(log.samples) for log in chain.logs]
        # whole seconds can be taken off and added again without rounding, so an event never depends on its neighbours
        shift_s = float(math.floor(known[0].first_s - free_s))
        paths = _path_list([str(log.samples) for log in chain.logs])
        together = _together(known)
        db.execute(
            f"insert into samples {_select_samples(f'read_parquet({paths})', together, chain.gear_levels, shift_s)}"
        )
        pieces += [
            (chain.engine_id, log.log_id, content.first_s - shift_s, shift_s)
            for log, content in zip(chain.logs, known, strict=True)
        ]
        free_s = known[-1].last_s - shift_s + _APART_S
    return pieces


@dataclass(frozen=True)
class _Contents:
    """What a sample file holds: values by channel, rows, first and last time (s)."""

    seen: Mapping[str, int]
    total: int
    first_s: float
    last_s: float


_NOTHING: Final = _Contents(dict.fromkeys(CHANNELS, 0), 0, 0.0, 0.0)


def _contents(path: Path) -> _Contents:
    """Counts from the Parquet footer; no sample is read."""
    footer = pq.read_metadata(path)
    groups = [footer.row_group(number) for number in range(footer.num_row_groups)]
    columns = {name: position for position, name in enumerate(footer.schema.names)}
    seen = {
        name: sum(group.num_rows - group.column(columns[name]).statistics.null_count for group in groups)
        for name in CHANNELS
    }
    times = [group.column(columns["time_s"]).statistics for group in groups]
    return _Contents(seen, footer.num_rows, min(time.min for time in times), max(time.max for time in times))


def _together(parts: Sequence[_Contents]) -> _Contents:
    seen = {name: sum(part.seen[name] for part in parts) for name in CHANNELS}
    return _Contents(seen, sum(part.total for part in parts), parts[0].first_s, parts[-1].last_s)


def _load_codes(db: Database) -> None:
    """The small code tables that the event queries join."""
    _values(db, "gear_words", "word varchar, code float", GEARS.items())
    ranges = [(name, channel.low, channel.high) for name, channel in CHANNELS.items()]
    _values(db, "channel_ranges", "channel varchar, low float, high float", ranges)
    nothing = ", ".join(f'null::{_type(name)} as "{name}"' for name in CHANNELS)
    db.execute(f"create or replace temp view nothing as select 0.0::double as time_s, {nothing} where false")


def _values(db: Database, name: str, columns: str, lines: Iterable[tuple[object, ...]]) -> None:
    db.execute(f"create or replace temp table {name} ({columns})")
    held = [tuple(line) for line in lines]
    if held:
        marks = ", ".join("(" + ", ".join("?" * len(line)) + ")" for line in held)
        db.execute(f"insert into {name} values {marks}", [value for line in held for value in line])


def _select_samples(source: str, held: _Contents, levels: Sequence[GearLevel], shift_s: float) -> str:
    """SQL for what the event queries need; slow control channels stand for the blanks after them.

    `shift_s` is taken off the time, which moves the chain to its place on the axis.
    """
    carried = {name: _carried(name, held) for name in _CARRIED}
    is_at_rest = f"coalesce({_carried('idle_active', held)} = 1, {_carried('pedal', held)} <= 1)"
    columns = [
        f"time_s - {shift_s!r}::double as time_s",
        *(f'{text} as "{name}"' for name, text in carried.items()),
        *(f'"{name}"' for name in _PLAIN),
        f"{_gear(held, carried['shift_target'], levels)} as gear",
        f"{is_at_rest} as is_at_rest",
    ]
    return f"select {', '.join(columns)} from {source}"


def _type(name: str) -> str:
    return "double" if name == "engine_hours" else "float"


def _carried(name: str, held: _Contents) -> str:
    """SQL for a channel whose last value stands for up to 10 s of blanks; the bare column where nothing is blank."""
    if held.seen[name] in {0, held.total}:
        return f'"{name}"'
    window = "over (rows between unbounded preceding and current row)"
    since = f'last_value(case when "{name}" is not null then time_s end ignore nulls) {window}'
    return f'case when time_s - {since} <= {_CARRY_S} then last_value("{name}" ignore nulls) {window} end'


def _gear(held: _Contents, target: str, levels: Sequence[GearLevel]) -> str:
    """SQL for the gear code: the logged gear, else the gear whose target level is nearest."""
    if held.seen["gear"]:
        return _carried("gear", held)
    if not levels:
        return "null::float"
    ordered = sorted(levels, key=lambda level: level.target_pct)
    borders = [(low.target_pct + high.target_pct) / 2 for low, high in itertools.pairwise(ordered)]
    tests = [
        f"when {target} < {border!r} then {GEARS[level.gear]}" for level, border in zip(ordered, borders, strict=False)
    ]
    return f"case {' '.join(tests)} when {target} is not null then {GEARS[ordered[-1].gear]} end::float"


def _with_log(db: Database, query: str) -> pa.Table:
    """The rows of an event query with their engine, run and log, and the axis time turned back into real time."""
    return db.sql(f"""
        select
            pieces.engine_id,
            pieces.log_id,
            -- named after the log it began in too: logs without a clock can all seem to start at one moment
            pieces.engine_id || '@' || round((event_rows.run_s + pieces.shift_s) * 1000)::bigint
            || '~' || left(run_pieces.log_id, 6) as run_id,
            make_timestamptz(round((event_rows.start_s + pieces.shift_s) * 1e6)::bigint) as started_at,
            event_rows.* exclude (run_s, start_s)
        from ({query}) as event_rows
        asof join pieces on event_rows.start_s >= pieces.from_s
        asof join pieces as run_pieces on event_rows.run_s >= run_pieces.from_s
        order by started_at
    """).to_arrow_table()


def _path_list(paths: Sequence[str]) -> str:
    return "[" + ", ".join("'" + path.replace("'", "''") + "'" for path in paths) + "]"
