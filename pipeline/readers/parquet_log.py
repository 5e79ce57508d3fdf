"""Reads Parquet logs: the names and types stand in the file, a time stamp is taken as it is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from pipeline.database import DatabaseError, OutOfMemory, page_by_page, rows
from pipeline.problems import Problem
from pipeline.readers.clock import LogClock, plan
from pipeline.readers.dialect import ROWS_FOR_DIALECT
from pipeline.readers.header import column_of
from pipeline.readers.matching import select
from pipeline.readers.packed import refuse_large, takes_too_much
from pipeline.readers.request import LogRead, Refusal, in_words, refuse_many_columns, refuse_many_rows
from pipeline.readers.rows import Losses, Scan, create_rows, finish, path_literal, quoted
from pipeline.readers.start import find_start
from pipeline.readers.time_kinds import TimeForm, form_of, highest_numbers, numeric_form, seconds_in_text, settled_order

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.database import Database
    from pipeline.readers.matching import Selection
    from pipeline.readers.request import ReadRequest
    from pipeline.readers.rows import Form
    from pipeline.readers.start import Start

_NUMBERS: Final = frozenset({
    "TINYINT", "SMALLINT", "INTEGER", "BIGINT", "HUGEINT", "UTINYINT", "USMALLINT", "UINTEGER", "UBIGINT", "UHUGEINT",
    "FLOAT", "DOUBLE", "BOOLEAN",
})  # fmt: skip
_STAMPS: Final = ("TIMESTAMP", "DATE")


@dataclass(frozen=True)
class ParquetColumn:
    """A column of a Parquet file: its name and DuckDB's name of its type."""

    name: str
    kind: str

    def form(self) -> Form:
        """Numbers and truth values arrive as numbers, all else as text."""
        is_decimal = self.kind.startswith("DECIMAL") and not self.kind.endswith("]")
        return "number" if is_decimal or self.kind in _NUMBERS else "text"

    def sql(self) -> str:
        """The column as a number or as text."""
        as_number = f"cast({quoted(self.name)} as double)" if self.kind != "FLOAT" else quoted(self.name)
        return as_number if self.form() == "number" else f"cast({quoted(self.name)} as varchar)"


def read_parquet_log(db: Database, request: ReadRequest) -> LogRead:
    """Read a Parquet log into `log_rows`.

    Raises:
        Refusal: the log cannot be taken.
    """
    try:
        with page_by_page(db):
            return _read(db, request)
    except OutOfMemory:
        # Our own limit, not the machine's: without a cause, so that the log is not tried again with every ingest.
        raise Refusal(takes_too_much(request)) from None
    except DatabaseError as error:
        raise Refusal(
            Problem(request.file, None, "damaged_file", "a Parquet file", in_words(error, request),
                    "Copy the log from the logger again.")
        ) from error  # fmt: skip


def parquet_columns(db: Database, path: Path) -> list[ParquetColumn]:
    """The columns of a Parquet file, in its order.

    Raises:
        DatabaseError: it is none.
    """
    described = rows(db, f"describe select * from {_relation(path)}")
    return [ParquetColumn(row["column_name"], row["column_type"]) for row in described]


def _relation(path: Path) -> str:
    return f"read_parquet({path_literal(path)}, hive_partitioning = false)"


def _read(db: Database, request: ReadRequest) -> LogRead:
    refuse_large(request)
    refuse_claims(db, request)
    columns = parquet_columns(db, request.path)
    selection = select([column_of(column.name) for column in columns], request)
    clock, assumed, time = _clock(db, columns, selection, request)
    picked = {pick.index: columns[pick.index] for pick in selection.picks}
    scan = Scan(
        relation=_relation(request.path),
        columns={index: (column.sql(), column.form()) for index, column in picked.items()},
        time=time,
    )
    create_rows(db, scan, selection.picks, clock)
    return replace(finish(db, request, selection, clock, None, Losses()), start_assumed=assumed)


def refuse_claims(db: Database, request: ReadRequest) -> None:
    """Refuse by what the footer claims, before a page is read: a few bytes can stand for any number of rows.

    Raises:
        Refusal: more rows or columns than a log may have, or an encrypted footer.
    """
    with request.path.open("rb") as file:
        if file.read(4) == _ENCRYPTED:
            way_out = "Write the log without encryption."
            raise Refusal(Problem(request.file, None, "encrypted_file", "a file that opens", "one with a key", way_out))
    (claimed,) = rows(db, f"select num_rows as n from parquet_file_metadata({path_literal(request.path)})")
    refuse_many_rows(int(claimed["n"]), request)
    refuse_many_columns(len(parquet_columns(db, request.path)), request)


_ENCRYPTED: Final = b"PARE"
"""First bytes of a Parquet file whose footer is encrypted (Parquet format, modular encryption)."""


def _clock(
    db: Database, columns: list[ParquetColumn], selection: Selection, request: ReadRequest
) -> tuple[LogClock, bool, str]:
    """The log's clock, whether its start is only assumed, and the time as SQL in seconds."""
    start = find_start(metadata_of(db, request.path), request.path, request.timezone)
    form, time = _form(db, columns, selection, start, request)
    first = _first(db, time, request)
    reading, assumed = plan(form, first, start, request.timezone)
    clock = LogClock(reading, start, request.timezone, request.file, request.path.stat().st_mtime)
    return clock, assumed, time


def _form(
    db: Database, columns: list[ParquetColumn], selection: Selection, start: Start, request: ReadRequest
) -> tuple[TimeForm, str]:
    column, unit = columns[selection.time.index or 0], selection.time.unit
    name = quoted(column.name)
    if column.kind.startswith(_STAMPS):
        zoned = "TIME ZONE" in column.kind or "TZ" in column.kind
        stamp = f"cast({name} as {'timestamptz' if zoned else 'timestamp'})"
        return TimeForm("zoned" if zoned else "local"), f"epoch_us({stamp}) / 1e6"
    if column.kind.startswith(("TIME", "INTERVAL")):
        seconds = f"epoch(cast({name} as interval))"
        return TimeForm("clock" if column.kind.startswith("TIME") else "elapsed"), seconds
    if column.form() == "number":
        first = _first(db, column.sql(), request)
        return numeric_form(unit, first if first is not None else 0.0), column.sql()
    return _text_form(db, column, selection, start, request)


def _text_form(
    db: Database, column: ParquetColumn, selection: Selection, start: Start, request: ReadRequest
) -> tuple[TimeForm, str]:
    relation, name = _relation(request.path), quoted(column.name)
    found = rows(db, f"select {column.sql()} as cell from {relation} where {name} is not null limit {ROWS_FOR_DIALECT}")
    cells = [row["cell"] for row in found]
    form = form_of(selection.time.unit, cells, request.file)
    if selection.time.order is not None and form.order in {None, "day first", "month first"}:
        form = replace(form, order=selection.time.order)
    if form.order is None:
        highest = db.execute(f"select {highest_numbers(column.sql())} from {relation}").fetchall()[0]
        day = start.local_day(request.timezone)
        form = replace(form, order=settled_order(highest, cells[0], day, request.file))
    return form, seconds_in_text(form, column.sql())


def _first(db: Database, sql: str, request: ReadRequest) -> float | None:
    found = rows(db, f"select {sql} as value from {_relation(request.path)} where {sql} is not null limit 1")
    return float(found[0]["value"]) if found else None


def every_value(db: Database, path: Path, limit: int) -> list[list[str | None]]:
    """Every column of a Parquet file as text, its first `limit` rows, column by column."""
    names = [column.name for column in parquet_columns(db, path)]
    as_text = ", ".join(f"cast({quoted(name)} as varchar) as {quoted(name)}" for name in names)
    found = rows(db, f"select {as_text} from {_relation(path)} limit {limit}")
    return [[row[name] for row in found] for name in names]


def metadata_of(db: Database, path: Path) -> list[tuple[str, str]]:
    """The file's own key-value metadata, but for what libraries put there for themselves."""
    pairs = f"parquet_kv_metadata({path_literal(path)})"
    found = rows(db, f"select decode(key) as key, decode(value) as value from {pairs} where octet_length(value) < 200")
    return [(row["key"], row["value"]) for row in found]
