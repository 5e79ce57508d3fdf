"""Notes as they are shown: what was done, by whom, what came of it on each engine, and what was put right later."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

import streamlit as st

from dashboard import data, parts
from dashboard.markup import Html, tag
from pipeline import wording
from pipeline.aftermath import Aftermath, Outcome
from pipeline.logbook import Note
from pipeline.morning import Morning

Outcomes = Mapping[int, Sequence[Aftermath]]
"""What came of each note that answers something, an engine each, by the note's number."""

NOTES_SHOWN: Final = 100

_SYMBOLS: Final[Mapping[Outcome, str]] = {
    "held": "●",
    "came back": "▲",
    "not mended": "▲",
    "not seen yet": "?",
    "nothing stood out": "–",
}
_STATUSES: Final[Mapping[Outcome, str]] = {
    "held": "mw-ready",
    "came back": "mw-watch",
    "not mended": "mw-watch",
    "not seen yet": "mw-unchecked",
    "nothing stood out": "mw-quiet",
}


def outcomes(morning: Morning) -> Outcomes:
    """What came of the notes of all boats."""
    found: dict[int, list[Aftermath]] = {}
    for each in (each for line in morning.boats for each in line.notes):
        found.setdefault(each.note.note_id, []).append(each)
    return found


def listed(notes: Sequence[Note], known: Outcomes, fleet: data.Fleet, *, boats: bool = False) -> Html:
    """Notes as a list, the newest first; with `boats` each names its boat. Corrected ones stay and say so."""
    corrected = {note.corrects: note.note_id for note in notes if note.corrects is not None}
    lines = [_line(note, known.get(note.note_id, ()), corrected.get(note.note_id), fleet, boats) for note in notes]
    return tag("ul", *lines, class_="mw-notes")


def _line(note: Note, after: Iterable[Aftermath], corrected_by: int | None, fleet: data.Fleet, boats: bool) -> Html:  # noqa: FBT001
    place = note.engine or "whole boat"
    who = f"{fleet.boat_name(note.boat)}, {place}" if boats else place
    by = f" ({note.author})" if note.author else ""
    about = f" {who}, {parts.when(note.at.astimezone(fleet.zone))}{by}"
    return tag(
        "li",
        tag("span", f"{note.note_id}", class_="mw-number", title="number of the note"),
        tag("b", wording.note_kind(note.kind)),
        about,
        tag("span", f", {_until(note, fleet)}") if note.until else None,
        tag("div", tag("s", note.text) if corrected_by else note.text),
        _corrected(note, corrected_by),
        *(_outcome(each) for each in after if corrected_by is None),
        class_="mw-gone" if corrected_by else None,
    )


def _until(note: Note, fleet: data.Fleet) -> str:
    return f"until {parts.when(note.until.astimezone(fleet.zone))}" if note.until else ""


def _corrected(note: Note, corrected_by: int | None) -> Html | None:
    """What a correction puts right, or by which note a note was put right."""
    if corrected_by is not None:
        return tag("div", f"Put right by note {corrected_by}; it counts no more.", class_="mw-after")
    if note.corrects is not None:
        return tag("div", f"Puts note {note.corrects} right.", class_="mw-after")
    return None


def _outcome(found: Aftermath) -> Html:
    symbol = tag("span", _SYMBOLS[found.outcome], class_=f"mw-symbol {_STATUSES[found.outcome]}", aria_hidden="true")
    return tag("div", symbol, wording.outcome_says(found), class_="mw-after")


def of_boat(fleet: data.Fleet, morning: Morning, boat: str, engine: str | None, most: int) -> None:
    """The last notes of a boat, or those that concern one of its engines, with what came of them."""
    parts.section("Last notes", "what was done, and what came of it")
    written = data.written(fleet, morning.as_of, boat, engine)
    if written:
        st.html(listed(written[:most], outcomes(morning), fleet))
    else:
        parts.nothing("No note about this engine yet." if engine else "No note about this boat yet.")
    parts.logbook_link(boat, engine)


def waiting(notes: Sequence[Note], known: Outcomes, morning: Morning) -> tuple[Note, ...]:
    """Notes whose next log has not come in, and deferrals that still run; corrected ones count no more."""
    in_force = data.in_force(notes)
    return tuple(
        note
        for note in in_force
        if note.defers_at(morning.as_of) or any(each.outcome == "not seen yet" for each in known.get(note.note_id, ()))
    )


def consequence(note: Note, known: Outcomes, morning: Morning, fleet: data.Fleet) -> list[str]:
    """What follows from a note that was just written, in sentences."""
    if note.at > morning.as_of:
        return ["It is later than the morning shown, which does not know it yet."]
    said = [f"{wording.outcome_says(each)}.".capitalize() for each in known.get(note.note_id, ())]
    if note.until is not None:
        said.append(_deferred(note, morning, fleet))
    if data.starts_anew(note):
        said.append("The engine is compared with itself from here on.")
    return said


def _deferred(note: Note, morning: Morning, fleet: data.Fleet) -> str:
    """Which findings the deferral covers: they stay listed."""
    titles = [
        f"{found.engine}: {wording.headline(found) or found.says}"
        for line in morning.boats
        if line.boat == note.boat
        for found in line.findings
        if found.deferred_until == note.until
    ]
    if not titles:
        return "Nothing that stands out now falls under it."
    return f"Stays listed, {_until(note, fleet)}: {'; '.join(titles)}."
