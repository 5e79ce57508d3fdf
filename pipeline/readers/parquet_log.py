"""Reads Parquet logs: the names and types stand in the file, a time stamp is taken as it is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from pipeline.database import DatabaseError, rows
from pipeline.problems import Problem
from pipeline.readers.clock import LogClock, find_start, kind_of, numeric_kind, plan
from pipeline.readers.header import column_of
from pipeline.readers.matching import select
from pipeline.readers.request import LogRead, Refusal, in_words
from pipeline.readers.rows import Losses, Scan, create_rows, finish, number_in_text, path_literal, quoted

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.database import Database
    from pipeline.readers.clock import Kind
    from pipeline.readers.matching import Selection
    from pipeline.readers.request import ReadRequest
    from pipeline.readers.rows import Form

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
        return _read(db, request)
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
    columns = parquet_columns(db, request.path)
    selection = select([column_of(column.name) for column in columns], request)
    clock, assumed, time = _clock(db, columns[selection.time_index or 0], selection, request)
    picked = {pick.index: columns[pick.index] for pick in selection.picks}
    scan = Scan(
        relation=_relation(request.path),
        columns={index: (column.sql(), column.form()) for index, column in picked.items()},
        time=time,
    )
    create_rows(db, scan, selection.picks, clock)
    return replace(finish(db, request, selection, clock, None, Losses()), start_assumed=assumed)


def _clock(
    db: Database, column: ParquetColumn, selection: Selection, request: ReadRequest
) -> tuple[LogClock, bool, str]:
    """The log's clock, whether its start is only assumed, and the time as SQL in seconds."""
    (kind, factor), time = _kind(db, column, selection.time_unit, request)
    first = _first(db, time, request)
    start = find_start(metadata_of(db, request.path), request.path, request.timezone)
    reading, assumed = plan(kind, factor, first, start, request.timezone)
    clock = LogClock(reading, start, request.timezone, request.file, request.path.stat().st_mtime)
    return clock, assumed, time


def _kind(
    db: Database, column: ParquetColumn, unit: str | None, request: ReadRequest
) -> tuple[tuple[Kind, float], str]:
    name = quoted(column.name)
    if column.kind.startswith(_STAMPS):
        zoned: Kind = "zoned" if "TIME ZONE" in column.kind or "TZ" in column.kind else "local"
        stamp = f"cast({name} as {'timestamptz' if zoned == 'zoned' else 'timestamp'})"
        return (zoned, 1.0), f"epoch_us({stamp}) / 1e6"
    if column.kind.startswith(("TIME", "INTERVAL")):
        kind: Kind = "clock" if column.kind.startswith("TIME") else "elapsed"
        return (kind, 1.0), f"epoch(cast({name} as interval))"
    if column.form() == "number":
        first = _first(db, column.sql(), request)
        return numeric_kind(unit, first if first is not None else 0.0), column.sql()
    cells = rows(db, f"select {column.sql()} as cell from {_relation(request.path)} where {name} is not null limit 1")
    text_kind, factor = kind_of(unit, [row["cell"] for row in cells], request.file)
    return (text_kind, factor), _text_time(text_kind, column.sql())


def _text_time(kind: Kind, text: str) -> str:
    if kind in {"elapsed", "epoch"}:
        return number_in_text(text)
    if kind == "clock":
        return f"epoch(try_cast({text} as interval))"
    return f"epoch_us(try_cast({text} as timestamptz)) / 1e6"


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
