"""Looks at the first 8 KB of a text log and says how to read the rest: encoding, dialect, names, units, metadata.

Nothing is guessed from the whole file, and nothing is converted here; the rows are DuckDB's work.
"""

from __future__ import annotations

import codecs
import csv
import gzip
import re
import zlib
from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from pipeline.channels import is_unit
from pipeline.problems import Problem
from pipeline.readers.request import Refusal

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

FIRST_LOOK_BYTES: Final = 8 * 1024
LONG_LOOK_BYTES: Final = 256 * 1024
"""Looked at only where the first 8 KB hold fewer than three rows, as under very long metadata."""

NULL_TOKENS: Final = ("", "-", "--", "---", "NaN", "nan", "NAN", "n/a", "N/A", "NA", "null", "NULL", "None")
_FOLDED_NULLS: Final = frozenset(token.casefold() for token in NULL_TOKENS)

# (delimiter, decimal mark), the likelier first: an equal score goes to the first.
DIALECTS: Final = ((",", "."), (";", "."), ("\t", "."), (";", ","), ("\t", ","), ("|", "."), ("|", ","))

_NUMBER: Final = {
    ".": re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\Z"),
    ",": re.compile(r"[+-]?(\d+,?\d*|,\d+)([eE][+-]?\d+)?\Z"),
}
_TIME_LIKE: Final = re.compile(
    r"(\d{4}[-/]\d{1,2}[-/]\d{1,2}([T ]+\d{1,2}:\d{2}(:\d{2})?([.,]\d+)?)?\s*(Z|UTC|[+-]\d{2}:?\d{2}|[+-]\d{2})?"
    r"|\d{1,3}:\d{2}(:\d{2})?([.,]\d+)?\s*([AaPp][Mm])?)\Z"
)
_COMMENT: Final = re.compile(r"\A\s*(#+|//+|%+|;+)\s?")
_UNIT_IN_BRACKETS: Final = re.compile(
    r"(?P<name>.*?\S)\s*(\[(?P<a>[^\[\]]*)\]|\((?P<b>[^()]*)\)|\{(?P<c>[^{}]*)\})\s*\Z"
)
_ROWS_FOR_DIALECT: Final = 24


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
    decimal: str
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


def read_header(path: Path, file: str) -> Header:
    """The header of the text log at `path`; `file` names it in messages.

    Raises:
        Refusal: the file is empty or a damaged archive, has no names, or names that do not fit its rows.
    """
    seen = _look(path, file, FIRST_LOOK_BYTES)
    if isinstance(seen, str):
        seen = _look(path, file, LONG_LOOK_BYTES)
    if isinstance(seen, str):
        way_out = "Export the log again as CSV with its column names."
        raise Refusal(Problem(file, None, "no_header", "a line of column names above rows of numbers", seen, way_out))
    return seen


def _look(path: Path, file: str, size: int) -> Header | str:
    """The header as far as `size` bytes show it, or what they show instead."""
    raw = first_bytes(path, file, size)
    if not raw.strip(b"\0\r\n\t ") or raw in _BARE_MARKS:
        raise Refusal(Problem(file, None, "empty_file", "a header and rows", "nothing", "Copy the log again."))
    whole = len(raw) < size
    encoding = encoding_of(raw)
    lines = _lines(decode(raw, encoding), whole=whole)
    body = [line for line in lines if line.text.strip()]
    if len(body) < 5 and not whole and size < LONG_LOOK_BYTES:
        return "too little"
    header = _parse(body, file)
    if isinstance(header, str):
        return header
    return replace(header, encoding=encoding, plain=header.plain and encoding == "utf-8" and b"\0" not in raw)


_BARE_MARKS: Final = (codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


def first_bytes(path: Path, file: str, size: int) -> bytes:
    """The first `size` bytes of the log, unpacked.

    Raises:
        Refusal: the archive is damaged.
    """
    try:
        return _unpacked(path, size)
    except (OSError, EOFError, zlib.error) as error:
        raise Refusal(
            Problem(file, None, "damaged_file", "a readable file", str(error) or type(error).__name__,
                    "Copy the log from the logger again.")
        ) from error  # fmt: skip


def _unpacked(path: Path, size: int) -> bytes:
    if path.suffix.lower() == ".gz":
        with gzip.open(path) as packed:
            return packed.read(size)
    if path.suffix.lower() == ".zst":
        import pyarrow as pa  # noqa: PLC0415 - only packed logs need it here

        with pa.OSFile(str(path)) as source, pa.CompressedInputStream(source, "zstd") as stream:
            return bytes(stream.read(size))
    with path.open("rb") as plain:
        return plain.read(size)


def encoding_of(raw: bytes) -> str:
    """'utf-8', 'utf-16', 'utf-16-le', 'utf-16-be' or 'latin-1': by byte order mark, by zero bytes, by what decodes."""
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    sides = (raw[:400:2].count(0), raw[1:400:2].count(0))
    half = min(len(raw), 400) // 2
    if max(sides) > 0.6 * half and min(sides) < 0.2 * half:
        return "utf-16-be" if sides[0] > sides[1] else "utf-16-le"
    try:
        codecs.getincrementaldecoder("utf-8")().decode(raw)
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8"


def decode(raw: bytes, encoding: str) -> str:
    """The text without its byte order mark; a character cut by the end of `raw` is left out."""
    return codecs.getincrementaldecoder(encoding)(errors="replace").decode(raw).removeprefix("\ufeff")


def mended(text: str) -> str:
    """`text` with a twice-encoded character undone ('Â°' → '°'), or unchanged where it was not twice encoded."""
    for encoding in ("latin-1", "cp1252"):
        try:
            return text.encode(encoding).decode("utf-8")
        except (UnicodeEncodeError, UnicodeDecodeError):
            continue
    return text


def column_of(written: str) -> Column:
    """A header cell taken apart: 'Oil Temp [Â°C]' is the name 'Oil Temp' with the unit '°C'; '()' holds no unit."""
    text = " ".join(mended(written).replace("\0", "").split())
    found = _UNIT_IN_BRACKETS.match(text)
    if not found:
        return Column(text, text, None)
    unit = next(part for part in (found["a"], found["b"], found["c"]) if part is not None).strip()
    return Column(text, found["name"], unit or None)


def is_number(cell: str, decimal: str = ".") -> bool:
    """Whether a cell is a number written with this decimal mark."""
    return _NUMBER[decimal].match(cell.strip()) is not None


def is_blank(cell: str) -> bool:
    """Whether a cell says 'nothing here', in one of the ways loggers do."""
    return cell.strip().casefold() in _FOLDED_NULLS


def is_time(cell: str) -> bool:
    """Whether a cell is a date, a date with a time, or a time of day."""
    return _TIME_LIKE.match(cell.strip()) is not None


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
        lines.append(_Line(number, "\n".join(held), joined=len(held) > 1))
        held = []
    return lines


def _cells(line: str, delimiter: str) -> tuple[str, ...]:
    try:
        return tuple(next(csv.reader([line.replace("\r", " ")], delimiter=delimiter), ()))
    except csv.Error:  # a field without end: the line is no table row
        return (line,)


def _parse(body: Sequence[_Line], file: str) -> Header | str:
    """The header of these lines, or why there is none."""
    if not body:
        return "no text"
    delimiter, decimal = _dialect([line.text for line in body])
    rows = [_cells(line.text, delimiter) for line in body]
    first = _first_row(rows, decimal)
    if first is None:
        return "no row of numbers"
    if first == 0:
        return "rows of numbers from the first line on"
    names_at, units = _names_and_units(rows, first)
    if sum(_is_datum(cell, decimal) for cell in rows[names_at]) * 2 > len(rows[names_at]):
        return "a row of numbers in its place"
    columns = _with_units(rows[names_at], units)
    columns = _fitted(columns, rows[first:], file, body[first].number)
    return Header(
        encoding="",
        delimiter=delimiter,
        decimal=decimal,
        # A quotation mark that is never closed is a stray one: taken for a quote it would swallow the rest of the log.
        quoted=any('"' in line.text and not line.joined for line in body[first:]),
        columns=columns,
        metadata=tuple(pair for line in body[:names_at] if (pair := _key_value(line.text, delimiter))),
        first_line=body[first].number,
        first_rows=tuple(rows[first : first + _ROWS_FOR_DIALECT]),
        plain=not any(line.joined for line in body[:first]),
    )


def _dialect(lines: Sequence[str]) -> tuple[str, str]:
    """Delimiter and decimal mark under which most cells of the last rows are numbers, times or blank."""
    return max(DIALECTS, key=lambda dialect: _readability(lines[-_ROWS_FOR_DIALECT:], *dialect))


def _readability(lines: Sequence[str], delimiter: str, decimal: str) -> float:
    if delimiter not in lines[-1]:
        return 0.0
    rows = [_cells(line, delimiter) for line in lines]
    usual = _usual_count(rows)
    alike = [row for row in rows if len(row) == usual]
    cells = [cell for row in alike for cell in row]
    read = sum(is_number(cell, decimal) or is_blank(cell) or is_time(cell) for cell in cells)
    return read / len(cells) * len(alike) / len(rows)


def _usual_count(rows: Sequence[Sequence[str]]) -> int:
    """The number of fields with most cells in the last rows, so that short metadata lines do not outvote the data."""
    counts = Counter(len(row) for row in rows[-_ROWS_FOR_DIALECT:])
    return max(counts, key=lambda count: (counts[count] * count, count))


def _first_row(rows: Sequence[tuple[str, ...]], decimal: str) -> int | None:
    """Index of the first row of data: as many fields as most, and numbers where most rows have numbers."""
    usual = _usual_count(rows)
    latter = rows[-min(_ROWS_FOR_DIALECT, (len(rows) + 1) // 2) :]
    alike = [row for row in latter if len(row) == usual]
    numeric = [
        index
        for index in range(usual)
        if sum(_is_datum(row[index], decimal) for row in alike) * 2 > sum(not is_blank(row[index]) for row in alike)
    ]
    return next((at for at, row in enumerate(rows) if len(row) == usual and _is_data(row, numeric, decimal)), None)


def _is_data(row: Sequence[str], numeric: Sequence[int], decimal: str) -> bool:
    filled = [row[index] for index in numeric if not is_blank(row[index])]
    return bool(filled) and sum(_is_datum(cell, decimal) for cell in filled) * 2 > len(filled)


def _is_datum(cell: str, decimal: str) -> bool:
    return is_number(cell, decimal) or is_time(cell)


def _names_and_units(rows: Sequence[tuple[str, ...]], first: int) -> tuple[int, tuple[str, ...]]:
    """Where the names stand, and the row of units between them and the data (empty where there is none)."""
    above = first - 1
    if above > 0 and _is_units_row(rows[above]) and len(rows[above - 1]) >= len(rows[above]) - 1:
        return above - 1, rows[above]
    return above, ()


def _is_units_row(row: Sequence[str]) -> bool:
    filled = [cell for cell in row if cell.strip()]
    return bool(filled) and sum(is_unit(mended(cell)) for cell in filled) * 2 > len(filled)


def _with_units(names: Sequence[str], units: Sequence[str]) -> tuple[Column, ...]:
    first, *others = names
    columns = [column_of(name) for name in (_COMMENT.sub("", first, count=1), *others)]
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
    usual = _usual_count(rows)
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
    text = mended(_COMMENT.sub("", line, count=1)).strip()
    cells = [cell.strip() for cell in _cells(text.replace("\n", " "), delimiter)]
    if len(cells) > 1 and cells[0] and not re.search(r"[:=]", cells[0]):
        return cells[0], " ".join(cell for cell in cells[1:] if cell)
    found = re.match(r"([^:=]+)[:=]\s*(.*)", " ".join(cell for cell in cells if cell))
    return (found[1].strip(), found[2].strip()) if found else None
