"""Shifting: where each gear settles, the way there over the first shifts, how long it takes, all gears together."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from datetime import datetime
from typing import Any, Final

import pandas as pd
import streamlit as st

from dashboard import data, parts, ways
from dashboard.charts import picking, shifting
from dashboard.markup import Html, tag
from pipeline import baselines, needs, wording
from pipeline.baselines import Covariate
from pipeline.catalogue import indicators
from pipeline.corrections import Corrections
from pipeline.register import Engine

_AGAINST: Final[tuple[tuple[Covariate, str], ...]] = (("battery_v", "battery, V"), ("temp_c", "temperature, °C"))


def show(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    """Draw the section."""
    rows = data.shifts(fleet, engine.engine_id, as_of)
    parts.withheld(rows)
    if _reach(fleet, engine, as_of, rows):
        _positions(fleet, engine, rows)
        _overlays(fleet, engine, as_of)
        _offset_span(fleet, engine, as_of)
    _transit(fleet, engine, as_of, rows)
    _without(rows)
    parts.section("Shift targets, a proposal", "worked out from these logs; nothing is changed, a person decides")
    st.html(_targets(data.proposed(fleet, engine.engine_id, as_of)))


def _reach(fleet: data.Fleet, engine: Engine, as_of: datetime, rows: pd.DataFrame) -> bool:
    """Reach error over time; whether there is any."""
    limits = data.limits(fleet, "shift_reach_error", engine.engine_id)
    said = parts.limits_text(limits.watch, limits.hold, indicators()["shift_reach_error"])
    parts.section("Reach error", f"settled position less target, % of travel; limits: {said}")
    reach = shifting.reach_rows(rows)
    if reach.empty:
        held = data.channels(fleet, engine.engine_id, as_of).held
        parts.nothing(
            needs.why_empty("shift_reach_error", held, "No shift with a settled position in the logs of this engine.")
        )
        return False
    parts.summary(baselines.levels_say(data.states(fleet, engine.engine_id, "shift_reach_error", as_of)))
    chosen = parts.draw_to_pick(shifting.reach(reach, limits), f"reach:{engine.engine_id}", shifting.PICK)
    row = picking.picked_row(reach, chosen)
    ways.from_mark(engine.engine_id, row, data.SHIFT_SECONDS, "" if row is None else _shift_says(row))
    return True


def _shift_says(row: Mapping[Hashable, Any]) -> str:
    error = row["reach_error_pct"]
    said = "no reading" if pd.isna(error) else wording.number(float(error), indicators()["shift_reach_error"])
    return f"{row['from_gear']} to {row['to_gear']}, {row['when']}: reach error {said}"


def _positions(fleet: data.Fleet, engine: Engine, rows: pd.DataFrame) -> None:
    """Targets and settled positions, the gears side by side."""
    parts.section("Positions", "settled positions about the target in force, % of travel")
    limits = data.limits(fleet, "shift_reach_error", engine.engine_id)
    for gear, place in zip(shifting.GEARS, st.columns(3), strict=True):
        found = shifting.position_rows(rows, gear, limits)
        with place:
            parts.small_heading(gear, wording.count(len(found), "shift"))
            if found.empty:
                parts.nothing(f"No settled shift into {gear}.")
            else:
                parts.draw(shifting.positions(found), f"positions:{gear}")


def _overlays(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    """The newest shifts over the first ones, and the newest ones as a list of ways to their samples."""
    parts.section(
        "The way there, shift by shift",
        "lines: the newest shifts; grey band: eight in ten of the first ones, dashed their middle; dotted: target",
    )
    found = data.overlays(fleet, engine.engine_id, as_of)
    if not found:
        parts.nothing("No shift from or to neutral with a settled position.")
        return
    for move, place in parts.side_by_side(found):
        with place:
            parts.small_heading(f"{move.from_gear} to {move.to_gear}", "")
            parts.summary(move.says)
            parts.draw(shifting.overlay(move), f"overlay:{move.from_gear}:{move.to_gear}")
    with st.expander("The newest shifts as a list, each with the way to its samples"):
        newest = pd.concat([move.shifts for move in found]).sort_values("at_s", ascending=False)
        for row in newest.to_dict("records"):
            ways.to_samples(
                engine.engine_id, str(row["file"]), float(row["at_s"]), data.SHIFT_SECONDS, _shift_says(row)
            )


def _offset_span(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    parts.section(
        "All gears together",
        "offset: what the three gears do alike (sensor, mounting); span: way from end to end against its targets' way, "
        "below zero is travel lost",
    )
    found = data.offset_span(fleet, engine.engine_id, as_of)
    if found.empty:
        parts.nothing("No run that reached all three gears.")
        return
    parts.summary(baselines.offset_span_says(found))
    parts.draw(shifting.offset_span(shifting.offset_span_rows(found)), "offset_span")


def _transit(fleet: data.Fleet, engine: Engine, as_of: datetime, rows: pd.DataFrame) -> None:
    """Transit against voltage and temperature, a gear a column, over what the baseline expects there."""
    parts.section(
        "Transit time",
        "from the step to arrival, s; low voltage and cold grease slow a sound actuator too, so marks belong into the "
        "grey band: what the first runs expect there, nine runs in ten",
    )
    states = {each.key.facet: each for each in data.states(fleet, engine.engine_id, "shift_transit_time", as_of)}
    parts.summary(baselines.levels_say(tuple(states.values())))
    for against, title in _AGAINST:
        if rows.empty or rows[against].isna().all():
            parts.nothing(f"No log of this engine holds what the {title.partition(',')[0]} was while it shifted.")
            continue
        for gear, place in zip(shifting.GEARS, st.columns(3), strict=True):
            found = shifting.transit_rows(rows, gear, against)
            with place:
                parts.small_heading(
                    f"into {gear}, against {title.partition(',')[0]}", wording.count(len(found), "shift")
                )
                if found.empty:
                    parts.nothing(f"No transit time into {gear}.")
                    continue
                expected = baselines.expected_line(states[gear], against) if gear in states else baselines.NO_LINE
                parts.draw(shifting.transit(found, expected, against, title), f"transit:{against}:{gear}")


def _without(rows: pd.DataFrame) -> None:
    without = rows[rows["settled_pct"].isna()]
    if len(without):
        said = [f"{count} {reason}" for reason, count in without["why_null"].value_counts().items()]
        parts.note(f"{wording.count(len(without), 'shift')} of {len(rows)} without a reading: {', '.join(said)}.")


def _targets(found: Corrections) -> Html:
    if not found.targets:
        return tag("div", "No shift with a target in these logs.", class_="mw-nothing")
    head = tag("tr", *(tag("th", each) for each in ("gear", "target", "reaches", "rests on")))
    rows = [
        tag(
            "tr",
            tag("th", each.gear, scope="row"),
            tag("td", "–" if each.target is None else f"{each.target:.1f} %", class_="mw-figure"),
            tag("td", "leave" if each.reaches is None else f"{each.reaches:.1f} %", class_="mw-figure"),
            tag("td", each.reason or f"{wording.count(each.shifts, 'shift')} in {wording.count(each.runs, 'run')}"),
        )
        for each in found.targets
    ]
    return tag("table", tag("thead", head), tag("tbody", *rows), class_="mw-table")
