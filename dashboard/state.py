"""Every session key and query parameter, named once. The address is the truth; the session only remembers it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import streamlit as st

BOAT: Final = "boat"
ENGINE: Final = "engine"
INDICATOR: Final = "indicator"
FACET: Final = "facet"
AS_OF: Final = "as_of"
SCOPE: Final = "scope"
PART: Final = "part"
SECTION: Final = "section"
LOG: Final = "log"
FROM: Final = "from"
SECONDS: Final = "seconds"
SEARCH: Final = "search"

_KEPT: Final = (BOAT, ENGINE, INDICATOR, FACET, AS_OF)
"""Parameters that go along from screen to screen; the others belong to one link."""

STRETCH: Final = "stretch"
"""Session key, with a log's id: the stretch that was asked for last, and the address that was written for it."""

NOTE_ENTRY: Final = "note_entry"
"""Session key: the name of the act of writing a note that is under way, so that no second press writes it again."""

NOTE_OPENED: Final = "note_opened"
"""Session key: when the form for a note was opened, so that its defaults hold still while somebody writes."""

LOG_BROUGHT: Final = "log_brought"
"""Session key: what became of the log that was brought in last, shown until another one is chosen."""

UPLOADS: Final = "uploads"
"""Session key: how many logs this session brought in; an uploader with a new number is empty."""

BRING_IN: Final = "bring in a log"
"""The part of the Logs screen that takes a log."""

MAP_A_LOG: Final = "map a log"
"""The part of the Logs screen that proposes a channel map."""

MAP_TRIED: Final = "map_tried"
"""Session key: which map of which log was tried last; a map is saved only as it was tried."""

MAP_SAVED: Final = "map_saved"
"""Session key: what became of the map that was saved last, shown once after the rerun."""

NOTE_SAVED: Final = "note_saved"
"""Session key: the note written last, shown once after the rerun."""


def remember() -> None:
    """Keep what the address says for the next screen. Call it once a run, before any screen."""
    for name in _KEPT:
        if name in st.query_params:
            st.session_state[_key(name)] = st.query_params[name]


def read(name: str) -> str | None:
    """A parameter: from the address, else what an earlier screen of this session was given; None where neither is."""
    found = st.query_params.get(name) or (st.session_state.get(_key(name)) if name in _KEPT else None)
    return str(found) if found else None


def write(name: str, value: str | None) -> None:
    """Put a parameter into the address, so that it can be kept and sent; None takes it out."""
    if value is None:
        st.query_params.pop(name, None)
        st.session_state.pop(_key(name), None)
    else:
        if st.query_params.get(name) != value:
            st.query_params[name] = value
        st.session_state[_key(name)] = value


def tell() -> None:
    """Put the address as it stands into the browser's bar: a link from a screen to itself leaves the old one there."""
    st.query_params.from_dict(st.query_params.to_dict())


def link(**parameters: str | None) -> Mapping[str, str]:
    """Query parameters of a link; the replayed moment goes along, what is None stays out."""
    asked = {AS_OF: read(AS_OF), **parameters}
    return {name: value for name, value in asked.items() if value}


def _key(name: str) -> str:
    return f"kept_{name}"
