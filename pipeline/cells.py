"""Cells of a CSV file that a spreadsheet may open: text stays text."""

from __future__ import annotations

from typing import Final

_STARTS_A_FORMULA: Final = tuple("=+-@\t\n＝＋－＠")
"""First characters at which a spreadsheet takes text for a formula (OWASP, CSV Injection)."""


def cell(value: object) -> object:
    """Text that a spreadsheet would run as a formula gets a leading apostrophe; numbers stay numbers.

    A carriage return becomes a line break: the csv module leaves a bare one unquoted, and readers stumble over it.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if not isinstance(value, str):
        return value
    text = value.replace("\r\n", "\n").replace("\r", "\n")
    return f"'{text}" if text.startswith(_STARTS_A_FORMULA) else text
