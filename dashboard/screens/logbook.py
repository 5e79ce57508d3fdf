"""Logbook: write down what was done, see whether it held, and read what was written."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final
from uuid import uuid4

import streamlit as st

from dashboard import data, parts, sign_in, state
from dashboard.markup import join, tag
from dashboard.panels import notes as panel
from pipeline import wording
from pipeline.logbook import DEFAULT_DEFERRAL, Kind, Note
from pipeline.morning import Morning
from pipeline.register import Boat
from pipeline.register.words import did_you_mean

WHOLE_BOAT: Final = "whole boat"
ALL: Final = ""
ANSWERED: Final = ("held", "came back", "not mended", "not seen yet", "nothing stood out", "answers nothing")


def show() -> None:
    """Draw the screen."""
    fleet = parts.opened()
    as_of = parts.moment(fleet)
    parts.heading(fleet, "Logbook", as_of)
    boat = _chosen_boat(fleet)
    morning = data.judged(fleet, as_of)
    known = panel.outcomes(morning)
    every = data.written(fleet, as_of)
    mine = every if boat is None else tuple(note for note in every if note.boat == boat.id)
    _saved(fleet, known, morning)
    _waiting(fleet, mine, known, morning)
    parts.section("Write a note", "a note stays for good; a wrong one is put right by another")
    if boat is None:
        parts.nothing("Choose a boat above to write about it.")
    else:
        _form(fleet, boat, mine)
    _list(fleet, boat, mine, known)


def _chosen_boat(fleet: data.Fleet) -> Boat | None:
    """The boat of the address; none shows the whole fleet's notes."""
    boats = {boat.id: boat for boat in fleet.register.boats}
    asked = state.read(state.BOAT)
    if asked is not None and asked not in boats:
        parts.note(f"There is no boat {asked!r} in the register. {did_you_mean(asked, boats)} Choose one below.")
        state.write(state.BOAT, None)
        asked = None
    names = {ALL: "all boats", **{boat.id: boat.name for boat in boats.values()}}
    found = parts.picked("Boat", names, asked or ALL, state.BOAT) or None
    state.write(state.BOAT, found)
    return boats[found] if found else None


def _saved(fleet: data.Fleet, known: panel.Outcomes, morning: Morning) -> None:
    """What was written last and what follows from it, once."""
    note: Note | None = st.session_state.pop(state.NOTE_SAVED, None)
    if note is not None:
        follows = panel.consequence(note, known, morning, fleet)
        parts.note(" ".join([f"Note {note.note_id} is written.", *follows]))


def _waiting(fleet: data.Fleet, notes: Sequence[Note], known: panel.Outcomes, morning: Morning) -> None:
    """What nobody can say yet whether it held, and what is put off."""
    parts.section("Waits for its next logs", "what was done since the newest log, and what is put off")
    waiting = panel.waiting(notes, known, morning)
    if waiting:
        st.html(panel.listed(waiting, known, fleet, boats=True))
    else:
        parts.nothing("Nothing waits.")


def _form(fleet: data.Fleet, boat: Boat, notes: Sequence[Note]) -> None:
    """The form for one act of writing. Its keys hold the act's name: a second press finds no form, writes nothing."""
    entry = str(st.session_state.setdefault(state.NOTE_ENTRY, uuid4().hex))
    here: datetime = st.session_state.setdefault(state.NOTE_OPENED, datetime.now(fleet.zone))
    kind = st.selectbox("What was done", list(Kind), format_func=wording.note_kind, key=f"note_kind:{entry}", width=340)
    kind = kind or Kind.REMARK
    st.html(tag("p", kind.meaning, class_="mw-quiet"))
    with st.form(f"note:{boat.id}:{entry}"):
        engines = [WHOLE_BOAT, *(each.id for each in boat.engines)]
        asked = state.read(state.ENGINE)
        first = engines.index(asked) if asked in engines else 0
        engine = st.selectbox("Engine", engines, first, key=f"note_engine:{boat.id}:{entry}")
        text = st.text_area("In words", key=f"note_text:{entry}")
        author = _author(entry)
        day = st.date_input("Done on", here.date(), key=f"note_day:{entry}")
        at = st.time_input("at", here.time().replace(second=0, microsecond=0), key=f"note_time:{entry}", step=300)
        until = (here + DEFAULT_DEFERRAL).date()
        if kind is Kind.DEFER:
            until = st.date_input("Deferred until the end of", until, key=f"note_until:{entry}") or until
        about: dict[int | None, str] = {
            None: "no earlier note",
            **{note.note_id: _note_said(note, fleet) for note in data.in_force(notes)},
        }
        corrects = st.selectbox(
            "Puts right (what it puts right stays, and counts no more)",
            list(about),
            format_func=lambda each: about[each],
            key=f"note_corrects:{entry}",
        )
        if st.form_submit_button("Write the note", type="primary"):
            done_at = datetime.combine(day, at, fleet.zone)
            whose = None if engine == WHOLE_BOAT else engine
            draft = data.Draft(boat.id, whose, kind, text, done_at, author, until, corrects, entry)
            _write(fleet, draft)


def _write(fleet: data.Fleet, draft: data.Draft) -> None:
    said = data.write_note(fleet, draft)
    if said.note is None:
        parts.note(said.text)
        return
    st.session_state[state.NOTE_SAVED] = said.note
    st.session_state.pop(state.NOTE_ENTRY, None)
    st.session_state.pop(state.NOTE_OPENED, None)
    st.rerun()


def _author(entry: str) -> str:
    """Who writes: the one who has signed in, whom nobody can type over; else what is typed."""
    name = sign_in.name()
    typed = st.text_input(
        "By" if name else "By (may stay empty)", name or "", key=f"note_author:{entry}", disabled=name is not None
    )
    return name or typed


def _note_said(note: Note, fleet: data.Fleet) -> str:
    day = wording.date(note.at.astimezone(fleet.zone))
    return f"{note.note_id}, {day}, {note.engine or WHOLE_BOAT}, {wording.note_kind(note.kind)}: {note.text[:60]}"


def _list(fleet: data.Fleet, boat: Boat | None, notes: Sequence[Note], known: panel.Outcomes) -> None:
    """What was written, the newest first, of one engine, one kind or one outcome if asked."""
    parts.section(f"Notes about {boat.name}" if boat else "Notes of the whole fleet", "the newest first")
    if not notes:
        parts.nothing("No note yet.")
        return
    with st.container(horizontal=True, vertical_alignment="bottom", key="note_filters"):
        engines = [ALL, WHOLE_BOAT, *(each.id for each in boat.engines)] if boat else [ALL]
        engine = _filter("Of", engines, "all engines", f"notes_of:{boat.id}") if boat else ALL
        kind = _filter("Kind", [ALL, *sorted({note.kind.value for note in notes})], "every kind", "notes_kind")
        answered = _filter("What came of it", [ALL, *ANSWERED], "any", "notes_answered")
    shown = [note for note in notes if _is_asked(note, engine, kind, answered, known)]
    if not shown:
        parts.nothing("No note of this kind.")
        return
    whole = join([panel.listed(shown[: panel.NOTES_SHOWN], known, fleet, boats=boat is None)])
    st.html(whole)
    if len(shown) > panel.NOTES_SHOWN:
        older = wording.count(len(shown) - panel.NOTES_SHOWN, "older note")
        st.html(tag("p", f"{older}: morningwatch export notes.", class_="mw-quiet"))


def _filter(label: str, options: Sequence[str], every: str, key: str) -> str:
    chosen = st.selectbox(label, options, format_func=lambda each: each.replace("_", " ") or every, key=key, width=240)
    return chosen or ALL


def _is_asked(note: Note, engine: str, kind: str, answered: str, known: panel.Outcomes) -> bool:
    outcomes = {each.outcome for each in known.get(note.note_id, ())}
    is_outcome = not outcomes if answered == "answers nothing" else answered in outcomes
    return (
        (not engine or (note.engine or WHOLE_BOAT) == engine)
        and (not kind or note.kind.value == kind)
        and (not answered or is_outcome)
    )


show()
