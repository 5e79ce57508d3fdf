"""One scan of a text log by DuckDB, its columns named and typed by our own header reader, into `log_rows`."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from pipeline.channels import IDENTITY
from pipeline.database import rows
from pipeline.readers.cells import NULL_TOKENS, Marks, is_blank, is_number
from pipeline.readers.rows import Scan, create_rows, literal, path_literal
from pipeline.readers.time_kinds import TimeForm, seconds_in_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.database import Database
    from pipeline.readers.clock import LogClock
    from pipeline.readers.header import Header
    from pipeline.readers.matching import Selection
    from pipeline.readers.plain_copy import Text
    from pipeline.readers.rows import Form

MOST_REJECTS: Final = 100_000
"""Bad lines that are kept for a look; a log with more is refused whatever they are."""

_DIALECT_CODES: Final = frozenset({"MISSING COLUMNS", "TOO MANY COLUMNS", "UNQUOTED VALUE", "LINE SIZE OVER MAXIMUM"})


@dataclass(frozen=True)
class Reject:
    """A line, or a cell of it, that DuckDB could not take: line from 1 and column from 0, both in the log itself."""

    line: int
    column: int
    kind: str
    text: str

    @property
    def is_ragged(self) -> bool:
        """Whether the line has another number of fields than the header."""
        return self.kind in _DIALECT_CODES


@dataclass(frozen=True)
class CsvScan:
    """How a text log is scanned; `forms` say how each needed column arrives.

    `pads_short_rows`: rows may lack their last fields, which are blank then.
    """

    text: Text
    header: Header
    selection: Selection
    clock: LogClock
    time_form: TimeForm
    forms: dict[int, Form]
    pads_short_rows: bool = False

    def as_text(self) -> CsvScan:
        """The same with every column as text: it loses a bad cell where a typed scan would lose its row."""
        return replace(self, forms=dict.fromkeys(self.forms, "text"))

    def with_marks(self, marks: Marks) -> CsvScan:
        """The same with other marks in numbers."""
        return replace(self, header=replace(self.header, marks=marks)).as_text()

    def load(self, db: Database, *, keep_rejects: bool = False) -> None:
        """Make `log_rows`.

        Raises:
            DatabaseError: a line or a cell does not fit and rejects are not kept, or the file cannot be read.
        """
        if keep_rejects:
            drop_rejects(db)
        scan = Scan(
            relation=self.relation(self._types(), keep_rejects=keep_rejects),
            columns={index: (f"c{index}", form) for index, form in self.forms.items()},
            time=self.time_sql(self.forms),
            marks=self.header.marks,
        )
        create_rows(db, scan, self.selection.picks, self.clock)

    def time_sql(self, forms: dict[int, Form]) -> str:
        """The time in seconds, before factor and shift."""
        time = self.selection.time
        if time.index is not None and forms.get(time.index) == "number":
            return f"c{time.index}"
        return seconds_in_text(self.time_form, time_cell_sql(self.selection, self.time_form), self.header.marks)

    def _types(self) -> list[str]:
        """A DuckDB type for every column. Unpicked ones are text and never selected, so never converted."""
        picks = self.selection.picks
        converted = {pick.index for pick in picks if pick.convert != IDENTITY or pick.channel == "engine_hours"}
        exact = converted | {self.selection.time.index}
        return [
            ("DOUBLE" if index in exact else "FLOAT") if self.forms.get(index) == "number" else "VARCHAR"
            for index in range(len(self.header.columns))
        ]

    def relation(self, types: Sequence[str], *, keep_rejects: bool) -> str:
        """The scan as SQL."""
        pads = ", null_padding = true" if self.pads_short_rows else ""
        return relation(self.text, self.header, types, pads + (_KEEP_REJECTS if keep_rejects else ""))

    def every_cell(self, db: Database) -> str:
        """The scan as SQL with every column as text, lines of another width left out."""
        drop_rejects(db)
        return self.relation(["VARCHAR"] * len(self.header.columns), keep_rejects=True)


def relation(text: Text, header: Header, types: Sequence[str], options: str) -> str:
    """A scan of the rows of a text log as SQL, its columns c0, c1 and so on."""
    columns = ", ".join(f"'c{index}': '{kind}'" for index, kind in enumerate(types))
    nulls = ", ".join(literal(token) for token in _null_tokens(header))
    quote = literal('"') if header.quoted else "''"
    return (
        f"read_csv({path_literal(text.path)}, auto_detect = false, header = false, skip = {text.skip}, "
        f"delim = {literal(header.delimiter)}, quote = {quote}, escape = {quote}, "
        f"decimal_separator = {literal(header.marks.decimal)}, compression = 'none', "
        f"columns = {{{columns}}}, nullstr = [{nulls}]{options})"
    )


def every_cell(db: Database, text: Text, header: Header) -> str:
    """A scan as SQL with every column as text, lines of another width left out."""
    drop_rejects(db)
    return relation(text, header, ["VARCHAR"] * len(header.columns), _KEEP_REJECTS)


_KEEP_REJECTS: Final = (
    ", store_rejects = true, rejects_table = 'log_rejects', rejects_scan = 'log_reject_scans'"
    f", rejects_limit = {MOST_REJECTS}"
)


def time_cell_sql(selection: Selection, form: TimeForm) -> str:
    """The text that holds the time: one column, or the date's and the time's where they stand apart."""
    time = selection.time
    if is_apart(selection, form):
        return f"concat(trim(c{time.date_index}), ' ', trim(c{time.index}))"
    return f"c{time.index}"


def is_apart(selection: Selection, form: TimeForm) -> bool:
    """Whether the date stands in a column of its own."""
    return selection.time.date_index is not None and form.kind in {"local", "zoned"} and form.is_apart


def _null_tokens(header: Header) -> list[str]:
    """What stands for 'nothing here' in this log. Each token costs the scan time, so only those its first rows show."""
    seen = {cell.strip() for row in header.first_rows for cell in row}
    return ["", *(token for token in NULL_TOKENS if token and token in seen)]


def forms_of(header: Header, selection: Selection, form: TimeForm) -> dict[int, Form]:
    """Columns whose first cells are all numbers or blank arrive as numbers, the others as text."""
    indexes = {pick.index for pick in selection.picks} | {selection.time.index or 0}
    forms: dict[int, Form] = {index: _form(first_cells(header, index), header.marks) for index in indexes}
    if is_apart(selection, form):
        forms |= {index: "text" for index in (selection.time.index, selection.time.date_index) if index is not None}
    return forms


def first_cells(header: Header, index: int) -> list[str]:
    """The first cells of a column, as written."""
    return [row[index] for row in header.first_rows if index < len(row)]


def _form(cells: Sequence[str], marks: Marks) -> Form:
    is_plain = not marks.thousands and all(is_number(cell, marks) or is_blank(cell) for cell in cells)
    return "number" if is_plain else "text"


def rejects_of(db: Database, text: Text) -> list[Reject]:
    """What the last scan that kept rejects could not take, in the order of the lines."""
    found = rows(
        db, "select distinct line, column_idx, error_type, csv_line from log_rejects order by line, column_idx"
    )
    return [
        Reject(
            line=int(row["line"]) + text.lines_before,
            column=int(row["column_idx"] or 0) - 1,
            kind=str(row["error_type"]),
            text=row["csv_line"] or "",
        )
        for row in found
    ]


def drop_rejects(db: Database) -> None:
    """Forget the rejects of earlier scans."""
    db.execute("drop table if exists log_rejects")
    db.execute("drop table if exists log_reject_scans")
