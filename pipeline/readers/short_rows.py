"""Rows that lack their last fields: taken as blank only where the columns prove that nothing was shifted.

A logger that leaves out trailing blanks never ends a row with a blank. The last cell of a short row then belongs to the
column at its place, or, if a field was lost further left, to one further right. It is proven where it fits its own
column and none of those after it, each as wide as the full rows show it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from pipeline.database import rows
from pipeline.readers.cells import is_number, number_of
from pipeline.readers.dialect import cells_of
from pipeline.readers.time_kinds import number_in_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.database import Database
    from pipeline.readers.cells import Marks
    from pipeline.readers.csv_scan import CsvScan, Reject

_MOST_TEXTS: Final = 12
FULL_ROWS: Final = 3
"""Fewer full rows tell too little of what a column holds."""


@dataclass(frozen=True)
class _Held:
    """What the full rows hold in a column: its numbers from low to high, or a few texts."""

    low: float | None
    high: float | None
    texts: frozenset[str]

    def fits(self, cell: str, marks: Marks) -> bool:
        """Whether a cell could stand in the column; up to the width of what was seen beyond it."""
        if self.low is None or self.high is None or not is_number(cell, marks):
            return cell.strip() in self.texts
        margin = self.high - self.low
        return self.low - margin <= number_of(cell, marks) <= self.high + margin


def are_proven(db: Database, scan: CsvScan, short: Sequence[Reject]) -> bool:
    """Whether short rows lack nothing but trailing blanks."""
    held = _held(db, scan)
    return bool(held) and all(_is_proven(reject, held, scan) for reject in short)


def _is_proven(reject: Reject, held: Sequence[_Held], scan: CsvScan) -> bool:
    cells = cells_of(reject.text, scan.header.delimiter)
    if reject.kind != "MISSING COLUMNS" or not 1 < len(cells) < len(held) or not cells[-1].strip():
        return False
    marks, last = scan.header.marks, len(cells) - 1
    return held[last].fits(cells[last], marks) and not any(
        column.fits(cells[last], marks) for column in held[last + 1 :]
    )


def _held(db: Database, scan: CsvScan) -> list[_Held]:
    """What each column holds in the full rows; empty where they are few, or where one of them ends with a blank."""
    last = len(scan.header.columns) - 1
    wanted = ", ".join(
        f"min({number}) as low{at}, max({number}) as high{at}, "
        f"list(distinct c{at}) filter (where {number} is null and c{at} is not null) as texts{at}"
        for at in range(last + 1)
        for number in [number_in_text(f"c{at}", scan.header.marks)]
    )
    (found,) = rows(db, f"select count(*) as n, count(c{last}) as ends, {wanted} from {scan.every_cell(db)}")
    if found["n"] < FULL_ROWS or found["ends"] < found["n"]:
        return []
    return [
        _Held(found[f"low{at}"], found[f"high{at}"], frozenset((found[f"texts{at}"] or [])[:_MOST_TEXTS]))
        for at in range(last + 1)
    ]
