"""Reads text logs (CSV, TSV, semicolons; also packed) through one DuckDB scan whose columns our header reader named."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pipeline.database import DatabaseError, OutOfMemory, rows
from pipeline.problems import Problem
from pipeline.readers.clock import LogClock, plan
from pipeline.readers.csv_load import load
from pipeline.readers.csv_scan import CsvScan, every_cell, first_cells, forms_of
from pipeline.readers.header import Header, read_header
from pipeline.readers.matching import Selection, select
from pipeline.readers.packed import refuse_large, takes_too_much
from pipeline.readers.plain_copy import as_it_is, rewritten
from pipeline.readers.request import LogRead, Refusal, in_words
from pipeline.readers.rows import finish
from pipeline.readers.start import Start, find_start
from pipeline.readers.time_kinds import TimeForm, form_of, highest_numbers, seconds_in_text, settled_order

if TYPE_CHECKING:
    from pipeline.database import Database
    from pipeline.readers.plain_copy import Text
    from pipeline.readers.request import ReadRequest


@dataclass(frozen=True)
class _Plan:
    """What the first look told: the header, the columns, the time's form with its first cells, the start."""

    header: Header
    selection: Selection
    form: TimeForm
    time_cells: tuple[str, ...]
    start: Start


def read_csv_log(db: Database, request: ReadRequest) -> LogRead:
    """Read a text log into `log_rows`.

    Raises:
        Refusal: the log cannot be taken.
    """
    refuse_large(request)
    header = read_header(request)
    selection = select(header.columns, request)
    form, cells = _time_form(header, selection, request)
    start = find_start(header.metadata, request.path, request.timezone)
    try:
        return _read(db, _Plan(header, selection, form, cells, start), request)
    except OutOfMemory:
        # Our own limit, not the machine's: without a cause, so that the log is not tried again with every ingest.
        raise Refusal(takes_too_much(request)) from None
    except DatabaseError as error:
        raise Refusal(_unreadable(error, request)) from error


def _unreadable(error: DatabaseError, request: ReadRequest) -> Problem:
    way_out = "Copy the log from the logger again."
    return Problem(request.file, None, "damaged_file", "rows that can be read", in_words(error, request), way_out)


def _read(db: Database, plan: _Plan, request: ReadRequest) -> LogRead:
    """Scan the file as it lies; where DuckDB cannot, write it out plainly first, outside the inbox."""
    if plan.header.plain:
        with as_it_is(request, plan.header) as text:
            try:
                return _read_text(db, text, plan, request)
            except OutOfMemory:
                raise
            except DatabaseError:
                # Mixed line ends and the like: the plain copy has one line end and no zero bytes.
                pass
    with rewritten(request, plan.header) as text:
        return _read_text(db, text, plan, request)


def _read_text(db: Database, text: Text, seen: _Plan, request: ReadRequest) -> LogRead:
    header, selection = seen.header, seen.selection
    form = _with_order(db, text, seen, request)
    first = _first_local_time(db, form, seen)
    reading, assumed = plan(form, first, seen.start, request.timezone)
    clock = LogClock(reading, seen.start, request.timezone, request.file, request.path.stat().st_mtime)
    scan = CsvScan(text, header, selection, clock, form, forms_of(header, selection, form))
    losses = load(db, scan, request)
    return replace(finish(db, request, selection, clock, header.first_line, losses), start_assumed=assumed)


def _time_form(header: Header, selection: Selection, request: ReadRequest) -> tuple[TimeForm, tuple[str, ...]]:
    """The form of the time and its first cells, with the date's before them where that stands in another column."""
    time = selection.time
    cells = first_cells(header, time.index or 0)
    form = form_of(time.unit, cells, request.file, header.marks)
    if form.kind == "clock" and time.date_index is not None:
        dates = first_cells(header, time.date_index)
        both = tuple(f"{day.strip()} {cell.strip()}" for day, cell in zip(dates, cells, strict=False) if day.strip())
        if both:
            return replace(form_of("iso8601", both, request.file), is_apart=True), both
    return form, tuple(cells)


def _with_order(db: Database, text: Text, seen: _Plan, request: ReadRequest) -> TimeForm:
    """The form with day and month in their order, by the map, all rows or the start that is known from elsewhere.

    Raises:
        Refusal: nothing tells them apart.
    """
    time, form = seen.selection.time, seen.form
    if time.order is not None and form.order in {None, "day first", "month first"}:
        return replace(form, order=time.order)
    if form.order is not None:
        return form
    column = f"c{time.date_index if form.is_apart else time.index}"
    cells = every_cell(db, text, seen.header)
    highest = db.execute(f"select {highest_numbers(column)} from {cells}").fetchall()[0]
    day = seen.start.local_day(request.timezone)
    return replace(form, order=settled_order(highest, seen.time_cells[0], day, request.file))


def _first_local_time(db: Database, form: TimeForm, seen: _Plan) -> float | None:
    """Seconds of the first row's date and time or time of day; None for times that need no zone."""
    if form.kind not in {"local", "clock"}:
        return None
    first = next((cell for cell in seen.time_cells if cell.strip()), "")
    sql = seconds_in_text(form, "cell", seen.header.marks)
    seconds = rows(db, f"select {sql} as seconds from (select ? as cell)", [first])[0]["seconds"]
    return None if seconds is None else float(seconds)


def first_rows_as_text(db: Database, request: ReadRequest, header: Header, limit: int) -> list[list[str | None]]:
    """Every column of a text log as text, its first `limit` rows, column by column; ragged rows are left out.

    Raises:
        Refusal: the file is damaged.
    """
    with rewritten(request, header) as text:
        try:
            found = db.execute(f"select * from {every_cell(db, text, header)} limit {limit}").fetchall()
        except DatabaseError as error:
            raise Refusal(_unreadable(error, request)) from error
    return [[row[index] for row in found] for index in range(len(header.columns))]
