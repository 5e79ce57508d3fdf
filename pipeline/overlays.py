"""The newest shifts laid over the first ones of the present comparison: position against seconds from the step.

A shift that has slowed down, stands still part-way or stops short is seen at once where it leaves the first ones' band.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

import pandas as pd

from pipeline import wording
from pipeline.catalogue import indicators, read_query
from pipeline.diagnosis import GEARS
from pipeline.morning import Morning
from pipeline.screen_data import with_local_time
from pipeline.states import State
from pipeline.store import Store

NEWEST: Final = 10
FIRST: Final = 20
"""Shifts of each move that are drawn one by one, and those that make the band."""

FEWEST: Final = 5
"""Below this the first ones at like voltage and temperature make no band, and others are taken (common practice)."""

LIKE_TEMP_C: Final = 5.0
LIKE_V: Final = 0.2
"""How far beyond the newest shifts' own range a shift still counts as alike: either slows a sound actuator by about a
hundredth of a second, the resolution of a fast log (common practice, no published source)."""

STANDS_STILL_S: Final = 0.15
"""A stand-still part-way that is told, as in the indicator of hesitation."""

BEFORE_S: Final = 0.25
SHORTEST_S: Final = 1.5
LONGEST_S: Final = 8.0
"""What is drawn of a shift: a little before the step, and as long as the slowest took and half as much again."""

GRID_STEPS: Final = 120

MOVES: Final = (("neutral", "forward"), ("forward", "neutral"), ("neutral", "reverse"), ("reverse", "neutral"))


@dataclass(frozen=True, eq=False)
class Overlay:
    """One move between two gears. `lines` has `shift_no`, `since_s`, `position_pct`; `band` has low, middle and high.

    `shifts` are the newest ones, each with its number, moment and file. `first` counts the shifts of the band;
    `is_like` says that they were made at like voltage and temperature. `target_pct` is the newest target.
    """

    from_gear: str
    to_gear: str
    lines: pd.DataFrame
    band: pd.DataFrame
    shifts: pd.DataFrame
    first: int
    is_like: bool
    target_pct: float | None
    says: str


def overlays(store: Store, engine_id: str, as_of: datetime, morning: Morning, zone: ZoneInfo) -> tuple[Overlay, ...]:
    """The moves that an engine made, each laid over its own beginning; what the morning withholds is left out."""
    db = store.reader()
    withheld = list(morning.withheld.reasons(engine_id, "shift_reach_error"))
    given = {"engine_id": engine_id, "as_of": as_of, "newest": NEWEST, "first": FIRST, "fewest": FEWEST}
    like = {"like_temp_c": LIKE_TEMP_C, "like_v": LIKE_V, "withheld": withheld}
    begun = {f"since_{gear}_s": at_s for gear, at_s in _begun(morning.states, engine_id).items()}
    chosen = with_local_time(db.execute(read_query("screens", "overlay_shifts"), {**given, **like, **begun}).df(), zone)
    if chosen.empty:
        return ()
    chosen = chosen.assign(shift_no=range(len(chosen)))
    laid = db.execute(read_query("screens", "overlays"), _asked(store, chosen)).df()
    return tuple(
        _overlay(*move, chosen[_is_move(chosen, *move)], laid[_is_move(laid, *move)])
        for move in MOVES
        if _is_move(chosen, *move).any()
    )


def _begun(states: Sequence[State], engine_id: str) -> Mapping[str, float]:
    """From when on (epoch s) each gear is compared; 0 where nothing is known of it."""
    found = dict.fromkeys(GEARS, 0.0)
    for state in states:
        if state.key.engine_id == engine_id and state.key.indicator == "shift_reach_error":
            found[state.key.facet] = state.moved.started_at.timestamp()
    return found


def _asked(store: Store, chosen: pd.DataFrame) -> dict[str, object]:
    """The parameters of the one query over the samples of all chosen shifts."""
    files = [str(store.samples_path(samples)) for samples in chosen["samples"]]
    slowest = float(chosen["transit_s"].max())
    return {
        "read": sorted(set(files)),
        "files": files,
        "from_s": -BEFORE_S,
        "to_s": min(max(1.5 * slowest, SHORTEST_S), LONGEST_S) if slowest > 0 else SHORTEST_S,
        "steps": GRID_STEPS,
        **{name: chosen[name].tolist() for name in ("shift_no", "at_s", "held_s", "from_gear", "to_gear", "role")},
    }


def _is_move(table: pd.DataFrame, from_gear: str, to_gear: str) -> pd.Series[bool]:
    return (table["from_gear"] == from_gear) & (table["to_gear"] == to_gear)


def _overlay(from_gear: str, to_gear: str, chosen: pd.DataFrame, laid: pd.DataFrame) -> Overlay:
    newest, first = (chosen[chosen["role"] == role] for role in ("newest", "first"))
    is_like = bool(first["is_like"].all())
    target = newest["target_pct"].iloc[-1]
    return Overlay(
        from_gear,
        to_gear,
        laid[laid["role"] == "newest"],
        laid[laid["role"] == "first"],
        newest.sort_values("at_s", ascending=False),
        len(first),
        is_like,
        None if pd.isna(target) else float(target),
        _says(newest, first, is_like=is_like),
    )


def _says(newest: pd.DataFrame, first: pd.DataFrame, *, is_like: bool) -> str:
    """Both groups in numbers: how many, how long they take, where they settle."""
    now = f"Newest {wording.count(len(newest), 'shift')}: {_middle(newest)}."
    if first.empty:
        return f"{now} No earlier shift to compare with."
    alike = "at like voltage and temperature" if is_like else "at other voltages or temperatures, too few were alike"
    return f"{now} First {len(first)} of the present comparison, {alike}: {_middle(first)}."


def _middle(shifts: pd.DataFrame) -> str:
    """The medians of a group of shifts."""
    transit = indicators()["shift_transit_time"]
    took = shifts["transit_s"].median()
    said = [f"settles at {shifts['settled_pct'].median():.1f} %"]
    if pd.notna(took):
        said.insert(0, f"transit {wording.number(float(took), transit)}")
    still = int((shifts["hesitation_s"] >= STANDS_STILL_S).sum())
    if still:
        said.append(f"{still} stood still part-way")
    return ", ".join(said)
