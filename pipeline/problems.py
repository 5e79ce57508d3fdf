"""Problems in data as values: what was expected, what was found, where, and the way out.

Readers, the register and the ledger return these instead of raising, so one bad file never stops the others.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

LONGEST_TEXT: Final = 300
"""Characters of what was expected or got that a message shows; a column's name can have a million."""

CATALOGUE: Final[dict[str, str]] = {}
"""Every problem code with its meaning; rooms add theirs with `declare`."""


def declare(codes: dict[str, str]) -> None:
    """Add a room's problem codes to the catalogue; a code declared twice with another meaning is a mistake."""
    for code, meaning in codes.items():
        if CATALOGUE.setdefault(code, meaning) != meaning:
            raise ValueError(f"problem code {code!r} is declared twice")


def legible(text: str) -> str:
    """A text from a file as it may stand in a message: short, on one line, and nothing in it that moves the cursor.

    Control characters and marks that turn the writing's direction are shown as their codes.
    """
    if len(text) > LONGEST_TEXT:
        text = f"{text[: LONGEST_TEXT - 20]} … {text[-15:]}"
    if text.isprintable():
        return text
    return "".join(
        letter if letter.isprintable() or (letter.isspace() and letter not in _BREAKS) else _code(letter)
        for letter in text
    )


_BREAKS: Final = frozenset("\t\n\v\f\r\x1c\x1d\x1e\x1f\x85\u2028\u2029")


def _code(letter: str) -> str:
    return letter.encode("unicode_escape").decode("ascii")


@dataclass(frozen=True)
class Problem:
    """One thing wrong with one file. `line` counts from 1 and is None where no line can be named.

    What it quotes from a file is made legible (see `legible`).
    """

    file: str
    line: int | None
    code: str
    expected: str
    got: str
    way_out: str

    def __post_init__(self) -> None:
        if self.code not in CATALOGUE:
            raise ValueError(f"unknown problem code {self.code!r}")
        for name in ("expected", "got", "way_out"):
            object.__setattr__(self, name, legible(getattr(self, name)))

    def reason(self) -> str:
        """The problem without its place: expected, got and the way out in one line."""
        return f"{CATALOGUE[self.code]}: expected {self.expected}, got {self.got}. {self.way_out}"

    def sentence(self) -> str:
        """The whole problem in one line, place first."""
        file = legible(self.file)
        place = file if self.line is None else f"{file}, line {self.line}"
        return f"{place}: {self.reason()}"
