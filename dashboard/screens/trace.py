"""Trace: any stretch of a log, channels stacked on one time axis, and the log's own shifts to jump to."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any, Final

import pandas as pd
import streamlit as st

from dashboard import data, parts, state
from dashboard.charts import tracing
from dashboard.markup import plain
from pipeline.register import Engine
from pipeline.trace import LogPlace

SHIFTS_SHOWN: Final = 40


def show() -> None:
    """Draw the screen."""
    fleet = parts.opened()
    as_of = parts.moment(fleet)
    parts.heading(fleet, "Trace", as_of)
    with st.container(horizontal=True, vertical_alignment="bottom", key="pickers"):
        boat = parts.chosen_boat(fleet)
        engine = parts.chosen_engine(fleet, boat)
        place = _chosen_log(fleet, engine, data.logs_of(fleet, engine.engine_id, as_of))
    from_s, to_s = _stretch(place, fleet)
    found = data.trace(fleet, place, from_s, to_s)
    _panels(found, from_s, to_s, fleet)
    _shifts(engine, place, data.shifts(fleet, engine.engine_id, as_of))


def _chosen_log(fleet: data.Fleet, engine: Engine, places: tuple[LogPlace, ...]) -> LogPlace:
    if not places:
        parts.nothing(f"No log of {engine.id} has been read up to this moment.")
        st.stop()
    by_file = {place.file: place for place in places}
    asked = state.read(state.LOG)
    if asked is not None and asked not in by_file:
        parts.note(f"There is no log {asked!r} of this engine up to this moment, so the newest is shown.")
        asked = None
    names = {place.file: data.local_text(fleet, place.from_s) for place in places}
    chosen = parts.picked("Log", names, asked or places[0].file, state.LOG)
    return by_file[chosen or places[0].file]


def _stretch(place: LogPlace, fleet: data.Fleet) -> tuple[float, float]:
    """From and to (epoch s): about the moment of the address, else the whole log; the slider moves both."""
    first, last = data.stretch(place, state.read(state.FROM), state.read(state.SECONDS))
    length = place.to_s - place.from_s
    st.html(parts.file_line(place.file, data.local_text(fleet, place.from_s)))
    chosen = st.slider(
        "Seconds from the log's start",
        0.0,
        max(length, 1.0),
        (first - place.from_s, last - place.from_s),
        step=0.5,
        key=f"stretch:{place.log_id}:{first:.1f}:{last:.1f}",
    )
    return place.from_s + chosen[0], place.from_s + max(chosen[1], chosen[0] + 0.5)


def _panels(found: pd.DataFrame, from_s: float, to_s: float, fleet: data.Fleet) -> None:
    if found.empty:
        parts.nothing("The log holds no sample in this stretch.")
        return
    span = data.span_ms(fleet, from_s, to_s)
    for panel, rows in tracing.panel_rows(found):
        st.html(parts.small_title(panel.title))
        parts.draw(tracing.panel(panel, rows, span), f"trace:{panel.title}")


def _shifts(engine: Engine, place: LogPlace, shifts: pd.DataFrame) -> None:
    mine = shifts[shifts["log_id"] == place.log_id]
    parts.section("Shifts of this log", "each opens the trace about itself")
    if mine.empty:
        parts.nothing("No shift in this log.")
        return
    whole = state.link(boat=engine.boat_id, engine=engine.id, log=place.file)
    with st.container(key="shift_links"):
        st.page_link("screens/trace.py", label="the whole log", query_params=whole)
        for row in mine.head(SHIFTS_SHOWN).to_dict("records"):
            about = data.about(row["at_s"], data.SHIFT_SECONDS)
            st.page_link("screens/trace.py", label=plain(_shift_label(row)), query_params={**whole, **about})


def _shift_label(row: Mapping[Hashable, Any]) -> str:
    reading = (
        f"reach error {row['reach_error_pct']:+.2f} %" if pd.notna(row["reach_error_pct"]) else str(row["why_null"])
    )
    return f"{str(row['when'])[-8:]}  {row['from_gear']} to {row['to_gear']}: {reading}".replace("-", "−")


show()
