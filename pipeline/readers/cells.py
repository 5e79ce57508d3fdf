"""What one cell of a text log says: a number in one of the ways people write them, nothing at all, or a time."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from typing import Final

NULL_TOKENS: Final = ("", "-", "--", "---", "NaN", "nan", "NAN", "n/a", "N/A", "NA", "null", "NULL", "None")
_FOLDED_NULLS: Final = frozenset(token.casefold() for token in NULL_TOKENS)

SPACES: Final = " \u00a0\u2009\u202f"
"""Spaces between thousands: the SI's thin space (SI Brochure, 5.4.4), its no-break forms, and the plain one."""

APOSTROPHES: Final = "'\u2019"


@dataclass(frozen=True)
class Marks:
    """How numbers are written: the decimal mark, and every mark that may stand between thousands ('' for none)."""

    decimal: str = "."
    thousands: str = ""

    @cached_property
    def pattern(self) -> str:
        """A regular expression of a whole number cell, in the words that Python and DuckDB share."""
        decimal = re.escape(self.decimal)
        digits = rf"\d+{decimal}?\d*|{decimal}\d+"
        if self.thousands:
            digits = rf"\d{{1,3}}([{re.escape(self.thousands)}]\d{{3}})+({decimal}\d*)?|{digits}"
        return rf"[+-]?({digits})([eE][+-]?\d+)?"

    @cached_property
    def number(self) -> re.Pattern[str]:
        """The same for a cell in Python."""
        return re.compile(self.pattern, re.ASCII)


PLAIN: Final = Marks()
THOUSANDS: Final = {".": (",", SPACES, APOSTROPHES), ",": (".", SPACES, APOSTROPHES)}
"""Decimal mark → the marks that stand between thousands beside it."""


def is_number(cell: str, marks: Marks = PLAIN) -> bool:
    """Whether a cell is a number written with these marks."""
    return marks.number.fullmatch(cell.strip()) is not None


def number_of(cell: str, marks: Marks = PLAIN) -> float:
    """The number in a cell; ValueError where there is none."""
    bare = cell.strip().translate({ord(mark): None for mark in marks.thousands})
    return float(bare.replace(marks.decimal, "."))


def is_blank(cell: str) -> bool:
    """Whether a cell says 'nothing here', in one of the ways loggers do."""
    return cell.strip().casefold() in _FOLDED_NULLS


_DAY_WORDS: Final = r"\d{1,2}[-. ]+[A-Za-z]{3,9}[-., ]+\d{4}|[A-Za-z]{3,9}[. ]+\d{1,2}[, ]+\d{4}"
DAY: Final = rf"(\d{{4}}[-/.]\d{{1,2}}[-/.]\d{{1,2}}|\d{{1,2}}[-/.]\d{{1,2}}[-/.]\d{{4}}|{_DAY_WORDS})"
CLOCK: Final = r"\d{1,3}:\d{2}(:\d{2})?([.,]\d+)?\s*([AaPp]\.?[Mm]\.?)?"
OFFSET: Final = r"(Z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2})"
_PACKED_STAMP: Final = r"\d{8}[T ]\d{6}([.,]\d+)?"
_TIME: Final = re.compile(rf"(({DAY}([T ,]+{CLOCK})?|{_PACKED_STAMP})\s*{OFFSET}?|{CLOCK})\Z", re.ASCII)


def is_time(cell: str) -> bool:
    """Whether a cell is a date, a date with a time, or a time of day."""
    return _TIME.match(cell.strip()) is not None


def is_datum(cell: str, marks: Marks) -> bool:
    """Whether a cell holds a number or a time, as rows of data do and names do not."""
    return is_number(cell, marks) or is_time(cell)
