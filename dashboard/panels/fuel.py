"""Fuel: the trim at idle, cold and hot, their middle, and what the whole fleet did at once."""

from __future__ import annotations

from datetime import datetime

import pandas as pd
import streamlit as st

from dashboard import data, parts, ways
from dashboard.charts import idling, picking
from dashboard.panels.idle import WINDOW_SECONDS
from pipeline import baselines, needs, wording
from pipeline.catalogue import indicators
from pipeline.register import Engine

NAME = "idle_fuel_trim"


def show(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    """Draw the section."""
    indicator = indicators()[NAME]
    limits = data.limits(fleet, NAME, engine.engine_id)
    states = data.states(fleet, engine.engine_id, NAME, as_of)
    rows = idling.trim_rows(data.idle_windows(fleet, engine.engine_id, as_of))
    parts.section(
        "Fuel trim at idle",
        f"what the closed loop adds, %; {parts.limits_text(limits.watch, limits.hold, indicator)}, for what the engine "
        "does beyond the fleet's common step; cold and hot are never mixed, the grey line is halfway between a day's "
        "two medians: what a table can be right for",
    )
    if rows.empty:
        held = data.channels(fleet, engine.engine_id, as_of).held
        parts.nothing(needs.why_empty(NAME, held, "No idle window with a closed fuel loop, cold or hot."))
        return
    parts.withheld(rows, "trim_withheld")
    days = data.trim_days(fleet, engine.engine_id, as_of)
    parts.summary(f"{baselines.levels_say(states)} {baselines.middle_says(days)}")
    chart = idling.trim(rows, days, _steps(fleet, as_of), limits)
    row = picking.picked_row(rows, parts.draw_to_pick(chart, f"trim:{engine.engine_id}", idling.PICK))
    said = "" if row is None else f"idle {row['thermal']}, {row['when']}: trim {_said(row['fuel_trim_pct'])}"
    ways.from_mark(engine.engine_id, row, WINDOW_SECONDS, said)
    parts.fewer_drawn(len(chart.rows["windows"]), len(rows), "window")
    for found in data.judged(fleet, as_of).fleet_findings:
        if found.indicator == NAME:
            parts.note(found.says)
    parts.section("First runs against last runs", "the fleet's common step taken out, at like temperature")
    if states:
        st.html(parts.then_now_table([baselines.then_now(each) for each in states], "trim"))
    else:
        parts.nothing("Too few runs yet.")


def _steps(fleet: data.Fleet, as_of: datetime) -> pd.DataFrame:
    """When the whole fleet moved, on the charts' clock."""
    found = [
        {"local_ms": data.local_ms(fleet, each.since.timestamp()), "what": "whole fleet"}
        for each in data.judged(fleet, as_of).fleet_findings
        if each.indicator == NAME and each.since is not None
    ]
    return pd.DataFrame(found, columns=["local_ms", "what"])


def _said(value: float) -> str:
    return wording.number(float(value), indicators()[NAME])
