"""The tables that people take away: logs, runs, shifts, idle windows, readings, findings and notes, as files.

Times are ISO 8601 with the fleet's offset; engine ids are split into boat and engine; numbers have four decimals.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from pipeline.catalogue import indicators, read_query
from pipeline.cells import cell
from pipeline.database import Database
from pipeline.doubts import with_doubts
from pipeline.export_tables import FORMATS, STORED, TABLES
from pipeline.findings import Finding, as_json
from pipeline.history import load_history
from pipeline.logbook import note_rows, notes
from pipeline.morning import Morning, assess
from pipeline.register import Register
from pipeline.trust import Withheld, withheld

DECIMALS: Final = 4
"""Finer than any channel is logged, coarse enough to hide the last bits of binary fractions."""

NOTES: Final = pa.schema(
    [("note", pa.int64())]
    + [(name, pa.string()) for name in ("boat", "engine", "at", "kind", "text", "author", "until", "written_at")]
    + [("corrects", pa.int64())]
)

_WORDS: Final = pa.string()
_NUMBER: Final = pa.float64()
FINDINGS: Final = pa.schema(
    [
        ("rank", pa.int64()),
        ("boat", _WORDS),
        ("boat_status", _WORDS),
        ("engine", _WORDS),
        ("engines", pa.int64()),
        ("indicator", _WORDS),
        ("facet", _WORDS),
        ("status", _WORDS),
        ("value", _NUMBER),
        ("unit", _WORDS),
        ("value_low", _NUMBER),
        ("value_high", _NUMBER),
        ("latest_at", _WORDS),
        ("watch", _NUMBER),
        ("hold", _NUMBER),
        ("baseline", _NUMBER),
        ("pattern", _WORDS),
        ("since", _WORDS),
        ("per_100_hours", _NUMBER),
        ("per_week", _NUMBER),
        ("hours_to_hold", _NUMBER),
        ("hours_to_hold_low", _NUMBER),
        ("hours_to_hold_high", _NUMBER),
        ("days_to_hold", _NUMBER),
        ("confidence", _NUMBER),
        ("cause", _WORDS),
        ("because", _WORDS),
        ("rather_than", _WORDS),
        ("also", _WORDS),
        ("after_note", _WORDS),
        ("deferred_until", _WORDS),
        ("deferred_by", _WORDS),
        ("deferred_for", _WORDS),
        ("says", _WORDS),
        ("do", _WORDS),
        ("n", pa.int64()),
        ("runs", pa.int64()),
        ("logs", _WORDS),
    ]
)
"""A row a finding. `boat`, `rank` and `engine` are null for the whole fleet's, `engines` for all others."""


def table(db: Database, register: Register, name: str, as_of: datetime) -> pa.Table:
    """One table as rows up to a moment. Raises ValueError for a name that is none of TABLES."""
    if name == "findings":
        return pa.Table.from_pylist(list(_finding_rows(assess(db, register, as_of))), FINDINGS)
    if name == "notes":
        return notes_table(register, as_of)
    if name not in STORED:
        raise ValueError(f"no table {name!r}; there are {', '.join(TABLES)}")
    zone = ZoneInfo(register.timezone)
    found = db.sql(read_query("exports", name), params={"as_of": as_of}).to_arrow_table()
    if name == "readings":
        found = _with_units(found)
    if name in _RESTING:
        found = with_withheld(name, found, withheld(with_doubts(load_history(db, as_of.astimezone(zone)))))
    return _for_people(found, zone)


def notes_table(register: Register, as_of: datetime) -> pa.Table:
    """The notes up to a moment: they stand in the logbook, so no store is needed."""
    return pa.Table.from_pylist(note_rows(notes(register.folder, as_of=as_of), register.timezone), NOTES)


def write(found: pa.Table, path: Path) -> None:
    """Write a table as .csv, .parquet or .json, by the file's ending. Raises ValueError for another ending."""
    if path.suffix not in _WRITERS:
        raise ValueError(f"{path.name}: the ending must be one of {', '.join(FORMATS)}")
    _WRITERS[path.suffix](found, path)


def _finding_rows(morning: Morning) -> Iterator[dict[str, Any]]:
    """The fleet's own findings first, then in the order of the morning's list."""
    for found in morning.fleet_findings:
        yield _finding_row(found)
    for line in morning.boats:
        for found in line.findings:
            yield {"rank": line.rank, "boat": line.boat, "boat_status": line.status, **_finding_row(found)}


def _finding_row(found: Finding) -> dict[str, Any]:
    row = as_json(found)
    evidence = row.pop("evidence")
    lists = {name: "; ".join(row[name]) for name in ("because", "also")}
    return {**row, **lists, **evidence, "logs": " ".join(evidence["logs"]), "engines": found.engines}


_RESTING: Final[Mapping[str, Mapping[str, str]]] = {
    "shifts": {
        "reach_error_pct": "shift_reach_error",
        "transit_s": "shift_transit_time",
        "hesitation_s": "shift_hesitation",
        "dip_rpm": "engagement_dip",
        "flare_rpm": "release_flare",
    },
    "idle_windows": {
        "rpm_mean": "idle_speed_error",
        "rpm_sd": "idle_spread",
        "integral_pct": "idle_integral",
        "fuel_trim_pct": "idle_fuel_trim",
        "battery_v": "battery_idle",
        "coolant_c": "coolant_hot",
        "oil_kpa": "oil_pressure_hot",
    },
    "readings": {},
}
"""Which indicator each judged column feeds: the column is withheld where that indicator's reading is. A row of
`readings` names its own."""


def with_withheld(name: str, found: pa.Table, kept_out: Withheld) -> pa.Table:
    """Rows of shifts, idle windows or readings with what judgement withholds of each and why; null where believed."""
    columns = _RESTING[name]
    run_ids = found["run_id"].to_pylist()
    if columns:
        by_run = _columns_withheld(kept_out, columns)
        why = [by_run.get(run_id) for run_id in run_ids]
    else:
        places = [(name, facet or "") for name, facet in zip(*_lists(found, "indicator", "facet"), strict=True)]
        known = {place: kept_out.everywhere(*place) for place in set(places)}
        why = [known[place].get(run_id) for place, run_id in zip(places, run_ids, strict=True)]
    return found.append_column("withheld", pa.array(why, pa.string()))


def _lists(found: pa.Table, *names: str) -> list[list[Any]]:
    return [found[name].to_pylist() for name in names]


def _columns_withheld(kept_out: Withheld, columns: Mapping[str, str]) -> Mapping[str, str]:
    """By run, the columns that are withheld and why: 'reach_error_pct, transit_s: why'."""
    found: dict[str, dict[str, list[str]]] = {}
    for column, indicator in columns.items():
        for run_id, why in kept_out.everywhere(indicator, "").items():
            found.setdefault(run_id, {}).setdefault(why, []).append(column)
    return {
        run_id: "; ".join(f"{', '.join(names)}: {why}" for why, names in reasons.items())
        for run_id, reasons in found.items()
    }


def _with_units(readings: pa.Table) -> pa.Table:
    """The unit stands in the indicator's header, not in every row of the store."""
    units = [indicators()[name].unit for name in readings["indicator"].to_pylist()]
    return readings.add_column(readings.column_names.index("value") + 1, "unit", pa.array(units, pa.string()))


def _for_people(found: pa.Table, zone: ZoneInfo) -> pa.Table:
    """Times as ISO 8601 text with the offset in force in the fleet's zone, numbers without binary dust."""
    for place, field in enumerate(found.schema):
        if pa.types.is_timestamp(field.type):
            texts = [None if at is None else _local(at, zone) for at in found[field.name].to_pylist()]
            found = found.set_column(place, field.name, pa.array(texts, pa.string()))
        elif pa.types.is_floating(field.type):
            found = found.set_column(place, field.name, pc.round(found[field.name], DECIMALS))
    return found


def _local(at: datetime, zone: ZoneInfo) -> str:
    return at.astimezone(zone).isoformat(timespec="milliseconds")


def _write_csv(found: pa.Table, path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        lines = csv.writer(file, lineterminator="\n")
        lines.writerow(found.column_names)
        lines.writerows([cell(value) for value in row.values()] for row in found.to_pylist())


def _write_json(found: pa.Table, path: Path) -> None:
    path.write_text(json.dumps(found.to_pylist(), ensure_ascii=False, indent=1) + "\n", encoding="utf-8")


def _write_parquet(found: pa.Table, path: Path) -> None:
    pq.write_table(found, path, compression="zstd")


_WRITERS: Final[Mapping[str, Callable[[pa.Table, Path], None]]] = dict(
    zip(FORMATS, (_write_csv, _write_parquet, _write_json), strict=True)
)
