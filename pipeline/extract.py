"""Samples of one engine -> events: runs, shifts, idle windows, stalls, pick-ups and signal faults.

Logs of one engine that follow each other within 10 s are one chain, so a run split over two files is one run. A chain
is a pure, picklable job for any `concurrent.futures.Executor`; the definitions stand in `sql/events/`.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

import pyarrow as pa
import pyarrow.parquet as pq

from pipeline.catalogue import read_header, read_query
from pipeline.channels import CHANNELS
from pipeline.database import Database, DatabaseError, scratch

EVENT_TABLES: Final = ("runs", "shifts", "idle_windows", "stalls", "pick_ups", "signals")
"""The tables that are kept, in the order in which they can be made."""

_STEPS: Final = (
    "stretches",
    "run_spans",
    "run_names",
    "steps",
    "segments",
    "timeline",
    "run_states",
    "run_parts",
    "channel_parts",
    "standstills",
    "glitches",
    "sensor_spikes",
    "shift_samples",
    "shift_sums",
    "shift_positions",
    "channel_states",
    "shift_levels",
    "standing_air",
    "signal_facts",
)
"""The tables on the way, each made from the ones before it."""

GEARS: Final[dict[str, int]] = {"reverse": -1, "neutral": 0, "forward": 1}

_CARRY_S: Final = 10.0
"""How long a value stands for the blanks after it: as long as a hole that a run survives."""

_IN_MEMORY_ROWS: Final = 2_000_000
"""Samples of one pass that are held in memory; a longer log goes where DuckDB can put some of it on the disk."""

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
    "throttle",
    "idle_integral",
    "idle_feedforward",
    "lambda",
    "fuel_trim",
    "air_temp",
    "oil_pressure",
    "manifold_pressure",
    "engine_hours",
)
"""Channels that are measured: only their own samples count."""

_FILLED: Final = (*_CARRIED, "gear", "pedal", "idle_active")
"""All whose blanks are filled: the last three tell the gear asked for and whether the helm is at rest."""


_OUT_OF_STEP: Final = "out of step"
"""What the queries say where rows that are put side by side by their places belong to different times."""


class OutOfStepError(Exception):
    """Two tables came in different orders: a fault of the program, and what it measured cannot be believed."""


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
    them all: planning the queries costs as much as twenty minutes of log. Times come back as timestamps in UTC.

    Raises:
        DatabaseError: a sample file is missing or broken; so does OSError.
        OutOfStepError: rows that are put side by side do not belong together.
    """
    db = scratch()
    _load_codes(db)
    _load(db, chains)
    try:
        for name in (*_STEPS, *EVENT_TABLES):
            db.execute(_making(name))
    except DatabaseError as error:
        if _OUT_OF_STEP in str(error):
            raise OutOfStepError(str(error)) from error
        raise
    events = {name: _with_log(db, name) for name in EVENT_TABLES}
    db.execute("drop table if exists long_samples")
    return events


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


@dataclass(frozen=True)
class _Piece:
    """One log on the axis: where it begins there, what to add for the real time, and what is known of its chain.

    `blanks` are the channels that are blank in some samples of the chain only; `levels` stand for the gear where the
    chain does not log it.
    """

    engine_id: str
    log: ChainLog
    from_s: float
    to_s: float
    samples: int
    shift_s: float
    blanks: frozenset[str]
    levels: tuple[GearLevel, ...]


@cache
def _making(name: str) -> str:
    """SQL that makes one table on the way; a view where its header says so: it is walked where it is read."""
    kind = "view" if read_header("events", name).get("view") else "table"
    return f"create or replace temp {kind} {name} as {read_query('events', name)}"


def _load(db: Database, chains: Sequence[Chain]) -> None:
    """Make `samples` and `pieces`: every log in one read, as planning a read costs as much as two minutes of log."""
    pieces = _laid_out(chains)
    columns = "engine_id varchar, log_id varchar, from_s double, to_s double, samples bigint, shift_s double"
    lines = [(each.engine_id, each.log.log_id, each.from_s, each.to_s, each.samples, each.shift_s) for each in pieces]
    _values(db, "pieces", columns, lines)
    db.unregister("samples")
    db.execute("drop view if exists samples")
    if sum(each.samples for each in pieces) > _IN_MEMORY_ROWS:
        db.execute(f"create or replace temp table long_samples as {_select_samples(pieces)}")
        db.execute("create temp view samples as from long_samples")
    else:
        # as an Arrow table: made in two thirds of the time of a table of DuckDB's own, and scanned in half
        db.register("samples", db.sql(_select_samples(pieces)).to_arrow_table())


def _laid_out(chains: Sequence[Chain]) -> list[_Piece]:
    """The logs of the chains one after another on the axis."""
    pieces: list[_Piece] = []
    free_s = _APART_S
    for chain in chains:
        known = [_contents(log.samples) for log in chain.logs]
        # whole seconds can be taken off and added again without rounding, so an event never depends on its neighbours
        shift_s = float(math.floor(known[0].first_s - free_s))
        seen = {name: sum(each.seen[name] for each in known) for name in _FILLED}
        blanks = frozenset(name for name in _FILLED if 0 < seen[name] < sum(each.total for each in known))
        levels = () if seen["gear"] else chain.gear_levels
        pieces += [
            _Piece(
                chain.engine_id,
                log,
                content.first_s - shift_s,
                content.last_s - shift_s,
                content.total,
                shift_s,
                blanks,
                levels,
            )
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


def _contents(path: Path) -> _Contents:
    """Counts from the Parquet footer; no sample is read."""
    footer = pq.read_metadata(path)
    groups = [footer.row_group(number) for number in range(footer.num_row_groups)]
    columns = {name: position for position, name in enumerate(footer.schema.names)}
    seen = {
        name: sum(group.num_rows - group.column(columns[name]).statistics.null_count for group in groups)
        for name in _FILLED
    }
    times = [group.column(columns["time_s"]).statistics for group in groups]
    return _Contents(seen, footer.num_rows, min(time.min for time in times), max(time.max for time in times))


def _load_codes(db: Database) -> None:
    """What the event queries share: words, means, summaries and the plausible range of each channel."""
    words = " ".join(f"when {code} then '{word}'" for word, code in GEARS.items())
    db.execute(f"create or replace temp macro gear_word(code) as case code {words} end")
    # avg takes several times as long
    db.execute("create or replace temp macro mean_of(value) as sum(value) / count(value)")
    db.execute("""
        create or replace temp macro summary_of(name, value) as
            {'channel': name, 'n': count(value), 'low': min(value), 'high': max(value), 'mean': mean_of(value)}
    """)
    ranges = [(name, channel.low, channel.high) for name, channel in CHANNELS.items()]
    _values(db, "channel_ranges", "channel varchar, low float, high float", ranges)


def _values(db: Database, name: str, columns: str, lines: Iterable[tuple[object, ...]]) -> None:
    db.execute(f"create or replace temp table {name} ({columns})")
    held = [tuple(line) for line in lines]
    if held:
        marks = ", ".join("(" + ", ".join("?" * len(line)) + ")" for line in held)
        db.execute(f"insert into {name} values {marks}", [value for line in held for value in line])


def _select_samples(pieces: Sequence[_Piece]) -> str:
    """SQL for what the event queries need; slow control channels stand for the blanks after them.

    The window that fills blanks is left out where no chain has any. It need not stop at the end of a chain, as the
    next one begins long after.
    """
    blanks = frozenset[str]().union(*(piece.blanks for piece in pieces))
    filled = {name: _carried(name) if name in blanks else f'"{name}"' for name in _FILLED}
    columns = [
        "time_s",
        *(f'{filled[name]} as "{name}"' for name in _CARRIED),
        *(f'"{name}"' for name in _PLAIN),
        f"{_gear(pieces, filled)} as gear",
        "pedal as pedal_pct",
        f"coalesce({filled['idle_active']} = 1, {filled['pedal']} <= 1) as is_at_rest",
    ]
    return f"select {', '.join(columns)} from ({_raw_samples(pieces)})"


def _raw_samples(pieces: Sequence[_Piece]) -> str:
    """SQL for the samples as they stand in their files, each with the number of its file, on the common axis."""
    if not pieces:
        kinds = {name: "double" if name == "engine_hours" else "float" for name in CHANNELS}
        nothing = ", ".join(f'null::{kind} as "{name}"' for name, kind in kinds.items())
        return f"select 0.0::double as time_s, {nothing}, 0 as file_no where false"
    paths = _path_list([str(piece.log.samples) for piece in pieces])
    shifts = " ".join(f"when {number} then {piece.shift_s!r}" for number, piece in enumerate(pieces))
    return f"""
        select
            * replace (time_s - case file_index::bigint {shifts} end::double as time_s),
            file_index::bigint as file_no
        from read_parquet({paths})
    """


def _carried(name: str) -> str:
    """SQL for a channel whose last value stands for up to 10 s of blanks."""
    window = "over (rows between unbounded preceding and current row)"
    since = f'last_value(case when "{name}" is not null then time_s end ignore nulls) {window}'
    return f'case when time_s - {since} <= {_CARRY_S} then last_value("{name}" ignore nulls) {window} end'


def _gear(pieces: Sequence[_Piece], filled: Mapping[str, str]) -> str:
    """SQL for the gear code: the logged gear, else the gear whose target level is nearest."""
    files: dict[tuple[GearLevel, ...], list[int]] = defaultdict(list)
    for number, piece in enumerate(pieces):
        if piece.levels:
            files[piece.levels].append(number)
    if not files:
        return filled["gear"]
    tests = [
        f"when {_among(numbers)} then {_nearest(filled['shift_target'], levels)}" for levels, numbers in files.items()
    ]
    return f"case {' '.join(tests)} else {filled['gear']} end"


def _among(numbers: Sequence[int]) -> str:
    """SQL for a file number among these, as spans of neighbours.

    A list (`in (0, 1, …)`) would do, but DuckDB turns a long one into a join, and what comes out of a join is no longer
    in the order of the files: every event after the first displaced sample would be wrong.
    """
    spans = [
        (held[0][1], held[-1][1])
        for _, group in itertools.groupby(enumerate(numbers), lambda each: each[1] - each[0])
        for held in [list(group)]
    ]
    return "(" + " or ".join(f"file_no between {first} and {last}" for first, last in spans) + ")"


def _nearest(target: str, levels: Sequence[GearLevel]) -> str:
    """SQL for the code of the gear whose target level is nearest."""
    ordered = sorted(levels, key=lambda level: level.target_pct)
    borders = [(low.target_pct + high.target_pct) / 2 for low, high in itertools.pairwise(ordered)]
    tests = [
        f"when {target} < {border!r} then {GEARS[level.gear]}" for level, border in zip(ordered, borders, strict=False)
    ]
    return f"case {' '.join(tests)} when {target} is not null then {GEARS[ordered[-1].gear]} end::float"


def _with_log(db: Database, name: str) -> pa.Table:
    """The rows of an event table with their engine, run and log, and the axis time turned back into real time."""
    return db.sql(f"""
        select
            run_names.engine_id,
            pieces.log_id,
            run_names.run_id,
            make_timestamptz(round((event_rows.start_s + run_names.shift_s) * 1e6)::bigint) as started_at,
            event_rows.* exclude (run_s, start_s)
        from {name} as event_rows
        inner join run_names on event_rows.run_s = run_names.run_s
        asof join pieces on event_rows.start_s >= pieces.from_s
        order by started_at
    """).to_arrow_table()


def _path_list(paths: Sequence[str]) -> str:
    return "[" + ", ".join("'" + path.replace("'", "''") + "'" for path in paths) + "]"
