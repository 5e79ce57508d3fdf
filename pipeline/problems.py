"""Problems in data as values: what was expected, what was found, where, and the way out.

Readers, the register and the ledger return these instead of raising, so one bad file never stops the others.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

CATALOGUE: Final[dict[str, str]] = {}
"""Every problem code with its meaning; rooms add theirs with `declare`."""


def declare(codes: dict[str, str]) -> None:
    """Add a room's problem codes to the catalogue; a code declared twice with another meaning is a mistake."""
    for code, meaning in codes.items():
        if CATALOGUE.setdefault(code, meaning) != meaning:
            raise ValueError(f"problem code {code!r} is declared twice")


@dataclass(frozen=True)
class Problem:
    """One thing wrong with one file. `line` counts from 1 and is None where no line can be named."""

    file: str
    line: int | None
    code: str
    expected: str
    got: str
    way_out: str

    def __post_init__(self) -> None:
        if self.code not in CATALOGUE:
            raise ValueError(f"unknown problem code {self.code!r}")

    def reason(self) -> str:
        """The problem without its place: expected, got and the way out in one line."""
        return f"{CATALOGUE[self.code]}: expected {self.expected}, got {self.got}. {self.way_out}"

    def sentence(self) -> str:
        """The whole problem in one line, place first."""
        place = self.file if self.line is None else f"{self.file}, line {self.line}"
        return f"{place}: {self.reason()}"
