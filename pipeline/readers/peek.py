"""The first rows of a log of any format with all its columns, for the proposal of a channel map."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from pipeline.readers.cells import PLAIN, Marks, is_number, number_of
from pipeline.readers.csv_log import first_rows_as_text
from pipeline.readers.header import Column, column_of, read_header
from pipeline.readers.mdf4_child import Job
from pipeline.readers.mdf4_log import mdf4_content
from pipeline.readers.packed import refuse_large
from pipeline.readers.parquet_log import every_value, metadata_of, parquet_columns, refuse_claims
from pipeline.readers.request import ReadRequest
from pipeline.register.tables import ReadingLimits

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from pipeline.database import Database

PEEK_ROWS: Final = 20_000
_MANY_TEXTS: Final = 12


@dataclass(frozen=True)
class PeekedColumn:
    """One column: what its header says, its first values as numbers (NaN where blank or text), and a few of its texts.

    `texts` are the distinct texts that are no number, at most twelve. `first` is the first filled cell as written.
    `is_time` says that the file itself marks the column as a point in time.
    """

    column: Column
    numbers: NDArray[np.float64]
    texts: tuple[str, ...]
    first: str
    is_time: bool = False


@dataclass(frozen=True)
class Peek:
    """The columns of a log and its metadata. `own_time`: the format keeps the time itself, no column has it."""

    columns: tuple[PeekedColumn, ...]
    metadata: tuple[tuple[str, str], ...]
    own_time: bool = False


def peek(db: Database, path: Path, limits: ReadingLimits | None = None) -> Peek:
    """The first 20,000 rows of every column of a log, within what a log may take.

    Raises:
        Refusal: the log cannot be read, or is beyond the limits.
        DatabaseError: it is no Parquet file, though it is called so.
    """
    request = ReadRequest(path, path.name, (), None, "UTC", limits or ReadingLimits())
    refuse_large(request)
    if path.suffix.lower() == ".parquet":
        return _peek_parquet(db, request)
    if path.suffix.lower() == ".mf4":
        return _peek_mdf4(request)
    return _peek_text(db, request)


def _peek_text(db: Database, request: ReadRequest) -> Peek:
    header = read_header(request)
    cells = first_rows_as_text(db, request, header, PEEK_ROWS)
    columns = [_peeked(column, cells[at], header.marks) for at, column in enumerate(header.columns)]
    return Peek(tuple(columns), header.metadata)


def _peek_parquet(db: Database, request: ReadRequest) -> Peek:
    refuse_claims(db, request)
    path = request.path
    described = parquet_columns(db, path)
    cells = every_value(db, path, PEEK_ROWS)
    columns = [
        _peeked(column_of(column.name), values, PLAIN, is_time=column.kind.startswith("TIMESTAMP"))
        for column, values in zip(described, cells, strict=True)
    ]
    return Peek(tuple(columns), tuple(metadata_of(db, path)))


def _peek_mdf4(request: ReadRequest) -> Peek:
    content = mdf4_content(Job(request, read=False))
    columns = [
        _peeked(signal.column, [str(value) for value in signal.values[:PEEK_ROWS].tolist()], PLAIN)
        for signal in content.signals.values()
    ]
    return Peek(tuple(columns), (), own_time=True)


def _peeked(column: Column, cells: Sequence[str | None], marks: Marks, *, is_time: bool = False) -> PeekedColumn:
    filled = [cell.strip() for cell in cells if cell is not None and cell.strip()]
    numbers = np.array([_number(cell, marks) for cell in cells], dtype=np.float64)
    texts = dict.fromkeys(cell for cell in filled[:2000] if np.isnan(_number(cell, marks)))
    return PeekedColumn(column, numbers, tuple(texts)[:_MANY_TEXTS], filled[0] if filled else "", is_time)


def _number(cell: Any, marks: Marks) -> float:
    """The finite number in a cell, NaN where there is none."""
    text = str(cell)
    try:
        number = number_of(text, marks) if is_number(text, marks) else float(text)
    except ValueError:
        return float("nan")
    return number if np.isfinite(number) else float("nan")
