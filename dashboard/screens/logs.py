"""Logs: what came in and what was refused, a log brought in by hand, a channel map for logs nobody has described."""

from __future__ import annotations

import streamlit as st

from dashboard import parts, state
from dashboard.panels import bring_in, came_in, map_log

CAME_IN = "came in"
PARTS = {CAME_IN: came_in.show, state.BRING_IN: bring_in.show, state.MAP_A_LOG: map_log.show}


def show() -> None:
    """Draw the screen."""
    fleet = parts.with_boats()
    as_of = parts.moment(fleet)
    parts.heading(fleet, "Logs", as_of)
    part = _part()
    if not parts.has_logs(fleet) and part == CAME_IN:
        st.stop()
    PARTS[part](fleet, as_of)


def _part() -> str:
    """The part of the screen that the address names, with the way to the others."""
    asked = state.read(state.PART)
    known = asked if asked in PARTS else CAME_IN
    key = f"logs_part:{known}"
    st.segmented_control(
        "Part of this screen",
        list(PARTS),
        default=known,
        format_func=str.capitalize,
        key=key,
        on_change=_turn_to,
        args=(key,),
        label_visibility="collapsed",
    )
    return known


def _turn_to(key: str) -> None:
    chosen = st.session_state[key]
    state.write(state.PART, chosen if chosen != CAME_IN else None)


show()
