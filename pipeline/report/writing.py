"""Writes the sheet of a morning to a file, in the form that the file's ending names."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

from pipeline.report.forms import FORMS
from pipeline.report.page import as_html
from pipeline.report.paper import as_pdf
from pipeline.report.sheet import Sheet
from pipeline.report.table import as_csv


def made(sheet: Sheet, form: str) -> bytes:
    """The sheet in one of FORMS as the bytes of a file. Raises ValueError for another form."""
    if form not in _MAKERS:
        raise ValueError(f"{form!r} is none of {', '.join(FORMS)}")
    return _MAKERS[form](sheet)


def write(sheet: Sheet, path: Path) -> None:
    """Write the sheet whole or not at all: a reader never sees half of it. Raises OSError and ValueError."""
    content = made(sheet, path.suffix.lower())
    part = path.with_name(f"{path.name}.part")
    try:
        part.write_bytes(content)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


_MAKERS: Final[Mapping[str, Callable[[Sheet], bytes]]] = dict(
    zip(FORMS, (lambda sheet: as_html(sheet).encode(), as_pdf, lambda sheet: as_csv(sheet).encode()), strict=True)
)
