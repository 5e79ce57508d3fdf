"""The tables that people take away: logs, runs, shifts, idle windows, readings, findings and notes, as files.

Times are ISO 8601 with the fleet's offset; engine ids are split into boat and engine.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

import pandas as pd

from pipeline.catalogue import indicators, read_query
from pipeline.database import Database
from pipeline.findings import Finding, as_json
from pipeline.logbook import note_rows, notes
from pipeline.morning import Morning, assess
from pipeline.register import Register

STORED: Final = ("logs", "runs", "shifts", "idle_windows", "readings")
TABLES: Final = (*STORED, "findings", "notes")
FORMATS: Final = (".csv", ".parquet", ".json")


def table(db: Database, register: Register, name: str, as_of: datetime) -> pd.DataFrame:
    """One table as rows up to a moment. Raises ValueError for a name that is none of TABLES."""
    if name == "findings":
        return _findings(assess(db, register, as_of))
    if name == "notes":
        return pd.DataFrame(note_rows(notes(register.folder, as_of=as_of), register.timezone), columns=_NOTE_COLUMNS)
    if name not in STORED:
        raise ValueError(f"no table {name!r}; there are {', '.join(TABLES)}")
    found = db.execute(read_query("exports", name), {"as_of": as_of}).df()
    if name == "readings":
        # the unit stands in the indicator's header, not in every row of the store
        found.insert(6, "unit", found["indicator"].map({each.name: each.unit for each in indicators().values()}))
    return _local_times(found, ZoneInfo(register.timezone))


def write(found: pd.DataFrame, path: Path) -> None:
    """Write a table as .csv, .parquet or .json, by the file's ending. Raises ValueError for another ending."""
    writers: dict[str, Callable[[], object]] = {
        ".csv": lambda: _inert(found).to_csv(path, index=False),
        ".parquet": lambda: found.to_parquet(path, index=False),
        ".json": lambda: found.to_json(path, orient="records", indent=1, force_ascii=False),
    }
    if path.suffix not in writers:
        raise ValueError(f"{path.name}: the ending must be one of {', '.join(FORMATS)}")
    writers[path.suffix]()


_NOTE_COLUMNS: Final = ["note", "boat", "engine", "at", "kind", "text", "author", "until", "written_at"]
_FINDING_COLUMNS: Final = ["rank", "boat", "boat_status", "engine", "indicator", "facet", "status", "value", "unit"]


def _findings(morning: Morning) -> pd.DataFrame:
    """One row a finding, the fleet's own first, in the order of the morning's list."""
    rows = [_finding_row(found, {"boat": None, "rank": None, "boat_status": None}) for found in morning.fleet_findings]
    for line in morning.boats:
        about = {"boat": line.boat, "rank": line.rank, "boat_status": line.status}
        rows += [_finding_row(found, about) for found in line.findings]
    frame = pd.DataFrame(rows)
    return frame if rows else pd.DataFrame(columns=_FINDING_COLUMNS)


def _finding_row(found: Finding, about: dict[str, Any]) -> dict[str, Any]:
    row = as_json(found)
    evidence = row.pop("evidence")
    return {**about, **row, "n": evidence["n"], "runs": evidence["runs"], "logs": " ".join(evidence["logs"])}


def _local_times(found: pd.DataFrame, zone: ZoneInfo) -> pd.DataFrame:
    """Time columns as ISO 8601 text with the offset in force in the fleet's zone."""
    for name in found.columns:
        if isinstance(found[name].dtype, pd.DatetimeTZDtype):
            local = found[name].dt.tz_convert(zone)
            found[name] = local.map(lambda at: at.isoformat(timespec="milliseconds"), na_action="ignore")
    return found


def _inert(found: pd.DataFrame) -> pd.DataFrame:
    """Text that a spreadsheet would run as a formula gets a leading apostrophe."""
    text = found.select_dtypes(include=["object", "string"]).columns
    safe = found.copy()
    for name in text:
        safe[name] = safe[name].map(_inert_text, na_action="ignore")
    return safe


def _inert_text(value: object) -> object:
    return f"'{value}" if isinstance(value, str) and value[:1] in {"=", "+", "-", "@", "\t", "\r"} else value
