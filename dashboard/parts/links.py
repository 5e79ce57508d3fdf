"""Links to other screens, each by ids."""

from __future__ import annotations

from urllib.parse import urlencode

import streamlit as st

from dashboard import state
from dashboard.markup import Html, plain, tag


def anchor(screen: str, label: str, **parameters: str | None) -> Html:
    """A link to a screen inside other markup: lighter than a page link, and it can stand in a heading."""
    return tag("a", label, href=f"{screen}?{urlencode(state.link(**parameters))}", target="_self")


def boat_link(boat: str, name: str) -> None:
    """A link to the boat's screen, by its id."""
    st.page_link("screens/boat.py", label=plain(name), query_params=state.link(boat=boat, engine=None))


def engine_link(boat: str, engine: str, label: str | None = None) -> None:
    """A link to the engine's screen, by its id."""
    st.page_link("screens/engine.py", label=plain(label or engine), query_params=state.link(boat=boat, engine=engine))


def method_link(indicator: str) -> None:
    """A link to how an indicator is judged."""
    st.page_link(
        "screens/method.py",
        label="how this is judged ›",
        query_params=state.link(indicator=indicator, part="Indicator"),
    )


def logbook_link(boat: str, engine: str | None = None) -> None:
    """A link to the logbook, where a note about it can be written."""
    st.page_link("screens/logbook.py", label="write a note ›", query_params=state.link(boat=boat, engine=engine))
