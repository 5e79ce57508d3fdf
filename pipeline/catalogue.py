"""Reads `sql/**.sql`: each file is one table, its opening comment a TOML header that says what it is.

Everything that shows or judges an indicator reads its title, unit, limits and sources from here.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

SQL_FOLDER: Final = Path(__file__).parent / "sql"


@cache
def _parts(schema: str, name: str) -> tuple[str, str]:
    """Header text and query text of one SQL file. Raises ValueError where the header comment is missing."""
    text = (SQL_FOLDER / schema / f"{name}.sql").read_text(encoding="utf-8")
    if not text.startswith("/*") or "*/" not in text:
        raise ValueError(f"sql/{schema}/{name}.sql must open with a /* TOML */ header")
    header, query = text[2:].split("*/", 1)
    return header, query.strip()


def read_query(schema: str, name: str) -> str:
    """The query of one SQL file, without its header."""
    return _parts(schema, name)[1]


def read_header(schema: str, name: str) -> Mapping[str, Any]:
    """The TOML header of one SQL file."""
    return tomllib.loads(_parts(schema, name)[0])
