"""The lists of logs that a snapshot shows: one row a log taken or file refused, and one a log and engine."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any, Final

import pyarrow as pa

from pipeline.problems import Problem, declare

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from pipeline.ledger import FileEntry, Ledger, LogEntry

declare({"log_not_measured": "the log was read but could not be measured"})

_MICROSECONDS: Final = 1_000_000
_MOMENT: Final = pa.timestamp("us", "UTC")

LOGS: Final = pa.schema(
    [
        ("log_id", pa.string()),
        ("file", pa.string()),
        ("boat", pa.string()),
        ("started_at", _MOMENT),
        ("ended_at", _MOMENT),
        ("seconds", pa.float64()),
        ("rows", pa.int64()),
        ("status", pa.string()),
        ("reason", pa.string()),
        ("line", pa.int64()),
        ("engines", pa.list_(pa.string())),
        ("copies", pa.list_(pa.string())),
        ("rows_dropped", pa.int64()),
        ("rows_spread", pa.int64()),
        ("is_start_assumed", pa.bool_()),
    ]
)
"""`marts.logs`. A file refused unread has no log: its log_id, times and counts are null; `reason` says why.

A log that was read but could not be measured is refused too. For a log taken `reason` holds remarks, or null.
`engines` are engine ids (`boat/engine`), `copies` other files with the same bytes; `log_id` is unique where not null.
"""

ENGINE_LOGS: Final = pa.schema(
    [
        ("engine_id", pa.string()),
        ("log_id", pa.string()),
        ("started_at", _MOMENT),
        ("ended_at", _MOMENT),
        ("channels", pa.list_(pa.string())),
        ("samples", pa.string()),
    ]
)
"""`marts.engine_logs`. `channels` are those the log really holds; `samples` is relative to the store folder."""


def log_list(
    ledger: Ledger, covered: Mapping[tuple[str, str], str], failures: Mapping[tuple[str, str], str]
) -> pa.Table:
    """`marts.logs`, by file.

    By engine and log, `covered` names the longer log that holds all samples too, `failures` why there are no events.
    """
    logs = ledger.logs()
    files = ledger.files()
    listed = {log.log_id: _taken_row(log, files) for log in logs.values()}
    for each in ledger.engine_logs():
        listed[each.log_id]["engines"].append(each.engine_id)
    for log_id, entries in _by_log(files.values()):
        if log_id not in listed:
            continue  # its samples were lost while none of its files could be read
        listed[log_id]["copies"] = [each.file for each in entries if each.file != listed[log_id]["file"]]
    for (engine_id, log_id), cover in covered.items():
        _remark(
            listed[log_id], f"All samples of {engine_id} are also in {logs[cover].file}, which is measured instead."
        )
    for (engine_id, log_id), error in failures.items():
        listed[log_id]["status"] = "refused"
        _remark(listed[log_id], not_measured(logs[log_id].file, engine_id, error).reason())
    refused = [_refused_row(entry) for entry in files.values() if entry.status == "refused"]
    return pa.Table.from_pylist(sorted([*listed.values(), *refused], key=lambda row: row["file"]), LOGS)


def not_measured(file: str, engine_id: str, error: str) -> Problem:
    """A log that was read but from which no events could be made: nothing its owner did wrong."""
    expected = f"the runs, shifts and idle windows of {engine_id}"
    way_out = "Keep the log and report it: this is a fault of the program."
    return Problem(file, None, "log_not_measured", expected, error.partition("\n")[0], way_out)


def engine_log_list(ledger: Ledger) -> pa.Table:
    """`marts.engine_logs`, by engine and log."""
    logs = ledger.logs()
    found = [
        {
            "engine_id": each.engine_id,
            "log_id": each.log_id,
            "started_at": _moment(logs[each.log_id].started_s),
            "ended_at": _moment(logs[each.log_id].ended_s),
            "channels": each.channels,
            "samples": each.samples,
        }
        for each in ledger.engine_logs()
    ]
    return pa.Table.from_pylist(found, ENGINE_LOGS)


def _taken_row(log: LogEntry, files: Mapping[str, FileEntry]) -> dict[str, Any]:
    entry = files.get(log.file)
    row: dict[str, Any] = {
        "log_id": log.log_id,
        "file": log.file,
        "boat": log.boat_id,
        "started_at": _moment(log.started_s),
        "ended_at": _moment(log.ended_s),
        "seconds": log.ended_s - log.started_s,
        "rows": log.rows_kept,
        "status": "taken",
        "engines": [],
        "copies": [],
        "rows_dropped": log.rows_dropped,
        "rows_spread": log.rows_spread,
        "is_start_assumed": log.is_start_assumed,
    }
    for problem in () if entry is None or entry.log_id != log.log_id else entry.problems:
        _remark(row, problem.reason())
    return row


def _refused_row(entry: FileEntry) -> dict[str, Any]:
    first = entry.problems[0]
    _, *folders, _ = entry.file.split("/")
    boat = folders[0] if folders else None
    said = {"status": "refused", "reason": first.reason(), "line": first.line}
    return {"file": entry.file, "boat": boat, **said, "engines": [], "copies": []}


def _remark(row: dict[str, Any], sentence: str) -> None:
    row["reason"] = f"{row['reason']} {sentence}" if row.get("reason") else sentence


def _by_log(entries: Iterable[FileEntry]) -> Iterator[tuple[str, list[FileEntry]]]:
    """The logs with more than one file, and those files."""
    found: dict[str, list[FileEntry]] = defaultdict(list)
    for entry in entries:
        if entry.status == "taken" and entry.log_id is not None:
            found[entry.log_id].append(entry)
    return ((log_id, group) for log_id, group in found.items() if len(group) > 1)


def _moment(seconds: float) -> int:
    """Microseconds since 1970, to the nearest: what a timestamp column takes."""
    return round(seconds * _MICROSECONDS)
