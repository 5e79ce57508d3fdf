"""Lines among the rows that are none: comments, names that stand there again, blank rows, another table's names."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from pipeline.channels import is_unit
from pipeline.problems import Problem
from pipeline.readers.cells import is_blank, is_datum
from pipeline.readers.dialect import cells_of
from pipeline.readers.encoding import mended
from pipeline.readers.header import COMMENT
from pipeline.readers.matching import folded
from pipeline.readers.request import Refusal, second_table
from pipeline.readers.rows import LOG_ROWS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.database import Database
    from pipeline.readers.csv_scan import CsvScan
    from pipeline.readers.header import Header
    from pipeline.readers.request import ReadRequest

Stray = Literal["comment", "blank", "names", "units", "other names", "row"]

MOST_STRAYS: Final = 10_000
"""Rows without a time that are looked at; a log with more loses too many rows in any case."""


@dataclass(frozen=True)
class Strays:
    """What was said of lines that are no rows, and how many rows of another table were cut off."""

    rows: int = 0
    problems: tuple[Problem, ...] = ()


class LineKinds:
    """Tells what a line is that does not read as a row of a log."""

    def __init__(self, header: Header) -> None:
        self._header = header
        self._names = [folded(column.written) for column in header.columns]

    def of(self, cells: Sequence[str]) -> Stray:
        """The kind of a line with these cells."""
        filled = [cell for cell in cells if cell.strip()]
        if not filled:
            return "blank"
        if COMMENT.match(filled[0]):
            return "comment"
        if len(filled) > 1 and all(not is_datum(cell, self._header.marks) for cell in filled):
            return self._kind_of_words(cells, filled)
        return "row"

    def of_line(self, text: str) -> Stray:
        """The kind of a line as it stands in the file."""
        return self.of(cells_of(text, self._header.delimiter))

    def _kind_of_words(self, cells: Sequence[str], filled: Sequence[str]) -> Stray:
        if [folded(cell) for cell in cells[: len(self._names)]] == self._names[: len(cells)]:
            return "names"
        if all(is_unit(mended(cell)) for cell in filled):
            return "units"
        has_words = all(any(letter.isalpha() for letter in cell) and not is_blank(cell) for cell in filled)
        is_names = has_words and len(set(filled)) == len(filled)
        return "other names" if is_names else "row"


NO_ROWS: Final = frozenset({"comment", "blank", "names", "units"})
"""Kinds of lines that are passed over without a loss."""


def take_out_strays(
    db: Database, scan: CsvScan, request: ReadRequest, ragged_lines: Sequence[int], counts: tuple[int, int]
) -> Strays:
    """Take lines that are no rows out of `log_rows`; rows whose time cannot be read stay there.

    `counts` are the rows in it, and those with a time.

    Raises:
        Refusal: the names of another table stand among the rows, and what follows is more than a tail.
    """
    kept, timed = counts
    if timed == 0 or not 0 < kept - timed <= MOST_STRAYS:
        return Strays()
    found = _timeless(db, scan)
    told = LineKinds(scan.header)
    kinds = {at: told.of(cells) for at, cells in found.items()}
    foreign = [at for at, kind in kinds.items() if kind == "other names"]
    gone = [at for at, kind in kinds.items() if kind in NO_ROWS]
    problems = _again(gone, kinds, scan, request, ragged_lines)
    if foreign:
        problems.append(_second_table(foreign[0], kept, found[foreign[0]], scan, request, ragged_lines))
        gone = [*(at for at in gone if at < foreign[0]), foreign[0]]
        db.execute(f"delete from {LOG_ROWS} where rowid > ?", [foreign[0]])
    if gone:
        db.execute(f"delete from {LOG_ROWS} where rowid in (select unnest(?))", [gone])
    cut = kept - foreign[0] - 1 if foreign else 0
    return Strays(cut, tuple(problems))


def _timeless(db: Database, scan: CsvScan) -> dict[int, list[str]]:
    """Place among the rows (from 0) → its cells, for rows without a time."""
    names = ", ".join(f"c{index}" for index in range(len(scan.header.columns)))
    forms = scan.as_text().forms
    found = db.execute(
        f"select place - 1, {names} from (select row_number() over () as place, {scan.as_text().time_sql(forms)} "
        f"as seconds, {names} from {scan.every_cell(db)}) where seconds is null"
    ).fetchall()
    return {int(place): [cell or "" for cell in cells] for place, *cells in found}


def line_of(place: int, scan: CsvScan, ragged_lines: Sequence[int]) -> int:
    """The line of the row at `place`, counted from 0 among the rows that came in."""
    line = scan.header.first_line + place
    for ragged in ragged_lines:
        if ragged <= line:
            line += 1
    return line


def _again(
    gone: Sequence[int], kinds: dict[int, Stray], scan: CsvScan, request: ReadRequest, ragged_lines: Sequence[int]
) -> list[Problem]:
    """A remark on names that stand in the middle of the log."""
    names = [at for at in gone if kinds[at] == "names"]
    if not names:
        return []
    got = f"{len(names)} lines of names among the rows"
    way_out = "They were passed over; the logger seems to have started anew there."
    line = line_of(names[0], scan, ragged_lines)
    return [Problem(request.file, line, "repeated_header", "names once", got, way_out)]


TAIL_SHARE: Final = 0.05
TAIL_ROWS: Final = 3


def _second_table(
    at: int, kept: int, cells: Sequence[str], scan: CsvScan, request: ReadRequest, ragged_lines: Sequence[int]
) -> Problem:
    """The remark on a short tail that belongs to another table.

    Raises:
        Refusal: it is no short tail.
    """
    after = kept - at - 1
    told = ", ".join(cells[:6])
    line = line_of(at, scan, ragged_lines)
    if after > max(TAIL_ROWS, TAIL_SHARE * kept):
        raise Refusal(second_table(request, line, told, "Put each table into a file of its own."))
    return second_table(request, line, told, f"The log was cut there: {after} rows were left out.")
