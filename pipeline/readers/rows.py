"""Builds `log_rows` from whatever DuckDB can scan: conversions as SQL, then the clock's rules applied to the rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from pipeline.channels import CHANNELS, FLAG_CODES, GEAR_CODES, IDENTITY
from pipeline.problems import Problem
from pipeline.readers.cells import PLAIN, Marks
from pipeline.readers.clock import LogClock, Settled, settle
from pipeline.readers.request import LogRead, Refusal, refuse_many_rows
from pipeline.readers.row_order import rising
from pipeline.readers.time_kinds import number_in_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from pipeline.database import Database
    from pipeline.readers.matching import Pick, Selection
    from pipeline.readers.request import ReadRequest

LOG_ROWS: Final = "log_rows"
_DOUBLES: Final = frozenset({"engine_hours"})
"""Channels kept as DOUBLE: a FLOAT of 4,000 h resolves only to a second."""

Form = Literal["number", "text"]
"""How a scanned column arrives: as a number, or as text that may hold one."""


@dataclass(frozen=True)
class Scan:
    """Something DuckDB can read rows from: a FROM clause, each picked column's SQL and form, and the time's SQL.

    `time` gives seconds before the shift of `LogClock.reading`. `marks` are those of numbers in text columns.
    """

    relation: str
    columns: Mapping[int, tuple[str, Form]]
    time: str
    marks: Marks = PLAIN


def quoted(name: str) -> str:
    """An SQL identifier."""
    return '"' + name.replace('"', '""') + '"'


def literal(text: str) -> str:
    """An SQL string."""
    return "'" + text.replace("'", "''") + "'"


def create_rows(db: Database, scan: Scan, picks: Sequence[Pick], clock: LogClock) -> None:
    """Make the temp table `log_rows`, its times not yet settled.

    Raises:
        DatabaseError: what is scanned cannot be read.
    """
    time = f"({scan.time}) * {clock.reading.factor!r} + {clock.reading.shift_s!r}"
    channels = ",\n".join(f"{channel_sql(pick, scan)} as {quoted(pick.name)}" for pick in picks)
    db.execute(f"create or replace temp table {LOG_ROWS} as select {time} as time_s,\n{channels}\nfrom {scan.relation}")


def channel_sql(pick: Pick, scan: Scan) -> str:
    """A column in canonical units, as FLOAT (engine hours DOUBLE); what is no finite number is null."""
    column, form = scan.columns[pick.index]
    kind = "double" if pick.channel in _DOUBLES else "float"
    if pick.values is not None:
        coded = _coded(column, form, _codes(pick), scan.marks)
        if CHANNELS[pick.channel].unit == "0/1":
            # a flag's `values` name what sets it: any other value that was logged clears it
            known = column if form == "number" else f"nullif(trim({column}), '')"
            coded = f"coalesce({coded}, case when {known} is not null then 0 end)"
        return f"cast({coded} as {kind})"
    number = _number(column, form, scan.marks)
    if pick.convert != IDENTITY:
        number = f"({number} * {pick.convert.factor!r} + {pick.convert.offset!r})"
    words = _words_of(pick.channel)
    if form == "text" and words:
        number = f"coalesce({_coded(column, form, words, scan.marks)}, {number})"
    return f"cast(case when isfinite({number}) then {number} end as {kind})"


def _number(column: str, form: Form, marks: Marks) -> str:
    if form == "number":
        return column
    return number_in_text(column, marks)


def _words_of(channel: str) -> Mapping[str, float]:
    if channel == "gear":
        return GEAR_CODES
    return FLAG_CODES if CHANNELS[channel].unit == "0/1" else {}


def _codes(pick: Pick) -> dict[str, float]:
    """The map's `values` as numbers; a word that means no number for this channel is left out, so it reads as null."""
    words = _words_of(pick.channel)
    codes = {}
    for logged, meant in (pick.values or {}).items():
        number = words.get(meant.casefold(), _as_number(meant)) if isinstance(meant, str) else float(meant)
        if number is not None:
            codes[logged.strip()] = number
    return codes


def _as_number(text: str) -> float | None:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return None


def _coded(column: str, form: Form, codes: Mapping[str, float], marks: Marks) -> str:
    """SQL for a coded column: a listed text (as written, then in any case) or an equal number."""
    numbers = {value: code for text, code in codes.items() if (value := _as_number(text)) is not None}
    number = _number(column, form, marks)
    cases = [f"when {number} = {value!r} then {code!r}" for value, code in numbers.items()]
    if form == "text":
        texts = {text: code for text, code in codes.items() if _as_number(text) is None}
        cases += [f"when trim({column}) = {literal(text)} then {code!r}" for text, code in texts.items()]
        cases += [f"when lower(trim({column})) = {literal(text.lower())} then {code!r}" for text, code in texts.items()]
    return f"case {' '.join(cases)} end" if cases else "null"


def path_literal(path: Path) -> str:
    """A path as an SQL string, its wildcards taken as themselves: DuckDB would read every file they match."""
    return literal("".join(f"[{letter}]" if letter in "[*?" else letter for letter in str(path)))


@dataclass(frozen=True)
class Losses:
    """Rows that never reached the table (ragged ones), with what to say of them."""

    rows: int = 0
    problems: tuple[Problem, ...] = ()


def finish(
    db: Database, request: ReadRequest, selection: Selection, clock: LogClock, first_line: int | None, losses: Losses
) -> LogRead:
    """Settle the times of `log_rows` and say what was read.

    Raises:
        Refusal: the log has no rows, or its times cannot be used.
    """
    times = _times(db)
    if times.size == 0:
        raise Refusal(Problem(request.file, first_line, "no_rows", "rows of data", "none", "Copy the log again."))
    refuse_many_rows(times.size, request)
    settled = settle(times, clock, first_line)
    if not (settled.keep.all() and np.array_equal(settled.time_s, times)):
        _replace_times(db, settled, selection.picks)
    hours = _hours_that_never_fall(db, request, selection.picks)
    return LogRead(
        status="taken",
        problems=(*losses.problems, *settled.problems, *hours, *selection.remarks),
        rows=int(settled.time_s.size),
        rows_dropped=losses.rows + int((~settled.keep).sum()),
        rows_spread=settled.spread,
        started_s=float(settled.time_s[0]),
        ended_s=float(settled.time_s[-1]),
        columns=selection.columns(),
    )


def _hours_that_never_fall(db: Database, request: ReadRequest, picks: Sequence[Pick]) -> list[Problem]:
    """Engine hours only count up: values that run back are blanked, as few as leave an order that never falls."""
    return [
        _blanked_hours(db, request, pick)
        for pick in picks
        if pick.channel == "engine_hours" and _falls(db, quoted(pick.name))
    ]


def _falls(db: Database, column: str) -> bool:
    steps = f"select {column} - lag({column}) over () as step from {LOG_ROWS} where {column} is not null"
    return bool(db.execute(f"select coalesce(min(step), 0) < 0 from ({steps})").fetchall()[0][0])


def _blanked_hours(db: Database, request: ReadRequest, pick: Pick) -> Problem:
    column = quoted(pick.name)
    held = db.execute(
        f"select rowid as place, {column} as hours from {LOG_ROWS} where {column} is not null"
    ).fetchnumpy()
    wrong = held["place"][~rising(np.asarray(held["hours"], dtype=np.float64))]
    db.execute(f"update {LOG_ROWS} set {column} = null where rowid in (select unnest(?))", [wrong.tolist()])
    return Problem(request.file, None, "hours_step_back", "engine hours that only count up",
                   f"{len(wrong)} values that run back", "They were taken as blank.")  # fmt: skip


def _times(db: Database) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    fetched = np.ma.asarray(db.execute(f"select time_s from {LOG_ROWS}").fetchnumpy()["time_s"], dtype=np.float64)
    return np.asarray(fetched.filled(np.nan), dtype=np.float64)


def _replace_times(db: Database, settled: Settled, picks: Sequence[Pick]) -> None:
    """Put the settled times beside the rows they belong to; rows left out go."""
    every = np.full(settled.keep.size, np.nan)
    every[settled.keep] = settled.time_s
    channels = ", ".join(f"log.{quoted(pick.name)}" for pick in picks)
    db.register("settled_times", {"time_s": every, "is_kept": settled.keep})
    try:
        db.execute(
            f"create or replace temp table {LOG_ROWS} as select settled.time_s, {channels} "
            f"from {LOG_ROWS} as log positional join settled_times as settled where settled.is_kept"
        )
    finally:
        db.unregister("settled_times")
