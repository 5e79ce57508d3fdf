"""What happened in one log, in time order and in words: the marks on a trace, and the ways to its samples."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

import pandas as pd

from pipeline import wording
from pipeline.catalogue import indicators, read_query
from pipeline.database import Database, rows
from pipeline.screen_data import with_local_time
from pipeline.trace import LogPlace, clock_ms

LANES: Final = ("into forward", "into neutral", "into reverse", "shift", "idle", "lift off idle", "stall", "signal")
"""The rows of the picture: what kind of event, in words."""

ABOUT_S: Final[Mapping[str, float]] = {"shift": 12.0, "stall": 30.0, "idle": 10.0, "lift": 10.0, "signal": 60.0}
"""How much of the log a link to an event shows, s: for what lasts, this much beside it."""


def log_events(db: Database, engine_id: str, place: LogPlace, zone: ZoneInfo) -> pd.DataFrame:
    """The events of a log: `kind`, `lane`, `at_s`, `to_s`, `says`, the stretch about each, times on the log's clock.

    `from_s` and `seconds` are what a link to the event shows. A run is told by its beginning, it has no lane.
    """
    given = {"engine_id": engine_id, "log_id": place.log_id}
    found = [_event(row, zone) for row in rows(db, read_query("screens", "log_events"), given)]
    columns = ["kind", "lane", "at_s", "to_s", "says", "short", "from_s", "seconds"]
    table = with_local_time(pd.DataFrame(found, columns=columns), zone)
    return table.assign(
        local_ms=[clock_ms(place, at_s, zone) for at_s in table["at_s"]],
        local_to_ms=[clock_ms(place, to_s, zone) for to_s in table["to_s"]],
    )


def counted(n: int, lane: str) -> str:
    """So many events of a lane, in words."""
    if lane.startswith("into "):
        return f"{wording.count(n, 'shift')} {lane}"
    if lane == "lift off idle":
        return f"{wording.count(n, 'lift')} off idle"
    return wording.count(n, {"idle": "idle window"}.get(lane, lane))


def _event(row: Mapping[str, Any], zone: ZoneInfo) -> dict[str, Any]:
    lasted = row["seconds"] or 0.0
    to_s = row["at_s"] + (lasted if row["kind"] in {"idle", "lift"} else 0.0)
    room = ABOUT_S.get(row["kind"], 0.0)
    at = datetime.fromtimestamp(row["at_s"], zone)
    return {
        "kind": row["kind"],
        "lane": _LANE[row["kind"]](row),
        "at_s": row["at_s"],
        "to_s": to_s,
        "says": f"{at:%H:%M:%S} {_SAYS[row['kind']](row)}",
        "short": _short(row),
        "from_s": row["at_s"] - room / 4,
        "seconds": room + to_s - row["at_s"] if room else lasted,
    }


def _short(row: Mapping[str, Any]) -> str:
    """The number beside a mark; empty where there is none."""
    if row["value"] is None or row["kind"] not in {"shift", "idle"}:
        return ""
    return wording.number(row["value"], indicators()[_INDICATOR[row["kind"]]])


_INDICATOR: Final = {"shift": "shift_reach_error", "idle": "idle_integral"}

_LANE: Final[Mapping[str, Callable[[Mapping[str, Any]], str]]] = {
    "run": lambda _: "",
    "shift": lambda row: f"into {row['gear']}" if row["gear"] else "shift",
    "idle": lambda _: "idle",
    "lift": lambda _: "lift off idle",
    "stall": lambda _: "stall",
    "signal": lambda _: "signal",
}


def _shift_says(row: Mapping[str, Any]) -> str:
    gears = f"{row['from_gear'] or 'unknown'} to {row['gear'] or 'unknown'}"
    return f"{gears}: " + (f"reach error {_short(row)}" if row["value"] is not None else f"no reading, {row['remark']}")


def _idle_says(row: Mapping[str, Any]) -> str:
    integral = f", integral {_short(row)}" if row["value"] is not None else ""
    return f"idle in {row['gear'] or 'an unknown gear'}, {row['seconds']:.0f} s{integral}"


def _lift_says(row: Mapping[str, Any]) -> str:
    lean = row["value"]
    swing = "" if lean is None else f", lean swing {wording.number(lean, indicators()['off_idle_lean'])}"
    return f"lift off idle in neutral, {row['seconds']:.0f} s{swing}"


def _stall_says(row: Mapping[str, Any]) -> str:
    restart = "not started again in this log" if row["value"] is None else f"started again after {row['value']:.0f} s"
    at = "after a shift" if row["remark"] == "shift" else "at idle"
    gear = f" in {row['gear']}" if row["gear"] else ""
    return f"stall {at}{gear}, {restart}"


def _run_says(row: Mapping[str, Any]) -> str:
    cold = f", {row['remark']}" if row["remark"] else ""
    return f"run of {row['seconds'] / 60:.0f} min begins{cold}"


_SAYS: Final[Mapping[str, Callable[[Mapping[str, Any]], str]]] = {
    "run": _run_says,
    "shift": _shift_says,
    "idle": _idle_says,
    "lift": _lift_says,
    "stall": _stall_says,
    "signal": lambda row: f"a signal that cannot be believed: {row['remark']}",
}
