"""Logbook: write down what was done, and read what was."""

from __future__ import annotations

from datetime import datetime
from typing import Final

import streamlit as st

from dashboard import data, parts, state
from dashboard.markup import tag
from pipeline.logbook import DEFAULT_DEFERRAL, Kind
from pipeline.register import Boat

NOTES_SHOWN: Final = 100
WHOLE_BOAT: Final = "whole boat"


def show() -> None:
    """Draw the screen."""
    fleet = parts.opened()
    as_of = parts.moment(fleet)
    parts.heading(fleet, "Logbook", as_of)
    boat = parts.chosen_boat(fleet)
    saved = st.session_state.pop(state.NOTE_SAVED, None)
    if saved is not None:
        parts.note(saved)
    parts.section("Write a note", "a note stays for good; a wrong one is answered by another")
    _form(fleet, boat)
    parts.section(f"Notes about {boat.name}", "the newest first")
    written = data.written(fleet, as_of, boat.id)
    if written:
        st.html(tag("ul", *(parts.note_line(each, fleet) for each in written[:NOTES_SHOWN]), class_="mw-notes"))
    else:
        parts.nothing("No note yet.")


def _form(fleet: data.Fleet, boat: Boat) -> None:
    here = st.session_state.setdefault(state.NOTE_OPENED, datetime.now(fleet.zone))
    with st.form(f"note:{boat.id}", clear_on_submit=True):
        engine = st.selectbox("Engine", [WHOLE_BOAT, *(each.id for each in boat.engines)], key=f"note_engine:{boat.id}")
        kind = st.selectbox(
            "What was done",
            list(Kind),
            format_func=lambda each: f"{each.value.replace('_', ' ')}: {each.meaning}",
            key="note_kind",
        )
        text = st.text_area("In words", key="note_text")
        author = st.text_input("By (may stay empty)", key="note_author")
        day = st.date_input("Done on", here.date(), key="note_day")
        at = st.time_input("at", here.time().replace(second=0, microsecond=0), key="note_time", step=300)
        until = st.date_input(
            "Deferred until (for a deferral only)", (here + DEFAULT_DEFERRAL).date(), key="note_until"
        )
        if st.form_submit_button("Write the note", type="primary"):
            done_at = datetime.combine(day, at, fleet.zone)
            said = data.write_note(
                fleet,
                boat.id,
                None if engine == WHOLE_BOAT else engine,
                kind or Kind.REMARK,
                text,
                done_at,
                author,
                until,
            )
            if said.is_written:
                st.session_state[state.NOTE_SAVED] = said.text
                del st.session_state[state.NOTE_OPENED]
                st.rerun()
            parts.note(said.text)


show()
