"""What `export` can write, by name: light, so that the command's help needs none of the libraries that do the work."""

from __future__ import annotations

from typing import Final

STORED: Final = ("logs", "runs", "shifts", "idle_windows", "readings")
"""Tables that lie in the snapshot."""

TABLES: Final = (*STORED, "findings", "notes")

FORMATS: Final = (".csv", ".parquet", ".json")
