"""A log brought in by hand, for the screen: looked at, saved into the inbox and read. All that goes wrong is said."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import blake2b
from typing import Final

import streamlit as st

from dashboard import data
from pipeline import upload
from pipeline.ingest import IngestResult, ingest
from pipeline.ledger import LedgerError
from pipeline.listing import ingest_line
from pipeline.store import StoreError
from pipeline.trial import LogYield, log_yields
from pipeline.upload import Looked

Progress = Callable[[int, int], None]

BUSY: Final = "Another ingest is at work in this fleet folder"


@dataclass(frozen=True)
class Sent:
    """A file that somebody chose: the name it came under, and its bytes."""

    name: str
    content: bytes


@dataclass(frozen=True)
class Brought:
    """What became of it. `file` is where it was saved, None where it was not; `is_read` whether an ingest took it."""

    text: str
    file: str | None = None
    is_read: bool = False
    reason: str | None = None
    engines: tuple[LogYield, ...] = ()


class _BusyError(Exception):
    """Another ingest holds the store."""


def looked(fleet: data.Fleet, boat: str, engine: str | None, sent: Sent) -> Looked | str:
    """What the log would give as that boat's or engine's; a sentence where it cannot be looked at."""
    digest = blake2b(sent.content, digest_size=16).hexdigest()
    try:
        return _looked((*fleet.edition, digest), boat, engine, sent.name, fleet, sent.content)
    except OSError as error:
        return f"The log cannot be looked at: {_said(error)}. Nothing is saved."


def bring_in(fleet: data.Fleet, boat: str, engine: str | None, sent: Sent, progress: Progress) -> Brought:
    """Save the log into the inbox and read the inbox."""
    try:
        file = upload.save(fleet.register, boat, engine, sent.name, sent.content)
    except OSError as error:
        where = fleet.register.folder / "inbox"
        return Brought(f"Not saved: {where} cannot be written ({_said(error)}). Nothing has changed.")
    return _read(fleet, file, progress)


def read_inbox(fleet: data.Fleet, progress: Progress) -> Brought:
    """Read what is new in the inbox."""
    result = _ingested(fleet, progress)
    return Brought(result if isinstance(result, str) else f"{ingest_line(result)}.")


def _read(fleet: data.Fleet, file: str, progress: Progress) -> Brought:
    result = _ingested(fleet, progress)
    if isinstance(result, str):
        return Brought(f"{file} is saved, but not read yet. {result}", file)
    reason = next((each.reason for each in result.refused if each.file == file), None)
    if reason is not None:
        return Brought(f"{file} is saved, and refused:", file, is_read=True, reason=reason)
    engines = log_yields(fleet.store, file)
    return Brought(f"{file} is saved and read. {ingest_line(result)}.", file, is_read=True, engines=engines)


def _ingested(fleet: data.Fleet, progress: Progress) -> IngestResult | str:
    """The result of an ingest, or why there was none. It waits for no other one: the screen would stand still."""
    try:
        return ingest(fleet.register, progress=progress, waiting=_do_not_wait)
    except _BusyError:
        return f"{BUSY}; read the inbox again when it has ended."
    except (LedgerError, StoreError) as error:
        return str(error)
    except (OSError, sqlite3.Error) as error:
        return f"The store cannot be written: {_said(error)}."


def _do_not_wait(_: str) -> None:
    raise _BusyError


def _said(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error) or type(error).__name__


@st.cache_resource(max_entries=4, show_spinner="Looking at the log…")
def _looked(
    edition: data.Edition,  # noqa: ARG001 - with the bytes' digest, it is the key
    boat: str,
    engine: str | None,
    name: str,
    _fleet: data.Fleet,
    _content: bytes,
) -> Looked:
    return upload.look(_fleet.register, boat, engine, name, _content)
