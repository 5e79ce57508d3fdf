"""Idle: the integral against temperature, first runs against last runs, and what the table could be changed by."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final

import streamlit as st

from dashboard import data, parts, ways
from dashboard.charts import idling, picking
from dashboard.markup import Html, tag
from pipeline import baselines, needs, wording
from pipeline.baselines import ThenNow
from pipeline.catalogue import indicators
from pipeline.corrections import Correction, Corrections
from pipeline.register import Engine

GEARS: Final = ("reverse", "neutral", "forward")

WINDOW_SECONDS: Final = 40.0
"""How much of a log is shown about an idle window."""


def show(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    """Draw the section."""
    indicator = indicators()["idle_integral"]
    limits = data.limits(fleet, "idle_integral", engine.engine_id)
    states = {each.key.facet: each for each in data.states(fleet, engine.engine_id, "idle_integral", as_of)}
    compared = {gear: baselines.then_now(each) for gear, each in states.items()}
    rows = data.idle_windows(fleet, engine.engine_id, as_of)
    parts.section(
        "Integral against temperature",
        f"% against °C; {parts.limits_text(limits.watch, limits.hold, indicator)}; dashed in grey: what the first runs "
        "expect of a warm engine, nine runs in ten",
    )
    if rows.empty or rows["integral_pct"].isna().all():
        held = data.channels(fleet, engine.engine_id, as_of).held
        parts.nothing(needs.why_empty("idle_integral", held, "No idle window with an integral in these logs."))
        return
    parts.withheld(rows)
    parts.summary(baselines.levels_say(tuple(states.values())))
    for gear, place in zip(GEARS, st.columns(3), strict=True):
        found = idling.integral_rows(rows, gear, compared.get(gear))
        with place:
            band = f"wanted {wording.band(indicator.wanted[gear])} %"
            parts.small_heading(gear, f"{wording.count(len(found), 'window')}, {band}")
            if found.empty:
                parts.nothing(f"No idle window in {gear} with integral and temperature.")
                continue
            line = baselines.expected_line(states[gear], "temp_c") if gear in states else baselines.NO_LINE
            chart = idling.integral(found, line, limits, indicator.wanted[gear])
            chosen = parts.draw_to_pick(chart, f"integral:{gear}:{engine.engine_id}", idling.PICK)
            row = picking.picked_row(found, chosen)
            said = "" if row is None else f"idle in {gear}, {row['when']}: integral {_signed(row['integral_pct'])}"
            ways.from_mark(engine.engine_id, row, WINDOW_SECONDS, said)
            parts.fewer_drawn(len(chart.rows["windows"]), len(found), "window")
    _then_now([compared[gear] for gear in GEARS if gear in compared])
    _proposal(data.proposed(fleet, engine.engine_id, as_of))


def _then_now(compared: Sequence[ThenNow]) -> None:
    parts.section("First runs against last runs", "warm engine, at the temperature of the last runs")
    if not compared:
        parts.nothing("Too few warm runs yet.")
        return
    st.html(parts.then_now_table(compared, "gear"))


def _proposal(found: Corrections) -> None:
    parts.section(
        "What the idle table could be changed by, a proposal",
        "arithmetic on the logs since the last change; nothing is changed here, a person decides",
    )
    for warning in found.warnings:
        parts.note(warning)
    st.html(_cells(found))
    parts.note(found.cautions[3])


def _cells(found: Corrections) -> Html:
    rows = [(f"neutral row {each.temp_c:g} °C", each.correction) for each in found.rows]
    rows += [(f"{each.gear} add-on", each.correction) for each in found.add_ons]
    if not rows:
        return tag("div", "No idle table can be proposed from these logs.", class_="mw-nothing")
    head = tag("tr", *(tag("th", each) for each in ("cell", "proposed: add", "measured", "rests on")))
    return tag("table", tag("thead", head), tag("tbody", *(_cell(*each) for each in rows)), class_="mw-table")


def _cell(name: str, found: Correction) -> Html:
    change = "–" if found.change is None else _signed(found.change) if found.is_called_for else "leave"
    measured = "–" if found.measured is None else _signed(found.measured)
    basis = found.reason or f"{wording.count(found.windows, 'window')} in {wording.count(found.runs, 'run')}"
    return tag(
        "tr",
        tag("th", name, scope="row"),
        tag("td", change, class_="mw-figure"),
        tag("td", measured, class_="mw-figure"),
        tag("td", basis),
    )


def _signed(value: float) -> str:
    return wording.number(float(value), indicators()["idle_integral"])
