"""Engine: how it shifts, how it idles, how it is fuelled, how it answers, and what the logs hold of it."""

from __future__ import annotations

from typing import Final

import streamlit as st

from dashboard import data, parts, state, ways
from dashboard.markup import Html, tag
from dashboard.panels import evidence, fuel, idle, notes, response, shifting
from pipeline.findings import Finding
from pipeline.morning import Morning
from pipeline.ranking import EngineLine
from pipeline.register import Engine

NOTES_SHOWN: Final = 5

SECTIONS: Final = {
    "Shifting": shifting.show,
    "Idle": idle.show,
    "Fuel": fuel.show,
    "Response": response.show,
    "Evidence": evidence.show,
}

_SEEN_IN: Final = {
    "shift": "Shifting",
    "idle_integral": "Idle",
    "idle_fuel": "Fuel",
    "idle_s": "Response",
    "engagement": "Response",
    "release": "Response",
    "off_idle": "Response",
    "stall": "Response",
    "signal": "Evidence",
    "evidence": "Evidence",
}
"""Where an indicator is looked at, by how its name begins."""


def show() -> None:
    """Draw the screen."""
    fleet = parts.opened()
    as_of = parts.moment(fleet)
    parts.heading(fleet, "Engine", as_of)
    with st.container(horizontal=True, vertical_alignment="bottom", key="pickers"):
        boat = parts.chosen_boat(fleet)
        engine = parts.chosen_engine(fleet, boat)
    morning = data.judged(fleet, as_of)
    line = next(each for each in morning.boats if each.boat == boat.id)
    mine = next(each for each in line.engines if each.engine == engine.id)
    st.html(_standing(line.name, engine, mine, morning))
    found = [each for each in line.findings if each.engine == engine.id]
    for place, each in enumerate(found):
        st.html(parts.finding(each, morning))
        ways.from_finding(boat.id, each, str(place))
    SECTIONS[_section(engine, found)](fleet, engine, as_of)
    notes.of_boat(fleet, morning, boat.id, engine.id, NOTES_SHOWN)
    parts.cautions()


def _section(engine: Engine, found: list[Finding]) -> str:
    """Which section to draw: the one chosen, else the address's, else where the most pressing finding is."""
    asked = state.read(state.SECTION)
    if asked is not None and asked not in SECTIONS:
        parts.note(f"There is no section {asked!r}. Choose one: {', '.join(SECTIONS)}.")
    first = asked if asked in SECTIONS else _first_section(found)
    key = f"section:{engine.engine_id}:{first}"
    chosen = st.segmented_control("Look at", list(SECTIONS), default=first, key=key, label_visibility="collapsed")
    return chosen or first


def _first_section(found: list[Finding]) -> str:
    """Where the most pressing finding is looked at."""
    name = found[0].indicator if found else ""
    return next((section for begin, section in _SEEN_IN.items() if name.startswith(begin)), next(iter(SECTIONS)))


def _standing(boat_name: str, engine: Engine, line: EngineLine, morning: Morning) -> Html:
    hours = f"{line.hours:.1f} h" if line.hours is not None else None
    serial = f"serial {engine.serial}" if engine.serial else None
    said = [parts.age(line.last_log, morning.as_of), hours, _service(engine, line), serial]
    return tag(
        "div",
        parts.badge(line.status),
        tag("b", f"{boat_name}, {engine.id}", class_="mw-name"),
        tag("span", ", ".join(each for each in said if each), class_="mw-quiet"),
        class_="mw-line",
    )


def _service(engine: Engine, line: EngineLine) -> str | None:
    since = data.since_service(engine, line.hours)
    every = engine.service.every_hours if engine.service else None
    if since is None or every is None:
        return None
    return f"service {since - every:.0f} h overdue" if since > every else f"service in {every - since:.0f} h"


show()
