"""The head of every screen: whose fleet, the moment shown, the way to another morning, the sheet to print."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from functools import partial
from typing import Final

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from dashboard import data, state
from dashboard.markup import tag
from dashboard.parts.words import note, when

FIRST_LIGHT: Final = time(6, 0)
"""The time of day a replayed morning starts from."""


def heading(fleet: data.Fleet, title: str, as_of: datetime) -> DeltaGenerator:
    """The screen's name, whose fleet it is, the moment shown and the way to another one; gives their row."""
    about = tag(
        "div",
        tag("b", fleet.register.name),
        tag("span", "simulated data", class_="mw-simulated") if fleet.register.simulated else None,
        tag("span", f"as of {when(as_of)} {as_of:%Z}"),
        class_="mw-about",
    )
    row = st.container(horizontal=True, vertical_alignment="bottom", key="replay")
    is_replay = state.read(state.AS_OF) is not None
    with row:
        st.html(tag("div", tag("h1", title), about, class_="mw-title"))
        if not is_replay:
            _day_before(fleet, as_of)
        with st.popover("Another morning", width="content"):
            _replay_form(as_of)
    if is_replay:
        _replay_bar(fleet, as_of)
    if fleet.is_behind:
        _behind_bar(fleet)
    return row


def sheet(fleet: data.Fleet, as_of: datetime) -> None:
    """The sheet for the clipboard, to take away; it is made when it is asked for."""
    with st.popover("Sheet to print", width="content"):
        st.html(tag("p", "One sheet for the clipboard, with boxes to tick and room to sign."))
        for form, (label, kind) in _SHEETS.items():
            st.download_button(
                label,
                partial(data.sheet, fleet, as_of, form),
                file_name=f"morning-{as_of:%Y-%m-%d}{form}",
                mime=kind,
                on_click="ignore",
                key=f"sheet{form}",
                width="stretch",
            )


_SHEETS: Final = {
    ".pdf": ("PDF", "application/pdf"),
    ".html": ("Page (HTML)", "text/html"),
    ".csv": ("Table (CSV)", "text/csv"),
}


def _replay_bar(fleet: data.Fleet, as_of: datetime) -> None:
    """Any morning can be looked at as it was: nothing later than its moment is used."""
    with st.container(horizontal=True, vertical_alignment="center", key="replay_bar"):
        st.html(tag("span", "Replay: nothing later is used.", class_="mw-replay"), width="content")
        _day_before(fleet, as_of)
        st.button("Day after", key="day_after", on_click=_go_to, args=(as_of + timedelta(days=1), fleet))
        st.button("Back to now", key="back_to_now", on_click=state.write, args=(state.AS_OF, None))


def _day_before(fleet: data.Fleet, as_of: datetime) -> None:
    st.button("Day before", key="day_before", on_click=_go_to, args=(as_of - timedelta(days=1), fleet))


@st.fragment(run_every="1s")
def _behind_bar(fleet: data.Fleet) -> None:
    """Says that something newer is being judged, and shows it as soon as it is."""
    if data.is_newer_ready(fleet):
        st.rerun()
    note("Logs or notes came in after this and are being judged; the screen follows by itself.")


def _replay_form(as_of: datetime) -> None:
    with st.form("replay_form", border=False):
        day = st.date_input("Day", as_of.date(), format="YYYY-MM-DD", key=f"replay_day:{as_of:%Y-%m-%d}")
        at = st.time_input("Time", FIRST_LIGHT, key="replay_time")
        if st.form_submit_button("Show that morning") and isinstance(day, date):
            state.write(state.AS_OF, datetime.combine(day, at).isoformat(timespec="minutes"))
            st.rerun()


def _go_to(moment_: datetime, fleet: data.Fleet) -> None:
    state.write(state.AS_OF, moment_.astimezone(fleet.zone).replace(tzinfo=None).isoformat(timespec="minutes"))
