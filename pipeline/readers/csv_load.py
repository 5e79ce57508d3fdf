"""A text log into `log_rows`: at once where it is sound, else with an account of what is wrong with its lines."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.database import DatabaseError, OutOfMemory, rows
from pipeline.readers.cells import THOUSANDS, Marks, is_number
from pipeline.readers.csv_losses import Ragged, losses_of, ragged_of, silent_columns
from pipeline.readers.csv_scan import rejects_of
from pipeline.readers.dialect import cells_of
from pipeline.readers.plain_copy import ends_with_line_end
from pipeline.readers.rows import LOG_ROWS, Losses, quoted
from pipeline.readers.short_rows import are_proven
from pipeline.readers.stray_rows import LineKinds, take_out_strays

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.database import Database
    from pipeline.readers.csv_scan import CsvScan, Reject
    from pipeline.readers.request import ReadRequest


def load(db: Database, scan: CsvScan, request: ReadRequest) -> Losses:
    """Make `log_rows`, and say what of the log did not come in.

    Raises:
        Refusal: more is lost than may be, or the file holds two tables.
        DatabaseError: DuckDB cannot read it as it lies.
    """
    ragged, losses = Ragged((), ()), Losses()
    try:
        scan.load(db)
    except OutOfMemory:
        raise
    except DatabaseError:
        # Keeping account of bad rows costs a sound log time, so it is kept only once there is one.
        scan, ragged, unreadable = _load_damaged(db, scan)
        losses = losses_of(db, ragged, unreadable, scan, request)
    lines = [reject.line for reject in (*ragged.rows, *ragged.cut)]
    counts = _counted(db, scan)
    strays = take_out_strays(db, scan, request, lines, (counts["kept"], counts["timed"]))
    problems = (*losses.problems, *strays.problems, *silent_columns(counts, scan, request))
    return Losses(losses.rows + strays.rows, problems)


def _counted(db: Database, scan: CsvScan) -> dict[str, int]:
    """The rows, those with a time, and by its name in `log_rows` the values of each channel that came as text."""
    names = [quoted(pick.name) for pick in scan.selection.picks if scan.forms[pick.index] == "text"]
    values = "".join(f", count({name}) as {name}" for name in names)
    return rows(db, f"select count(*) as kept, count(time_s) as timed{values} from {LOG_ROWS}")[0]


def _load_damaged(db: Database, scan: CsvScan) -> tuple[CsvScan, Ragged, list[Reject]]:
    """Load what can be; the scan that was used at last, the ragged lines, and the cells that hold no number."""
    rejects = _loaded(db, scan)
    ragged_lines = {reject.line for reject in rejects if reject.is_ragged}
    unreadable = [reject for reject in rejects if reject.line not in ragged_lines]
    if unreadable:
        # A typed scan drops the whole row for one bad cell; reading text costs little more and loses only the cell.
        scan = _with_thousands(scan, unreadable).as_text()
        rejects = _loaded(db, scan)
    ragged = ragged_of(rejects, scan)
    if not scan.header.quoted and any('"' in reject.text for reject in ragged.rows):
        scan, ragged = _with_quotes(db, scan, ragged)
    if ragged.rows and not ragged.are_few(_kept(db)) and are_proven(db, scan, ragged.rows):
        scan, ragged = _padded(db, scan, ragged)
    return scan, ragged, _still_unreadable(unreadable, scan)


def _loaded(db: Database, scan: CsvScan) -> list[Reject]:
    scan.load(db, keep_rejects=True)
    return rejects_of(db, scan.text)


def _kept(db: Database) -> int:
    return int(rows(db, f"select count(*) as n from {LOG_ROWS}")[0]["n"])


def _with_quotes(db: Database, scan: CsvScan, ragged: Ragged) -> tuple[CsvScan, Ragged]:
    """The log read with quoted fields, of which its first rows showed none, if fewer lines are ragged then."""
    before = _kept(db)
    other = replace(scan, header=replace(scan.header, quoted=True)).as_text()
    found = ragged_of(_loaded(db, other), other)
    if len(found.rows) < len(ragged.rows) and _kept(db) > before:
        return other, found
    return scan, ragged_of(_loaded(db, scan), scan)


def _padded(db: Database, scan: CsvScan, ragged: Ragged) -> tuple[CsvScan, Ragged]:
    """The log with its short rows; but not a last one without its line end, which may have been cut within a number."""
    padded = replace(scan, pads_short_rows=True)
    _loaded(db, padded)
    if ragged.cut and ends_with_line_end(scan.text.path):
        return padded, Ragged((), ())
    if ragged.cut:
        db.execute(f"delete from {LOG_ROWS} where rowid = (select max(rowid) from {LOG_ROWS})")
    return padded, Ragged((), ragged.cut)


def _with_thousands(scan: CsvScan, unreadable: Sequence[Reject]) -> CsvScan:
    """The scan with the mark between thousands that the first rows had no number large enough to show."""
    marks, delimiter = scan.header.marks, scan.header.delimiter
    if marks.thousands:
        return scan
    cells = [row[each.column] for each in unreadable[:1000] if each.column < len(row := cells_of(each.text, delimiter))]
    shows_decimals = any(marks.decimal in cell for row in scan.header.first_rows for cell in row)
    for thousands in THOUSANDS[marks.decimal]:
        grouped = Marks(marks.decimal, thousands)
        read = [cell for cell in cells if is_number(cell, grouped)]
        if any(shows_decimals or marks.decimal in cell for cell in read):
            return scan.with_marks(grouped)
    return scan


def _still_unreadable(unreadable: Sequence[Reject], scan: CsvScan) -> list[Reject]:
    """Of the cells that were no plain numbers, those of real rows that no other reading made one."""
    kinds = LineKinds(scan.header)
    marks, delimiter = scan.header.marks, scan.header.delimiter
    held = []
    for reject in unreadable:
        cells = cells_of(reject.text, delimiter)
        is_read = reject.column < len(cells) and is_number(cells[reject.column], marks)
        if not is_read and kinds.of(cells) == "row":
            held.append(reject)
    return held
