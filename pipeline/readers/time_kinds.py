"""Which kind of time a column holds, by its unit and its first cells, and its cells as SQL in seconds."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from pipeline.problems import Problem
from pipeline.readers.cells import CLOCK, DAY, OFFSET, PLAIN, Marks, is_number, number_of
from pipeline.readers.request import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

Kind = Literal["elapsed", "epoch", "zoned", "local", "clock"]
"""elapsed: seconds since the start; epoch: seconds since 1970 UTC; zoned: text with an offset; local: a date and time
in the boat's zone; clock: time of day."""

Order = Literal["year first", "day first", "month first", "month as word", "packed"]
"""How a date is written: 2026-06-14, 14.06.2026, 06/14/2026, 14 Jun 2026, 20260614T071000."""

EPOCH_FROM_S: Final = 1e9
"""Seconds above this are seconds since 1970 (the contract's rule); as elapsed time they would be 31 years."""

FACTORS_S: Final = {
    "s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0,
    "epoch_s": 1.0, "epoch_ms": 1e-3, "epoch_us": 1e-6,
}  # fmt: skip
"""Seconds in one of a numeric time unit."""

_EPOCH_FACTORS: Final = ((1e10, 1.0), (1e13, 1e-3), (1e16, 1e-6), (1e19, 1e-9))
"""Below each bound, seconds in one: from 1e9 on, seconds, ms, µs and ns since 1970 have no number in common between
2001 and 2286, so a column that names no unit is told apart by its size."""


@dataclass(frozen=True)
class TimeForm:
    """What a time column holds: kind, seconds in one (numbers), how a date is written (texts; None is undecided).

    `is_iso` says that DuckDB reads the cells as they are; `is_apart` that the date stands in a column of its own.
    """

    kind: Kind
    factor: float = 1.0
    order: Order | None = "year first"
    is_iso: bool = True
    is_apart: bool = False


_DAY: Final = re.compile(DAY, re.ASCII)
_CLOCK: Final = re.compile(rf"{CLOCK}\Z", re.ASCII)
_OFFSET: Final = re.compile(rf"\d{{1,2}}:\d{{2}}.*{OFFSET}\Z", re.IGNORECASE | re.ASCII)
_HALF: Final = re.compile(r"[AaPp]\.?[Mm]\.?\s*\Z")
_ISO_DAY: Final = re.compile(r"\d{4}[-/]\d{1,2}[-/]\d{1,2}", re.ASCII)
_PACKED: Final = re.compile(r"\d{8}[T ]\d{6}", re.ASCII)
_TWO_NUMBERS: Final = re.compile(r"(\d{1,2})([-/.])(\d{1,2})[-/.]\d{4}", re.ASCII)


def form_of(unit: str | None, first_cells: Iterable[str], file: str, marks: Marks = PLAIN) -> TimeForm:
    """The form of a text time column with this unit (None: by its looks), judged by its first filled cells.

    Raises:
        Refusal: the first cell is no time of that unit.
    """
    cells = [cell.strip() for cell in first_cells if cell.strip()]
    first = cells[0] if cells else ""
    if unit in FACTORS_S or (unit is None and _is_a_number(first, marks)):
        return _numeric_form(unit, first, file, marks)
    if unit == "clock" or (unit is None and _CLOCK.match(first)):
        _expect(_CLOCK.match(first) is not None, "a time of day such as 07:10:00.050", first, file)
        return TimeForm("clock", is_iso=_HALF.search(first) is None)
    is_date = _DAY.match(first) is not None or _PACKED.match(first) is not None
    _expect(is_date, "an ISO 8601 time such as 2026-06-14T07:10:00", first, file)
    zoned: Kind = "zoned" if _OFFSET.search(first) else "local"
    is_iso = _ISO_DAY.match(first) is not None and _HALF.search(first) is None
    return TimeForm(zoned, 1.0, _order(cells), is_iso)


def _is_a_number(cell: str, marks: Marks) -> bool:
    return is_number(cell, marks) or is_number(cell.replace(",", "."))


def _numeric_form(unit: str | None, first: str, file: str, marks: Marks) -> TimeForm:
    _expect(_is_a_number(first, marks), f"a number, as the time is in {unit or 's'}", first, file)
    number = number_of(first, marks) if is_number(first, marks) else float(first.replace(",", "."))
    return numeric_form(unit, number)


def _expect(fits: bool, expected: str, got: str, file: str) -> None:  # noqa: FBT001 - private, called here alone
    if not fits:
        way_out = f"Give the time's unit in the channel map: {', '.join(FACTORS_S)}, iso8601 or clock."
        raise Refusal(Problem(file, None, "time_unreadable", expected, got or "blank cells", way_out))


def numeric_form(unit: str | None, first: float) -> TimeForm:
    """The form of a numeric time column; more than 1e9 seconds are seconds since 1970."""
    if unit is None and first > EPOCH_FROM_S:
        factor = next((factor for bound, factor in _EPOCH_FACTORS if first < bound), 1.0)
        return TimeForm("epoch", factor)
    factor = FACTORS_S.get(unit or "s", 1.0)
    is_epoch = (unit or "").startswith("epoch") or first * factor > EPOCH_FROM_S
    return TimeForm("epoch" if is_epoch else "elapsed", factor)


# ---- the order of day and month -----------------------------------------------------------------------------------


def _order(cells: Sequence[str]) -> Order | None:
    """How the dates of these cells are written; None where day and month could be each other.

    With dots between them the day comes first, as nobody writes the month first with dots; unless it is above twelve.
    """
    first = cells[0]
    if _PACKED.match(first):
        return "packed"
    numbers = [(int(found[1]), int(found[3])) for cell in cells if (found := _TWO_NUMBERS.match(cell))]
    if numbers:
        highest = (max(a for a, _ in numbers), max(b for _, b in numbers))
        return order_of(*highest) or ("day first" if "." in first[:3] and max(highest) <= 12 else None)
    return "year first" if first[:4].isdecimal() else "month as word"


def order_of(highest_first: int, highest_second: int) -> Order | None:
    """Which of two numbers is the day, by the highest of each: no month is above twelve. None where both or neither."""
    if (highest_first > 12) == (highest_second > 12):
        return None
    return "day first" if highest_first > 12 else "month first"


def highest_numbers(text: str) -> str:
    """SQL for the highest of the first and of the second number of dates like 03/04/2026."""
    numbers = (rf"try_cast(regexp_extract({text}, '^\s*(\d+)[-/.](\d+)', {at}) as integer)" for at in (1, 2))
    return ", ".join(f"max({number})" for number in numbers)


def settled_order(highest: Sequence[int | None], cell: str, day: date | None, file: str) -> Order:
    """The order of day and month by the highest of each number in all rows, else by the day that the log began.

    Raises:
        Refusal: neither tells, so `cell` could be two days.
    """
    first, second = (number or 0 for number in highest)
    if first > 12 and second > 12:
        raise Refusal(_doubtful(file, f"{cell} and dates the other way round"))
    order = order_of(first, second) or _order_by_day(cell, day)
    if order is None:
        raise Refusal(_doubtful(file, cell))
    return order


def _order_by_day(cell: str, day: date | None) -> Order | None:
    """Which order makes the cell the day that is known from elsewhere; None where none or both do."""
    found = _TWO_NUMBERS.match(cell.strip())
    first, second = (int(found[1]), int(found[3])) if found else (0, 0)
    if first == second or (day is not None and (first, second) == (day.day, day.month)):
        return "day first"
    return "month first" if day is not None and (second, first) == (day.day, day.month) else None


def _doubtful(file: str, cell: str) -> Problem:
    way_out = 'Write format = "day first" or format = "month first" at `time` in the channel map.'
    return Problem(file, None, "doubtful_date", "dates that can be one day only", cell, way_out)


# ---- as SQL -------------------------------------------------------------------------------------------------------


def number_in_text(column: str, marks: Marks = PLAIN) -> str:
    """SQL for the number in a text column, null where there is none.

    The trim is not for the spaces: DuckDB moves a bare try_cast into a CSV scan, where a bad cell costs the whole row.
    """
    if not marks.thousands:
        text = f"replace({column}, ',', '.')" if marks.decimal == "," else column
        return f"try_cast(trim({text}) as double)"
    pattern = marks.pattern.replace("'", "''")
    bare = f"translate(trim({column}), '{marks.thousands.replace(chr(39), chr(39) * 2)}', '')"
    number = f"try_cast(replace({bare}, '{marks.decimal}', '.') as double)"
    return f"case when regexp_full_match(trim({column}), '{pattern}') then {number} end"


def seconds_in_text(form: TimeForm, column: str, marks: Marks = PLAIN) -> str:
    """SQL for a text column as seconds, before factor and shift; null where a cell is no time of this form.

    Seconds count from 1970 for dates (local ones as if UTC), from midnight for a time of day.
    """
    if form.kind in {"elapsed", "epoch"}:
        return number_in_text(column, marks)
    text = f"replace({column}, ',', '.')"
    if form.is_iso:
        return _of_clock(text) if form.kind == "clock" else _of_stamp(text)
    bare = rf"regexp_replace(trim({text}), '\s*[AaPp]\.?[Mm]\.?$', '')"
    half = rf"upper(regexp_extract({text}, '([AaPp])\.?[Mm]\.?\s*$', 1))"
    hour = rf"try_cast(regexp_extract({text}, '(\d{{1,2}}):', 1) as integer)"
    shift = f"case {half} when 'P' then if({hour} < 12, 43200, 0) when 'A' then if({hour} = 12, -43200, 0) else 0 end"
    seconds = _of_clock(bare) if form.kind == "clock" else _of_date(form, bare)
    return f"{seconds} + {shift}"


def _of_clock(text: str) -> str:
    return f"epoch(try_cast({text} as interval))"


def _of_stamp(text: str) -> str:
    return f"epoch_us(try_cast({text} as timestamptz)) / 1e6"


_AS_ISO: Final = {
    "year first": (r"^(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})[T ]*", r"\1-\2-\3 "),
    "day first": (r"^(\d{1,2})[-/.](\d{1,2})[-/.](\d{4})[T ]*", r"\3-\2-\1 "),
    "month first": (r"^(\d{1,2})[-/.](\d{1,2})[-/.](\d{4})[T ]*", r"\3-\1-\2 "),
    "packed": (r"^(\d{4})(\d{2})(\d{2})[T ](\d{2})(\d{2})(\d{2})", r"\1-\2-\3 \4:\5:\6"),
}
_DAY_THEN_WORD: Final = r"^(\d{1,2})[-. ]+([A-Za-z]+)[-. ]+(\d{4})[T. ]*"
_WORD_THEN_DAY: Final = r"^([A-Za-z]+)[-. ]+(\d{1,2})[-. ]+(\d{4})[T. ]*"
_WORD_FORMS: Final = tuple(
    f"{day} {clock}"
    for day in ("%d %b %Y", "%d %B %Y", "%b %d %Y", "%B %d %Y")
    for clock in ("%H:%M:%S.%f", "%H:%M:%S", "%H:%M")
)


def _of_date(form: TimeForm, text: str) -> str:
    if form.order == "month as word":
        for pattern in (_DAY_THEN_WORD, _WORD_THEN_DAY):
            text = rf"regexp_replace({text}, '{pattern}', '\1 \2 \3 ')"
        return f"epoch_us(try_strptime(trim({text}), {list(_WORD_FORMS)!r})) / 1e6"
    pattern, written = _AS_ISO[form.order or "year first"]
    return _of_stamp(f"regexp_replace({text}, '{pattern}', '{written}')")
