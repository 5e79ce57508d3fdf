"""What a text log lost on its way in, in words: ragged lines, a cut last row, cells that hold no number."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from pipeline.database import rows
from pipeline.problems import Problem
from pipeline.readers.cells import is_blank
from pipeline.readers.csv_scan import MOST_REJECTS, first_cells
from pipeline.readers.dialect import cells_of
from pipeline.readers.plain_copy import tail_of
from pipeline.readers.request import Refusal, second_table
from pipeline.readers.rows import LOG_ROWS, Losses
from pipeline.readers.stray_rows import NO_ROWS, LineKinds

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pipeline.database import Database
    from pipeline.readers.csv_scan import CsvScan, Reject
    from pipeline.readers.request import ReadRequest

FEW_RAGGED_ROWS: Final = 3
FEW_RAGGED_SHARE: Final = 0.01
"""Up to 3 rows or 1 % may have another number of fields; they are left out and named. More refuse the log."""


@dataclass(frozen=True)
class Ragged:
    """Lines with another number of fields than the header, in their order: rows in the log, and its cut last one."""

    rows: tuple[Reject, ...]
    cut: tuple[Reject, ...]

    def are_few(self, kept: int) -> bool:
        """Whether a log that kept so many rows may lose them."""
        return len(self.rows) <= max(FEW_RAGGED_ROWS, FEW_RAGGED_SHARE * (kept + len(self.rows)))


def ragged_of(rejects: Sequence[Reject], scan: CsvScan) -> Ragged:
    """The ragged lines that were meant as rows."""
    by_line = {reject.line: reject for reject in reversed(rejects) if reject.is_ragged}
    kinds = LineKinds(scan.header)
    ragged = [by_line[line] for line in sorted(by_line) if kinds.of_line(by_line[line].text) not in NO_ROWS]
    cut = [reject for reject in ragged[-1:] if _is_cut(reject, scan)]
    return Ragged(tuple(ragged[: len(ragged) - len(cut)]), tuple(cut))


def _is_cut(reject: Reject, scan: CsvScan) -> bool:
    """Whether a line is the file's last and breaks off."""
    text = reject.text.rstrip("\r\n\0 ").encode()
    return reject.kind != "TOO MANY COLUMNS" and bool(text) and tail_of(scan.text.path).endswith(text[-1000:])


def refuse_ragged(ragged: Ragged, kept: int, scan: CsvScan, request: ReadRequest) -> None:
    """Refuse a log with more than a few ragged rows.

    Raises:
        Refusal: it has. Where another table's names stand before them, they are that table's.
    """
    if ragged.are_few(kept):
        return
    first = ragged.rows[0]
    if LineKinds(scan.header).of_line(first.text) == "other names":
        told = ", ".join(cells_of(first.text, scan.header.delimiter)[:6])
        raise Refusal(second_table(request, first.line, told, "Put each table into a file of its own."))
    many = f"{len(ragged.rows)}" if len(ragged.rows) < MOST_REJECTS else f"more than {MOST_REJECTS}"
    raise Refusal(
        Problem(request.file, first.line, "ragged_rows", f"{len(scan.header.columns)} fields a row",
                f"{many} of {kept + len(ragged.rows)} rows with another number",
                "Which columns are meant cannot be known: export the log again.")
    )  # fmt: skip


def losses_of(
    db: Database, ragged: Ragged, unreadable: Sequence[Reject], scan: CsvScan, request: ReadRequest
) -> Losses:
    """What was lost, in words.

    Raises:
        Refusal: more than a few rows are ragged.
    """
    kept = int(rows(db, f"select count(*) as n from {LOG_ROWS}")[0]["n"])
    refuse_ragged(ragged, kept, scan, request)
    problems = [_ragged_problem("ragged_rows", reject, scan, request) for reject in ragged.rows[:FEW_RAGGED_ROWS]]
    problems += [_ragged_problem("cut_last_row", reject, scan, request) for reject in ragged.cut]
    problems += _unreadable_problems(unreadable, scan, request)
    return Losses(len(ragged.rows) + len(ragged.cut), tuple(problems))


def _ragged_problem(code: str, reject: Reject, scan: CsvScan, request: ReadRequest) -> Problem:
    fields = reject.text.count(scan.header.delimiter) + 1
    got = f"{fields} fields" if reject.kind != "UNQUOTED VALUE" else "an open quotation mark"
    expected = f"{len(scan.header.columns)} fields"
    return Problem(request.file, reject.line, code, expected, got, "The row was left out.")


def _unreadable_problems(unreadable: Sequence[Reject], scan: CsvScan, request: ReadRequest) -> list[Problem]:
    """One remark a column whose cells hold no number."""
    by_column: defaultdict[int, list[Reject]] = defaultdict(list)
    for reject in unreadable:
        by_column[reject.column].append(reject)
    picked = {pick.index for pick in scan.selection.picks}
    return [
        Problem(request.file, held[0].line, "unreadable_cells", f"numbers in {_written(scan, index)}",
                f"{len(held)} cells without", "They were taken as blank.")
        for index, held in sorted(by_column.items())
        if index in picked
    ]  # fmt: skip


def silent_columns(counts: Mapping[str, int], scan: CsvScan, request: ReadRequest) -> list[Problem]:
    """A remark on each column of texts of which not one could be read; `counts` has the values of each such channel."""
    silent = {pick.index: pick.channel for pick in scan.selection.picks if counts.get(pick.name) == 0}
    way_out = "The column was taken as blank; `values` in the channel map says what words mean."
    return [
        Problem(request.file, None, "unreadable_cells", f"{channel} in {_written(scan, index)}", cell, way_out)
        for index, channel in silent.items()
        if (cell := next((each for each in first_cells(scan.header, index) if not is_blank(each)), ""))
    ]


def _written(scan: CsvScan, index: int) -> str:
    return repr(scan.header.columns[index].written)
