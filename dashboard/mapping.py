"""A channel map for an unknown log, for the screen: proposed, tried and saved. All that goes wrong is said."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from tempfile import TemporaryDirectory

import streamlit as st

from dashboard import data
from dashboard.incoming import Sent
from pipeline.catalogue import indicators
from pipeline.inbox_files import unreadable
from pipeline.proposal import Proposal, propose
from pipeline.proposal.preview import preview
from pipeline.register import RegisterError, write_map
from pipeline.trial import Trial
from pipeline.upload import safe_name


@dataclass(frozen=True)
class Saved:
    """What became of a map that somebody wanted saved."""

    is_saved: bool
    text: str


def digest(sent: Sent) -> str:
    """What keeps one log's choices from being taken for another's."""
    return blake2b(sent.name.encode("utf-8", "replace") + b"\0" + sent.content, digest_size=12).hexdigest()


def from_inbox(fleet: data.Fleet, file: str) -> Sent | str:
    """A file of the inbox; a sentence where it cannot be read."""
    try:
        return Sent(Path(file).name, (fleet.register.folder / file).read_bytes())
    except OSError as error:
        return unreadable(file, error).sentence()


def proposed(fleet: data.Fleet, sent: Sent, boat: str | None) -> Proposal | str:
    """The map proposed for a log, as that boat's if one is named; a sentence where there is no room to look at it."""
    try:
        return _proposed(digest(sent), fleet.edition, boat, fleet, sent)
    except OSError as error:
        return f"The log cannot be looked at: {error.strerror}."


def tried(fleet: data.Fleet, sent: Sent, proposal: Proposal, boat: str | None) -> Trial | str:
    """What the log would give by the map; a sentence where there is no room to try it."""
    try:
        return _tried(digest(sent), proposal.toml(), fleet.edition, boat, fleet, sent, proposal)
    except OSError as error:
        return f"The map cannot be tried: {error.strerror}."


def save(fleet: data.Fleet, proposal: Proposal, name: str, boats: tuple[str, ...], *, replace: bool) -> Saved:
    """Put the map into fleet.toml and let the boats use it."""
    folder = fleet.register.folder
    known = frozenset(indicators())
    try:
        written = write_map(folder, name, proposal.table_lines(), boats=boats, replace=replace, indicators=known)
    except RegisterError as error:
        return Saved(is_saved=False, text=f"Not saved. {error}")
    except OSError as error:
        return Saved(
            is_saved=False, text=f"Not saved: fleet.toml cannot be written ({error.strerror}). Nothing has changed."
        )
    used = f" {', '.join(boats)} uses it; the next reading of the inbox reads its logs anew." if boats else ""
    how = {"written": "is written into", "replaced": "is replaced in", "unchanged": "stands already in"}[written.status]
    return Saved(is_saved=True, text=f"Channel map {name} {how} fleet.toml.{used}")


@contextmanager
def _on_disk(sent: Sent) -> Iterator[Path]:
    with TemporaryDirectory(prefix="morningwatch-") as place:
        path = Path(place) / safe_name(sent.name)
        path.write_bytes(sent.content)
        yield path


@st.cache_resource(max_entries=4, show_spinner="Looking at the columns…")
def _proposed(
    log: str,  # noqa: ARG001 - with the edition, it is the key
    edition: data.Edition,  # noqa: ARG001
    boat: str | None,
    _fleet: data.Fleet,
    _sent: Sent,
) -> Proposal:
    with _on_disk(_sent) as path:
        return propose(path, _fleet.register.boat(boat) if boat else None, limits=_fleet.register.reading)


@st.cache_resource(max_entries=8, show_spinner="Trying the map…")
def _tried(
    log: str,  # noqa: ARG001 - with the map and the edition, it is the key
    channel_map: str,  # noqa: ARG001
    edition: data.Edition,  # noqa: ARG001
    boat: str | None,
    _fleet: data.Fleet,
    _sent: Sent,
    _proposal: Proposal,
) -> Trial:
    return preview(_proposal, _sent.content, _fleet.register, boat)
