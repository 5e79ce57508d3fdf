"""Which column is the time, and in what unit."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.channels import time_unit
from pipeline.proposal.lines import SURE_FROM, ColumnProposal
from pipeline.proposal.names import time_likeness
from pipeline.readers.request import Refusal
from pipeline.readers.time_kinds import form_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pipeline.readers.peek import PeekedColumn

_IN_SECONDS = {"s": 1.0, "ms": 0.001, "epoch_s": 1.0, "epoch_ms": 0.001}


def time_column(columns: Sequence[PeekedColumn]) -> ColumnProposal | None:
    """The likeliest time column; None where none is likely enough."""
    scored = [found for place, column in enumerate(columns) if (found := _as_time(column, place)) is not None]
    best = max(scored, key=lambda line: line.confidence, default=None)
    return best if best is not None and best.confidence >= SURE_FROM else None


def seconds_of(column: PeekedColumn | None, unit: str | None) -> NDArray[np.float64] | None:
    """A numeric time column as seconds since its first row, never falling; None where it holds no such numbers."""
    factor = _IN_SECONDS.get(unit or "")
    if column is None or factor is None or not np.isfinite(column.numbers).any():
        return None
    known = np.isfinite(column.numbers)
    rows = np.arange(column.numbers.size, dtype=np.float64)
    filled = np.interp(rows, rows[known], column.numbers[known]) * factor
    never_falling = np.maximum.accumulate(filled)
    return _spread(never_falling - never_falling[0])


def _spread(seconds: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rows that share a stamp, one after another up to the next stamp."""
    stamps, firsts = np.unique(seconds, return_index=True)
    if stamps.size < 2:
        return seconds
    rows = np.arange(seconds.size, dtype=np.float64)
    return np.interp(rows, firsts, stamps)


def _as_time(column: PeekedColumn, place: int) -> ColumnProposal | None:
    unit = _time_unit_of(column)
    if unit is None:
        return None
    is_text = unit in {"iso8601", "clock"}
    likeness = time_likeness(column.column.name)
    rising = 1.0 if is_text else rising_share(column.numbers)
    if rising < 0.95:
        return None
    shape = 1.0 if is_text or column.is_time else 0.6
    # The first column of a log that counts evenly is its time, whatever it is called.
    even = 0.35 if place == 0 and (is_text or _is_even(column.numbers)) else 0.0
    confidence = 0.5 * likeness + 0.4 * shape * rising + max(even, 0.1 / (1 + place))
    reasons = [f"called like a time ({likeness:.0%})"] if likeness > 0.5 else []
    reasons.append("reads as a date or time" if is_text else f"never falls, in {unit}")
    return ColumnProposal("time", column.column.written, unit, min(confidence, 0.99), tuple(reasons))


def _is_even(values: NDArray[np.float64]) -> bool:
    """Whether it rises at nearly every row, mostly by the same step."""
    steps = np.diff(values[np.isfinite(values)])
    if steps.size < 5 or float(np.mean(steps > 0)) < 0.9:
        return False
    return bool(np.percentile(steps, 75) < 1.5 * np.percentile(steps, 25))


def _time_unit_of(column: PeekedColumn) -> str | None:
    """The contract's time unit the column's looks suggest; None where it can be no time."""
    finite = column.numbers[np.isfinite(column.numbers)]
    if finite.size * 2 > column.numbers.size:
        return _numeric_time_unit(finite, column.column.unit)
    if column.is_time:
        return "iso8601"
    try:
        kind = form_of(None, [column.first], "").kind
    except Refusal:
        return None
    return {"clock": "clock", "zoned": "iso8601", "local": "iso8601"}.get(kind)


def _numeric_time_unit(values: NDArray[np.float64], unit: str | None) -> str | None:
    if unit is not None and time_unit(unit) is None:
        return None
    if values[0] > 1e9:
        return "epoch_us" if values[0] > 1e14 else "epoch_ms" if values[0] > 1e11 else "epoch_s"
    steps = np.diff(values)
    steps = steps[steps > 0]
    if not steps.size:
        return None
    # Samples come at 1 to 200 Hz: a usual step of 5 or more cannot be seconds.
    return time_unit(unit or "") or ("ms" if float(np.median(steps)) >= 5 else "s")


def rising_share(values: NDArray[np.float64]) -> float:
    """Share of steps that do not fall."""
    steps = np.diff(values[np.isfinite(values)])
    return float(np.mean(steps >= 0)) if steps.size else 0.0
