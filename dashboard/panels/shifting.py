"""Shifting: where each gear settles, the way there over the first shifts, how long it takes, all gears together."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from datetime import datetime
from functools import partial
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
from pipeline.states import State

WAY: Final = "way"
NEWEST: Final = "newest"
TOGETHER: Final = "together"
TRANSIT: Final = "transit"
"""The parts that are drawn when they are asked for, by their names in an address."""

NO_MOVE: Final = "No shift from or to neutral with a settled position."

_AGAINST: Final[tuple[tuple[Covariate, str], ...]] = (("battery_v", "battery, V"), ("temp_c", "temperature, °C"))


def show(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    """Draw the section: where the gears settle at once, the rest as sentences with their pictures on demand."""
    rows = data.shifts(fleet, engine.engine_id, as_of)
    parts.withheld(rows)
    if _reach(fleet, engine, as_of, rows):
        _way(fleet, engine, as_of)
        _offset_span(fleet, engine, as_of)
    _transit(fleet, engine, as_of, rows)
    _without(rows)
    parts.section("Shift targets, a proposal", "worked out from these logs; nothing is changed, a person decides")
    st.html(_targets(data.proposed(fleet, engine.engine_id, as_of)))


def _reach(fleet: data.Fleet, engine: Engine, as_of: datetime, rows: pd.DataFrame) -> bool:
    """Reach error over time, and each gear's settled positions about its target; whether there is any."""
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
    picture = shifting.settled(reach, limits)
    chosen = parts.draw_to_pick(picture, f"reach:{engine.engine_id}", shifting.PICK)
    row = picking.picked_row(reach, chosen)
    ways.from_mark(engine.engine_id, row, data.SHIFT_SECONDS, "" if row is None else _shift_says(row))
    st.html(parts.quiet(f"{_counted(reach)} {parts.drawn_says(len(picture.rows['shifts']), len(reach), 'shift')}"))
    return True


def _counted(reach: pd.DataFrame) -> str:
    """How many shifts there are into each gear."""
    counts = reach["to_gear"].value_counts()
    said = [f"{counts[gear]} into {gear}" if gear in counts else f"none into {gear}" for gear in shifting.GEARS]
    return f"Shifts with a settled position: {', '.join(said)}."


def _shift_says(row: Mapping[Hashable, Any]) -> str:
    error = row["reach_error_pct"]
    said = "no reading" if pd.isna(error) else wording.number(float(error), indicators()["shift_reach_error"])
    return f"{row['from_gear']} to {row['to_gear']}, {row['when']}: reach error {said}"


def _way(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    """The newest shifts over the first ones, and the newest ones as a list of ways to their samples."""
    parts.section("The way there, shift by shift", "whether a shift stands still part-way, slows down or stops short")
    parts.summary(baselines.levels_say(data.states(fleet, engine.engine_id, "shift_hesitation", as_of)))
    parts.fold(
        "The newest shifts laid over the first ones",
        WAY,
        engine.engine_id,
        partial(_overlays, fleet, engine, as_of),
        is_pressing=data.pressing(fleet, engine, as_of) == "shift_hesitation",
    )
    parts.fold(
        "The newest shifts as a list, each with the way to its samples",
        NEWEST,
        engine.engine_id,
        partial(_newest, fleet, engine, as_of),
    )


def _overlays(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    found = data.overlays(fleet, engine.engine_id, as_of)
    if not found:
        parts.nothing(NO_MOVE)
        return
    st.html(
        parts.quiet(
            "Lines: the newest shifts; grey band: eight in ten of the first ones, dashed their middle; dotted: target."
        )
    )
    for move, place in parts.side_by_side(found):
        with place:
            parts.small_heading(f"{move.from_gear} to {move.to_gear}", "")
            parts.summary(move.says)
            parts.draw(shifting.overlay(move), f"overlay:{move.from_gear}:{move.to_gear}")


def _newest(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    found = data.overlays(fleet, engine.engine_id, as_of)
    if not found:
        parts.nothing(NO_MOVE)
        return
    newest = pd.concat([move.shifts for move in found]).sort_values("at_s", ascending=False)
    for row in newest.to_dict("records"):
        ways.to_samples(engine.engine_id, str(row["file"]), float(row["at_s"]), data.SHIFT_SECONDS, _shift_says(row))


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

    def drawn() -> None:
        parts.draw(shifting.offset_span(shifting.offset_span_rows(found)), "offset_span")

    parts.fold("Offset and span, run by run", TOGETHER, engine.engine_id, drawn)


def _transit(fleet: data.Fleet, engine: Engine, as_of: datetime, rows: pd.DataFrame) -> None:
    """Transit against voltage and temperature, a gear a panel, over what the baseline expects there."""
    parts.section(
        "Transit time",
        "from the step to arrival, s; low voltage and cold grease slow a sound actuator too, so marks belong into the "
        "grey band: what the first runs expect there, nine runs in ten",
    )
    states = {each.key.facet: each for each in data.states(fleet, engine.engine_id, "shift_transit_time", as_of)}
    parts.summary(baselines.levels_say(tuple(states.values())))
    parts.fold(
        "Transit time against voltage and temperature",
        TRANSIT,
        engine.engine_id,
        partial(_against, rows, states),
        is_pressing=data.pressing(fleet, engine, as_of) == "shift_transit_time",
    )


def _against(rows: pd.DataFrame, states: Mapping[str, State]) -> None:
    for (against, title), place in zip(_AGAINST, st.columns(2), strict=True):
        found = shifting.transit_rows(rows, against)
        with place:
            parts.small_heading(f"against {title.partition(',')[0]}", wording.count(len(found), "shift"))
            if found.empty:
                parts.nothing(f"No log of this engine holds what the {title.partition(',')[0]} was while it shifted.")
                continue
            expected = {
                gear: baselines.expected_line(states[gear], against) if gear in states else baselines.NO_LINE
                for gear in shifting.GEARS
            }
            picture = shifting.transit(found, expected, against, title)
            parts.draw(picture, f"transit:{against}")
            parts.fewer_drawn(len(picture.rows["shifts"]), len(found), "shift")


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
