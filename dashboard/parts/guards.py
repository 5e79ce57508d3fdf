"""What a screen needs before it can show anything: a fleet that can be read, boats, logs, a moment."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

import streamlit as st

from dashboard import data, state
from dashboard.markup import tag
from dashboard.parts.words import note
from pipeline.as_of import moment_of
from pipeline.logbook import LogbookError
from pipeline.register import RegisterError
from pipeline.store import StoreError


@contextmanager
def caught() -> Iterator[None]:
    """Say what is wrong with the fleet folder, and what to do, instead of showing a trace."""
    try:
        yield
    except RegisterError as error:
        _wrong("The fleet file cannot be read", str(error))
    except LogbookError as error:
        _wrong("The logbook cannot be used", str(error))
    except StoreError as error:
        _wrong("The store cannot be read", str(error))


def opened() -> data.Fleet:
    """The fleet, after the guards: boats in the register and something read. Otherwise says what to do and stops."""
    fleet = with_boats()
    if not has_logs(fleet):
        st.page_link("screens/logs.py", label="bring in a log ›", query_params={state.PART: state.BRING_IN})
        st.stop()
    return fleet


def with_boats() -> data.Fleet:
    """The fleet, if it has boats; otherwise says what to do and stops."""
    fleet = data.fleet()
    if not fleet.register.boats:
        where = f"{fleet.register.folder}/fleet.toml"
        _wrong("No boats yet", f"Write the boats and their engines into {where}; the file says how.")
        st.stop()
    return fleet


def has_logs(fleet: data.Fleet) -> bool:
    """Whether anything has been read; says what to do where nothing has."""
    where = str(fleet.register.folder)
    if fleet.store.snapshot() is not None:
        return True
    way_out = "Bring in a log on the Logs screen, or put the logs into"
    _wrong(
        "No log has been read yet",
        f"{way_out} {where}/inbox, a folder for each boat, and run: morningwatch ingest --fleet {where}",
    )
    return False


def moment(fleet: data.Fleet) -> datetime:
    """The moment that the screen shows: the replayed one of the address, else the present."""
    asked = state.read(state.AS_OF)
    if asked is None:
        return data.now(fleet)
    found = moment_of(asked, fleet.zone)
    if found is None:
        note(f"{asked!r} in the address is no date and no time, so the present is shown.")
        state.write(state.AS_OF, None)
        return data.now(fleet)
    return found.astimezone(fleet.zone)


def _wrong(title: str, text: str) -> None:
    st.html(tag("div", tag("h1", title), tag("p", text), class_="mw-wrong", role="alert"))
