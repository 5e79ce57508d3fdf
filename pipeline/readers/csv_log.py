"""Reads text logs (CSV, TSV, semicolons; also packed) through one DuckDB scan whose columns our header reader named."""

from __future__ import annotations

import gzip
import io
import tempfile
import zlib
from collections import defaultdict
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pipeline.channels import IDENTITY
from pipeline.database import DatabaseError, rows
from pipeline.problems import Problem
from pipeline.readers.clock import LogClock, find_start, kind_of, plan
from pipeline.readers.header import NULL_TOKENS, Header, is_blank, is_number, read_header
from pipeline.readers.matching import Selection, select
from pipeline.readers.request import LogRead, Refusal, in_words
from pipeline.readers.rows import Losses, Scan, create_rows, finish, literal, number_in_text, path_literal

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pipeline.database import Database
    from pipeline.readers.clock import Kind
    from pipeline.readers.request import ReadRequest
    from pipeline.readers.rows import Form

FEW_RAGGED_ROWS: Final = 3
FEW_RAGGED_SHARE: Final = 0.01
"""Up to 3 rows or 1 % may have another number of fields; they are left out and named. More refuse the log."""

_PACKED: Final = {".gz": "gzip", ".zst": "zstd"}
_DIALECT_CODES: Final = frozenset({"MISSING COLUMNS", "TOO MANY COLUMNS", "UNQUOTED VALUE", "LINE SIZE OVER MAXIMUM"})


@dataclass(frozen=True)
class _Text:
    """Where DuckDB finds the rows: a path, the lines to skip there, and how many lines of the log lie before."""

    path: Path
    skip: int
    lines_before: int


@dataclass(frozen=True)
class _Reject:
    line: int
    column: int
    kind: str
    text: str
    message: str


def read_csv_log(db: Database, request: ReadRequest) -> LogRead:
    """Read a text log into `log_rows`.

    Raises:
        Refusal: the log cannot be taken.
    """
    header = read_header(request.path, request.file)
    selection = select(header.columns, request)
    clock, assumed = _clock(db, header, selection, request)
    try:
        losses = _load(db, header, selection, clock, request)
    except DatabaseError as error:
        raise Refusal(
            Problem(request.file, None, "damaged_file", "rows that can be read", in_words(error, request),
                    "Copy the log from the logger again.")
        ) from error  # fmt: skip
    return replace(finish(db, request, selection, clock, header.first_line, losses), start_assumed=assumed)


# ---- time --------------------------------------------------------------------------------------------------------


def _clock(db: Database, header: Header, selection: Selection, request: ReadRequest) -> tuple[LogClock, bool]:
    """The log's clock, and whether its start is only assumed."""
    cells = _first_cells(header, selection.time_index or 0)
    kind, factor = kind_of(selection.time_unit, cells, request.file)
    first = _first_local_time(db, kind, cells, header.decimal)
    start = find_start(header.metadata, request.path, request.timezone)
    reading, assumed = plan(kind, factor, first, start, request.timezone)
    return LogClock(reading, start, request.timezone, request.file, request.path.stat().st_mtime), assumed


def _first_local_time(db: Database, kind: Kind, cells: Sequence[str], decimal: str) -> float | None:
    """Seconds of the first row's date and time or time of day; None for times that need no zone."""
    if kind not in {"local", "clock"}:
        return None
    first = next((cell for cell in cells if cell.strip()), "")
    found = rows(db, f"select {_time_sql(kind, 'cell', 'text', decimal)} as seconds from (select ? as cell)", [first])
    seconds = found[0]["seconds"]
    return None if seconds is None else float(seconds)


def _time_sql(kind: Kind, column: str, form: Form, decimal: str) -> str:
    """A text or number column as seconds, before factor and shift."""
    if kind in {"elapsed", "epoch"}:
        return column if form == "number" else number_in_text(column, decimal)
    text = f"replace({column}, ',', '.')"
    if kind == "clock":
        return f"epoch(try_cast({text} as interval))"
    return f"epoch_us(try_cast({text} as timestamptz)) / 1e6"


# ---- scanning ----------------------------------------------------------------------------------------------------


def _load(db: Database, header: Header, selection: Selection, clock: LogClock, request: ReadRequest) -> Losses:
    """Make `log_rows`; a file DuckDB cannot read as it lies is first written out plainly, outside the inbox."""
    if header.plain:
        try:
            direct = _Text(request.path, header.first_line - 1, 0)
            return _load_text(db, direct, header, selection, clock, request)
        except DatabaseError:
            # Mixed line ends and the like: the plain copy has one line end and no zero bytes.
            pass
    with _plain_copy(request, header) as copy:
        text = _Text(copy, 0, header.first_line - 1)
        return _load_text(db, text, header, selection, clock, request)


def _load_text(
    db: Database, text: _Text, header: Header, selection: Selection, clock: LogClock, request: ReadRequest
) -> Losses:
    forms = _forms(header, selection)
    try:
        _create(db, text, header, selection, clock, forms)
    except DatabaseError:
        # Keeping account of bad rows costs a sound log time, so it is kept only once there is one.
        pass
    else:
        return Losses()
    _create(db, text, header, selection, clock, forms, keep_rejects=True)
    rejects = _rejects(db, text)
    ragged = {reject.line for reject in rejects if reject.kind in _DIALECT_CODES}
    unreadable = [reject for reject in rejects if reject.line not in ragged]
    if unreadable:
        # A typed scan drops the whole row for one bad cell; reading text costs little more and loses only the cell.
        _create(db, text, header, selection, clock, dict.fromkeys(forms, "text"), keep_rejects=True)
        rejects = _rejects(db, text)
    return _losses(db, rejects, unreadable, header, selection, request)


def _forms(header: Header, selection: Selection) -> dict[int, Form]:
    """Columns whose first cells are all numbers or blank arrive as numbers, the others as text."""
    indexes = {pick.index for pick in selection.picks} | {selection.time_index or 0}
    return {index: _form(_first_cells(header, index), header.decimal) for index in indexes}


def _first_cells(header: Header, index: int) -> list[str]:
    return [row[index] for row in header.first_rows if index < len(row)]


def _form(cells: Sequence[str], decimal: str) -> Form:
    return "number" if all(is_number(cell, decimal) or is_blank(cell) for cell in cells) else "text"


def _create(
    db: Database,
    text: _Text,
    header: Header,
    selection: Selection,
    clock: LogClock,
    forms: dict[int, Form],
    *,
    keep_rejects: bool = False,
) -> None:
    time_index = selection.time_index or 0
    if keep_rejects:
        _drop_rejects(db)
    scan = Scan(
        relation=_relation(text, header, _types(header, selection, forms), keep_rejects=keep_rejects),
        columns={index: (f"c{index}", form) for index, form in forms.items()},
        time=_time_sql(clock.reading.kind, f"c{time_index}", forms[time_index], header.decimal),
        decimal=header.decimal,
    )
    create_rows(db, scan, selection.picks, clock)


def _types(header: Header, selection: Selection, forms: dict[int, Form]) -> list[str]:
    """A DuckDB type for every column of the log. Unpicked ones are text and never selected, so never converted."""
    converted = {pick.index for pick in selection.picks if pick.convert != IDENTITY or pick.channel == "engine_hours"}
    exact = converted | {selection.time_index or 0}
    types = []
    for index in range(len(header.columns)):
        number = "DOUBLE" if index in exact else "FLOAT"
        types.append(number if forms.get(index) == "number" else "VARCHAR")
    return types


_KEEP_REJECTS: Final = ", store_rejects = true, rejects_table = 'log_rejects', rejects_scan = 'log_reject_scans'"


def _relation(text: _Text, header: Header, types: Sequence[str], *, keep_rejects: bool) -> str:
    columns = ", ".join(f"'c{index}': '{kind}'" for index, kind in enumerate(types))
    nulls = ", ".join(literal(token) for token in _null_tokens(header))
    quote = literal('"') if header.quoted else "''"
    packed = _PACKED.get(text.path.suffix.lower(), "none")
    return (
        f"read_csv({path_literal(text.path)}, auto_detect = false, header = false, skip = {text.skip}, "
        f"delim = {literal(header.delimiter)}, quote = {quote}, escape = {quote}, "
        f"decimal_separator = {literal(header.decimal)}, compression = '{packed}', "
        f"columns = {{{columns}}}, nullstr = [{nulls}]{_KEEP_REJECTS if keep_rejects else ''})"
    )


def _null_tokens(header: Header) -> list[str]:
    """What stands for 'nothing here' in this log. Each token costs the scan time, so only those its first rows show."""
    seen = {cell.strip() for row in header.first_rows for cell in row}
    return ["", *(token for token in NULL_TOKENS if token and token in seen)]


def _rejects(db: Database, text: _Text) -> list[_Reject]:
    found = rows(db, "select line, column_idx, error_type, error_message, csv_line from log_rejects")
    rejects = [
        _Reject(
            line=int(row["line"]) + text.lines_before,
            column=int(row["column_idx"] or 0),
            kind=str(row["error_type"]),
            text=row["csv_line"] or "",
            message=row["error_message"] or "",
        )
        for row in found
    ]
    return sorted(rejects, key=lambda reject: reject.line)


def every_cell(db: Database, request: ReadRequest, header: Header, limit: int) -> list[list[str | None]]:
    """Every column of a text log as text, its first `limit` rows, column by column; ragged rows are left out.

    Raises:
        Refusal: the file is damaged.
    """
    types = ["VARCHAR"] * len(header.columns)
    with _plain_copy(request, header) as copy:
        text = _Text(copy, 0, header.first_line - 1)
        _drop_rejects(db)
        try:
            found = rows(db, f"select * from {_relation(text, header, types, keep_rejects=True)} limit {limit}")
        except DatabaseError as error:
            raise Refusal(
                Problem(request.file, None, "damaged_file", "rows that can be read", in_words(error, request),
                        "Copy the log from the logger again.")
            ) from error  # fmt: skip
    return [[row[f"c{index}"] for row in found] for index in range(len(header.columns))]


def _drop_rejects(db: Database) -> None:
    db.execute("drop table if exists log_rejects")
    db.execute("drop table if exists log_reject_scans")


# ---- what was lost ------------------------------------------------------------------------------------------------


def _losses(
    db: Database,
    rejects: Sequence[_Reject],
    unreadable: Sequence[_Reject],
    header: Header,
    selection: Selection,
    request: ReadRequest,
) -> Losses:
    ragged = list({reject.line: reject for reject in reversed(rejects)}.values())[::-1]
    kept = int(rows(db, "select count(*) as n from log_rows")[0]["n"])
    last_line = header.first_line - 1 + kept + len(ragged)
    cut = [reject for reject in ragged if reject.line >= last_line and reject.kind != "TOO MANY COLUMNS"]
    others = [reject for reject in ragged if reject not in cut]
    _refuse_ragged(others, kept, header, request)
    problems = [_ragged_problem("ragged_rows", reject, header, request) for reject in others[:FEW_RAGGED_ROWS]]
    problems += [_ragged_problem("cut_last_row", reject, header, request) for reject in cut]
    return Losses(len(ragged), (*problems, *_unreadable_problems(unreadable, header, selection, request)))


def _refuse_ragged(ragged: Sequence[_Reject], kept: int, header: Header, request: ReadRequest) -> None:
    if len(ragged) <= max(FEW_RAGGED_ROWS, FEW_RAGGED_SHARE * (kept + len(ragged))):
        return
    raise Refusal(
        Problem(request.file, ragged[0].line, "ragged_rows", f"{len(header.columns)} fields a row",
                f"{len(ragged)} of {kept + len(ragged)} rows with another number",
                "Which columns are meant cannot be known: export the log again.")
    )  # fmt: skip


def _ragged_problem(code: str, reject: _Reject, header: Header, request: ReadRequest) -> Problem:
    fields = reject.text.count(header.delimiter) + 1
    got = f"{fields} fields" if reject.kind != "UNQUOTED VALUE" else "an open quotation mark"
    return Problem(request.file, reject.line, code, f"{len(header.columns)} fields", got, "The row was left out.")


def _unreadable_problems(
    unreadable: Sequence[_Reject], header: Header, selection: Selection, request: ReadRequest
) -> list[Problem]:
    """One remark a column whose cells hold no number."""
    by_column: defaultdict[int, list[_Reject]] = defaultdict(list)
    for reject in unreadable:
        by_column[reject.column - 1].append(reject)
    picked = {pick.index for pick in selection.picks}
    return [
        Problem(request.file, held[0].line, "unreadable_cells", f"numbers in {header.columns[index].written!r}",
                f"{len(held)} cells without", "They were taken as blank.")
        for index, held in sorted(by_column.items())
        if index in picked
    ]  # fmt: skip


# ---- a plain copy -------------------------------------------------------------------------------------------------


@contextmanager
def _plain_copy(request: ReadRequest, header: Header) -> Iterator[Path]:
    """The rows of the log as UTF-8 with single line ends, in a temporary file that goes afterwards."""
    with tempfile.TemporaryDirectory(prefix="morningwatch-") as folder:
        copy = Path(folder) / "rows.csv"
        try:
            _write_plain(request.path, header, copy)
        except (OSError, EOFError, zlib.error, UnicodeError) as error:
            raise Refusal(
                Problem(request.file, None, "damaged_file", "a readable file", in_words(error, request),
                        "Copy the log from the logger again.")
            ) from error  # fmt: skip
        yield copy


def _write_plain(path: Path, header: Header, copy: Path) -> None:
    with _opened(path) as raw, copy.open("w", encoding="utf-8", newline="\n") as plain:
        text = io.TextIOWrapper(raw, encoding=header.encoding, errors="replace", newline=None)
        plain.writelines(line.replace("\0", "") for line in islice(text, header.first_line - 1, None))


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    if path.suffix.lower() == ".zst":
        import pyarrow as pa  # noqa: PLC0415 - only packed logs need it here

        with pa.OSFile(str(path)) as source, pa.CompressedInputStream(source, "zstd") as stream:
            yield stream
    elif path.suffix.lower() == ".gz":
        with gzip.open(path) as unpacked:
            yield unpacked
    else:
        with path.open("rb") as plain:
            yield plain
