"""Which delimiter and which marks a text log is written with: those under which its rows make most sense."""

from __future__ import annotations

import csv
import re
from collections import Counter
from typing import TYPE_CHECKING, Final

from pipeline.problems import Problem
from pipeline.readers.cells import THOUSANDS, Marks, is_blank, is_number, is_time
from pipeline.readers.request import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

# The likelier first: an equal score goes to the first.
DIALECTS: Final = tuple(
    (delimiter, Marks(decimal))
    for delimiter, decimal in ((",", "."), (";", "."), ("\t", "."), (";", ","), ("\t", ","), ("|", "."), ("|", ","))
)
GROUPED_DIALECTS: Final = tuple(
    (delimiter, Marks(marks.decimal, thousands))
    for delimiter, marks in DIALECTS
    for thousands in THOUSANDS[marks.decimal]
)
"""Tried only where the plain ones leave something that looks like a number with marks between its thousands."""

ROWS_FOR_DIALECT: Final = 24

_LOOKS_GROUPED: Final = re.compile(r"\d[ \u00a0\u2009\u202f'\u2019.,]\d{3}(?!\d)")
_COULD_BE_THOUSANDS: Final = re.compile(r"[+-]?[1-9]\d{0,2}(,\d{3})\Z", re.ASCII)


def cells_of(line: str, delimiter: str) -> tuple[str, ...]:
    """The fields of a line."""
    try:
        return tuple(next(csv.reader([line.replace("\r", " ")], delimiter=delimiter), ()))
    except csv.Error:  # a field without end: the line is no table row
        return (line,)


def usual_count(rows: Sequence[Sequence[str]]) -> int:
    """The number of fields with most cells in the last rows, so that short metadata lines do not outvote the data."""
    counts = Counter(len(row) for row in rows[-ROWS_FOR_DIALECT:])
    return max(counts, key=lambda count: (counts[count] * count, count))


def dialect_of(lines: Sequence[str]) -> tuple[str, Marks]:
    """Delimiter and marks under which most cells of the last rows are numbers, times or blank."""
    last = lines[-ROWS_FOR_DIALECT:]
    best, delimiter, marks = _best(last, DIALECTS)
    if best < 1.0 and any(_LOOKS_GROUPED.search(line) for line in last):
        grouped = _best(last, GROUPED_DIALECTS)
        if grouped[0] > best:
            return grouped[1:]
    return delimiter, marks


def _best(lines: Sequence[str], dialects: Iterable[tuple[str, Marks]]) -> tuple[float, str, Marks]:
    scored = ((_readability(lines, *dialect), *dialect) for dialect in dialects)
    return max(scored, key=lambda found: found[0])


def _readability(lines: Sequence[str], delimiter: str, marks: Marks) -> float:
    if delimiter not in lines[-1]:
        return 0.0
    rows = [cells_of(line, delimiter) for line in lines]
    usual = usual_count(rows)
    alike = [row for row in rows if len(row) == usual]
    cells = [cell for row in alike for cell in row]
    read = sum(is_number(cell, marks) or is_blank(cell) or is_time(cell) for cell in cells)
    return read / len(cells) * len(alike) / len(rows)


def refuse_doubtful_marks(rows: Iterable[Sequence[str]], marks: Marks, file: str, line: int) -> None:
    """Refuse a log in which every comma could be a decimal mark as well as one between thousands.

    Raises:
        Refusal: '1,234' is one and a bit, or one thousand two hundred and thirty-four.
    """
    if marks != Marks(","):
        return
    written = [cell.strip() for row in rows for cell in row if "," in cell and is_number(cell, marks)]
    if not written or not all(_COULD_BE_THOUSANDS.match(cell) for cell in written):
        return
    raise Refusal(
        Problem(file, line, "doubtful_numbers", "numbers that can be read in one way only", written[0],
                "Is that a decimal comma or a mark between thousands? Export the log without marks between thousands, "
                "or with another number of decimals than three.")
    )  # fmt: skip
