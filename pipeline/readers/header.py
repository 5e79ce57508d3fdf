"""Looks at the first 8 KB of a text log and says how to read the rest: encoding, dialect, names, units, metadata.

Nothing is guessed from the whole file, and nothing is converted here; the rows are DuckDB's work.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from pipeline.channels import is_unit
from pipeline.problems import Problem
from pipeline.readers.cells import Marks, is_blank, is_datum
from pipeline.readers.dialect import ROWS_FOR_DIALECT, cells_of, dialect_of, refuse_doubtful_marks, usual_count
from pipeline.readers.encoding import BARE_MARKS, decode, encoding_of, mended
from pipeline.readers.packed import first_bytes
from pipeline.readers.request import Refusal, refuse_many_columns, second_table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.readers.request import ReadRequest

FIRST_LOOK_BYTES: Final = 8 * 1024
LONG_LOOK_BYTES: Final = 512 * 1024
"""Looked at only where the first 8 KB hold fewer than three rows, as under very long metadata or very many names."""

COMMENT: Final = re.compile(r"\A\s*(#+|//+|%+|;+)\s?")
_UNIT_IN_BRACKETS: Final = re.compile(
    r"(?P<name>.*?\S)\s*(\[(?P<a>[^\[\]]*)\]|\((?P<b>[^()]*)\)|\{(?P<c>[^{}]*)\})\s*\Z"
)


@dataclass(frozen=True)
class Column:
    """A column of the log: its name as written (encoding mended), its bare name and the unit its header gives."""

    written: str
    name: str
    unit: str | None


@dataclass(frozen=True)
class Header:
    """How to read a text log.

    `metadata` are the key-value lines above the names. `first_line` is the number of the first row of data, from 1.
    `first_rows` are the first rows as text. `plain` says that DuckDB may read the file as it lies there.
    """

    encoding: str
    delimiter: str
    marks: Marks
    quoted: bool
    columns: tuple[Column, ...]
    metadata: tuple[tuple[str, str], ...]
    first_line: int
    first_rows: tuple[tuple[str, ...], ...]
    plain: bool


@dataclass(frozen=True)
class _Line:
    number: int
    text: str
    joined: bool = False


def read_header(request: ReadRequest) -> Header:
    """The header of a text log.

    Raises:
        Refusal: the file is empty or a damaged archive, has no names, or names that do not fit its rows.
    """
    seen = _look(request, FIRST_LOOK_BYTES)
    if isinstance(seen, str):
        seen = _look(request, LONG_LOOK_BYTES)
    if isinstance(seen, str):
        expected, way_out = "a line of column names above rows of numbers", "Export the log again with column names."
        raise Refusal(Problem(request.file, None, "no_header", expected, seen, way_out))
    return seen


def _look(request: ReadRequest, size: int) -> Header | str:
    """The header as far as `size` bytes show it, or what they show instead."""
    raw = first_bytes(request, size)
    if not raw.strip(b"\0\r\n\t ") or raw in BARE_MARKS:
        way_out = "Copy the log again."
        raise Refusal(Problem(request.file, None, "empty_file", "a header and rows", "nothing", way_out))
    whole = len(raw) < size
    encoding = encoding_of(raw)
    lines = _lines(decode(raw, encoding), whole=whole)
    body = [line for line in lines if line.text.strip()]
    if len(body) < 5 and not whole and size < LONG_LOOK_BYTES:
        return "too little"
    header = _parse(body, request)
    if isinstance(header, str):
        return header
    return replace(header, encoding=encoding, plain=header.plain and encoding == "utf-8" and b"\0" not in raw)


def column_of(written: str) -> Column:
    """A header cell taken apart: 'Oil Temp [Â°C]' is the name 'Oil Temp' with the unit '°C'; '()' holds no unit."""
    text = " ".join(mended(written).replace("\0", "").split())
    found = _UNIT_IN_BRACKETS.match(text)
    if not found:
        return Column(text, text, None)
    unit = next(part for part in (found["a"], found["b"], found["c"]) if part is not None).strip()
    return Column(text, found["name"], unit or None)


def _lines(text: str, *, whole: bool) -> list[_Line]:
    """Logical lines: a quoted line break inside a header cell joins the lines; a last line that is cut is left out."""
    parts = re.split(r"\r\n|\n|\r", text)
    if not whole and len(parts) > 1:
        parts.pop()
    lines: list[_Line] = []
    held: list[str] = []
    for number, part in enumerate(parts, start=1):
        held.append(part)
        if "\n".join(held).count('"') % 2 and len(held) < 4:
            continue
        lines.append(_Line(number - len(held) + 1, "\n".join(held), joined=len(held) > 1))
        held = []
    return lines


def _parse(body: Sequence[_Line], request: ReadRequest) -> Header | str:
    """The header of these lines, or why there is none."""
    if not body:
        return "lines longer than any table's"
    delimiter, marks = dialect_of([line.text for line in body])
    rows = [cells_of(line.text, delimiter) for line in body]
    refuse_many_columns(max(len(row) for row in rows), request)
    first = _first_row(rows, marks)
    if first is None:
        return "no row of numbers"
    if first == 0:
        return "rows of numbers from the first line on"
    names_at, units = _names_and_units(rows, first)
    if sum(is_datum(cell, marks) for cell in rows[names_at]) * 2 > len(rows[names_at]):
        return "a row of numbers in its place"
    _refuse_table_above(rows[:names_at], marks, body[names_at].number, rows[names_at], request)
    line = body[first].number
    columns = _fitted(_with_units(rows[names_at], units), rows[first:], request.file, line)
    refuse_doubtful_marks(rows[first:], marks, request.file, line)
    return Header(
        encoding="",
        delimiter=delimiter,
        marks=marks,
        quoted=any(_is_quoted(line, delimiter, len(columns)) for line in body[first:]),
        columns=columns,
        metadata=tuple(pair for line in body[:names_at] if (pair := _key_value(line.text, delimiter))),
        first_line=line,
        first_rows=tuple(rows[first : first + ROWS_FOR_DIALECT]),
        plain=not any(line.joined for line in body[:first]),
    )


ROWS_OF_A_TABLE: Final = 5
"""So many rows of numbers above the names are no metadata."""


def _refuse_table_above(
    above: Sequence[tuple[str, ...]], marks: Marks, line: int, names: Sequence[str], request: ReadRequest
) -> None:
    """Refuse a file whose first rows belong to another table than its last ones.

    Raises:
        Refusal: rows of numbers stand above the names.
    """
    data = sum(len(row) > 1 and all(is_datum(cell, marks) or is_blank(cell) for cell in row) for row in above)
    if data >= ROWS_OF_A_TABLE:
        raise Refusal(second_table(request, line, ", ".join(names[:6]), "Put each table into a file of its own."))


def _is_quoted(line: _Line, delimiter: str, names: int) -> bool:
    """Whether a row's quotation marks enclose whole fields, over line ends too.

    One that is never closed is a stray one: taken for a quote it would swallow the rest of the log.
    """
    if '"' not in line.text:
        return False
    if not line.joined:
        return True
    try:
        return len(next(csv.reader(line.text.splitlines(keepends=True), delimiter=delimiter, strict=True))) == names
    except csv.Error:
        return False


def _first_row(rows: Sequence[tuple[str, ...]], marks: Marks) -> int | None:
    """Index of the first row of data: as many fields as most or as the longest, and numbers where most rows have them.

    Shorter rows of data before it, as of a logger that leaves trailing blanks out, count too.
    """
    usual = usual_count(rows)
    latter = rows[-min(ROWS_FOR_DIALECT, (len(rows) + 1) // 2) :]
    widths = {usual, max(len(row) for row in latter)}
    alike = [row for row in latter if len(row) == usual]
    numeric = [
        index
        for index in range(usual)
        if sum(is_datum(row[index], marks) for row in alike) * 2 > sum(not is_blank(row[index]) for row in alike)
    ]
    first = next((at for at, row in enumerate(rows) if len(row) in widths and _is_data(row, numeric, marks)), None)
    while first and 1 < len(rows[first - 1]) < max(widths) and all(is_datum(cell, marks) for cell in rows[first - 1]):
        first -= 1
    return first


def _is_data(row: Sequence[str], numeric: Sequence[int], marks: Marks) -> bool:
    filled = [row[index] for index in numeric if not is_blank(row[index])]
    return bool(filled) and sum(is_datum(cell, marks) for cell in filled) * 2 > len(filled)


def _names_and_units(rows: Sequence[tuple[str, ...]], first: int) -> tuple[int, tuple[str, ...]]:
    """Where the names stand, and the row of units between them and the data (empty where there is none)."""
    above = first - 1
    while above > 0 and not any(cell.strip() for cell in rows[above]):
        above -= 1  # a row of units in which no channel has any
    if above > 0 and _is_units_row(rows[above]) and len(rows[above - 1]) >= len(rows[above]) - 1:
        return above - 1, rows[above]
    return above, ()


def _is_units_row(row: Sequence[str]) -> bool:
    filled = [cell for cell in row if cell.strip()]
    return bool(filled) and sum(is_unit(mended(cell)) for cell in filled) * 2 > len(filled)


def _with_units(names: Sequence[str], units: Sequence[str]) -> tuple[Column, ...]:
    first, *others = names
    columns = [column_of(name) for name in (COMMENT.sub("", first, count=1), *others)]
    given = [mended(unit).strip().strip("[](){}").strip() for unit in units] + [""] * len(columns)
    return tuple(
        replace(column, unit=column.unit or unit or None) for column, unit in zip(columns, given, strict=False)
    )


def _fitted(columns: tuple[Column, ...], rows: Sequence[tuple[str, ...]], file: str, line: int) -> tuple[Column, ...]:
    """The columns without the empty ones a trailing delimiter makes.

    Raises:
        Refusal: the rows have another number of fields than the header has names. Which column is missing cannot be
            known, and a shifted column would be believed.
    """
    names = len(columns)
    while names and not columns[names - 1].written:
        names -= 1
    if max(len(row) for row in rows) == names:
        return columns[:names]  # where shorter rows lack their last fields is for those who see all rows to prove
    usual = usual_count(rows)
    alike = [row for row in rows if len(row) == usual]
    fields = usual - 1 if usual > names and all(not row[-1].strip() for row in alike) else usual
    if names <= fields <= len(columns) or fields == names:
        return columns[:names] if fields == names else columns[:fields]
    code = "fields_short" if fields < names else "fields_long"
    raise Refusal(
        Problem(file, line, code, f"{names} fields a row, one for each name of the header", f"{fields} fields",
                "Which columns are meant cannot be known: export the log again with a header of its own.")
    )  # fmt: skip


def _key_value(line: str, delimiter: str) -> tuple[str, str] | None:
    """A metadata line as key and value: 'Start: 2026-06-14 07:10', 'Date;14.06.2026', '# rate = 20'."""
    text = mended(COMMENT.sub("", line, count=1)).strip()
    cells = [cell.strip() for cell in cells_of(text.replace("\n", " "), delimiter)]
    if len(cells) > 1 and cells[0] and not re.search(r"[:=]", cells[0]):
        return cells[0], " ".join(cell for cell in cells[1:] if cell)
    found = re.match(r"([^:=]+)[:=]\s*(.*)", " ".join(cell for cell in cells if cell))
    return (found[1].strip(), found[2].strip()) if found else None
