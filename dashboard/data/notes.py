"""The logbook: what is written in it, and a note that somebody wants to write."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from dashboard.data.morning import Fleet
from pipeline import logbook
from pipeline.logbook import Kind, Note


@dataclass(frozen=True)
class Draft:
    """A note that somebody wants to write. `until`, a day's end, counts for a deferral alone; `entry` names the act."""

    boat: str
    engine: str | None
    kind: Kind
    text: str
    at: datetime
    author: str
    until: date
    corrects: int | None
    entry: str


@dataclass(frozen=True)
class Said:
    """What became of it: the note, or in words why it was not written."""

    note: Note | None
    text: str


def write_note(fleet: Fleet, draft: Draft) -> Said:
    """Write a note, once for each entry; what is wrong with it comes back in words."""
    end = datetime.combine(draft.until, time(23, 59, 59), fleet.zone) if draft.kind is Kind.DEFER else None
    try:
        found = logbook.add_note(
            fleet.register.folder,
            draft.boat,
            draft.engine,
            draft.kind,
            draft.text,
            draft.at,
            draft.author.strip() or None,
            end,
            corrects=draft.corrects,
            entry=draft.entry,
        )
    except ValueError as error:
        return Said(None, f"Not written: {error}.")
    return Said(found, f"Note {found.note_id} is written.")


def in_force(notes: Sequence[Note]) -> tuple[Note, ...]:
    """The notes that still count: no later one put them right."""
    return logbook.in_force(notes)


def starts_anew(note: Note) -> bool:
    """Whether the engine is compared anew from this note on."""
    return note.kind in logbook.REBASING


def written(fleet: Fleet, as_of: datetime, boat: str | None = None, engine: str | None = None) -> tuple[Note, ...]:
    """The notes up to a moment, the newest first."""
    return logbook.notes(fleet.register.folder, boat, engine, as_of)[::-1]
