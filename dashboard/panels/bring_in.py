"""A log brought in by hand: whose it is, what it would give, then saved into the inbox and read."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Final

import streamlit as st

from dashboard import data, incoming, parts, state
from dashboard.incoming import Brought, Sent
from dashboard.markup import Html, tag
from pipeline import upload, wording
from pipeline.register import Boat
from pipeline.trial import LogYield
from pipeline.upload import Looked

AS_THE_LOG_SAYS: Final = "as the log says"
FORMATS: Final = "CSV, TSV, semicolon CSV (also .gz, .zst), Parquet or MDF4"


def show(fleet: data.Fleet, _: datetime) -> None:
    """Draw the part."""
    parts.section(
        "Bring in a log", f"{FORMATS}, up to {upload.MAX_MB} MB; it is looked at first, and kept only if you say so"
    )
    brought = st.session_state.get(state.LOG_BROUGHT)
    boat = _boat(fleet)
    if boat is None:
        parts.nothing("Choose whose log it is.")
        _read_inbox(fleet)
        return
    engine = _engine(boat)
    sent = _sent()
    if sent is None:
        if brought is not None:
            _outcome(brought, fleet)
        _read_inbox(fleet)
        return
    st.session_state.pop(state.LOG_BROUGHT, None)
    found = incoming.looked(fleet, boat.id, engine, sent)
    if isinstance(found, str):
        parts.note(found)
    else:
        _looked(found, fleet, sent)


def _boat(fleet: data.Fleet) -> Boat | None:
    """Whose log it is. No boat is taken for granted, unless the address names it or there is no other."""
    names = {boat.id: boat.name for boat in fleet.register.boats}
    asked = state.read(state.BOAT) if len(names) > 1 else next(iter(names))
    found = parts.picked("The log is of", names, asked, state.BOAT)
    return None if found not in names else fleet.register.boat(found)


def _engine(boat: Boat) -> str | None:
    """The engine whose folder the log goes into; None where the log itself says, or the boat has one engine."""
    if len(boat.engines) < 2:
        return None
    engines = [AS_THE_LOG_SAYS, *(each.id for each in boat.engines)]
    found = st.selectbox("Engine", engines, key=f"upload_engine:{boat.id}", width=340)
    return None if found in {None, AS_THE_LOG_SAYS} else found


def _sent() -> Sent | None:
    number = st.session_state.setdefault(state.UPLOADS, 0)
    file = st.file_uploader("The file", key=f"upload:{number}", max_upload_size=upload.MAX_MB)
    return None if file is None else Sent(file.name, file.getvalue())


def _looked(found: Looked, fleet: data.Fleet, sent: Sent) -> None:
    """What the log would give, and the way to have it saved."""
    if found.status == "known":
        parts.note(f"Known already: {found.known_as} in the inbox has the same bytes. There is nothing to save.")
    elif found.reason is not None:
        st.html(_refused(found.name, found.trial.line if found.trial else None, found.reason, "would be refused"))
        _save(found, fleet, sent, "Save it all the same", is_good=False)
        parts.to_map_a_log()
    elif found.trial is not None and found.trial.is_start_assumed:
        _look_again(found, fleet, sent)
    else:
        st.html(_good(found, fleet))
        _save(found, fleet, sent, "Save and read it", is_good=True)


def _look_again(found: Looked, fleet: data.Fleet, sent: Sent) -> None:
    """A log that says nowhere when it began: with a start that is given, it goes into its name."""
    began = _began(fleet)
    named = sent if began is None else Sent(upload.with_start(sent.name, began), sent.content)
    again = found if began is None else incoming.looked(fleet, found.boat, found.engine, named)
    if isinstance(again, str):
        parts.note(again)
        return
    st.html(_good(again, fleet))
    _save(again, fleet, named, "Save and read it", is_good=True)


def _good(found: Looked, fleet: data.Fleet) -> Html:
    trial = found.trial
    engines = trial.engines if trial else ()
    lines = [
        tag("p", f"As {found.name} it would be taken.", class_="mw-says"),
        *(_engine_line(each, fleet) for each in engines),
    ]
    remarks = trial.remarks if trial else None
    if remarks:
        lines.append(tag("p", remarks, class_="mw-quiet"))
    return tag("article", *lines, class_="mw-finding mw-ready mw-file")


def _engine_line(each: LogYield, fleet: data.Fleet) -> Html:
    lacking = f"Not in it: {', '.join(each.lacking)}." if each.lacking else "It holds every channel."
    began = data.local_text(fleet, each.started_s)
    return tag("p", tag("b", each.engine), f" from {began}: {each.says()}. ", tag("span", lacking, class_="mw-quiet"))


def _refused(file: str, line: int | None, reason: str, verdict: str) -> Html:
    place = file if line is None else f"{file}, line {line}"
    return tag(
        "article",
        tag("p", tag("b", place), f" {verdict}"),
        tag("p", reason, class_="mw-says"),
        class_="mw-finding mw-unchecked mw-file",
    )


def _began(fleet: data.Fleet) -> datetime | None:
    """When the log began, where neither it nor its name says: the file's own time does not travel with it."""
    parts.note(
        "Neither the log nor its name says when it began. Give its start, or it begins at the moment it is kept."
    )
    with st.container(horizontal=True, key="log_began"):
        day = st.date_input("Began on", None, format="YYYY-MM-DD", key="began_day", width=200)
        at = st.time_input("at", parts.FIRST_LIGHT, key="began_time", step=60, width=160)
    return None if day is None else datetime.combine(day, at, fleet.zone)


def _save(found: Looked, fleet: data.Fleet, sent: Sent, label: str, *, is_good: bool) -> None:
    if not st.button(label, key="save_log", type="primary" if is_good else "secondary"):
        return
    brought = _with_progress(
        f"Saving {found.name}", lambda progress: incoming.bring_in(fleet, found.boat, found.engine, sent, progress)
    )
    st.session_state[state.LOG_BROUGHT] = brought
    if brought.file is not None:
        st.session_state[state.UPLOADS] += 1
        state.write(state.BOAT, found.boat)
        st.rerun()
    parts.note(brought.text)


def _read_inbox(fleet: data.Fleet) -> None:
    """For logs that were put into the inbox by other means."""
    if st.button("Read the inbox now", key="read_inbox"):
        st.session_state[state.LOG_BROUGHT] = _with_progress(
            "Reading the inbox", lambda progress: incoming.read_inbox(fleet, progress)
        )
        st.rerun()


def _with_progress(title: str, work: Callable[[incoming.Progress], Brought]) -> Brought:
    bar = st.progress(0.0, title)
    brought = work(lambda done, total: _advance(bar, title, done, total))
    bar.empty()
    return brought


def _advance(bar: st.delta_generator.DeltaGenerator, title: str, done: int, total: int) -> None:
    bar.progress(min(1.0, done / total), f"{title}: {done} of {total} steps")


def _outcome(brought: Brought, fleet: data.Fleet) -> None:
    if brought.reason is not None and brought.file is not None:
        st.html(_refused(brought.file, None, brought.reason, "is saved and refused"))
        return
    parts.note(brought.text)
    if brought.engines:
        st.html(tag("article", *(_engine_line(each, fleet) for each in brought.engines), class_="mw-finding mw-ready"))
    if brought.is_read and brought.file is not None:
        _standing(brought.file.split("/")[1], fleet)


def _standing(boat: str, fleet: data.Fleet) -> None:
    """Where the boat stands now."""
    line = next((each for each in data.judged(fleet, data.now(fleet)).boats if each.boat == boat), None)
    if line is not None:
        found = wording.count(len(line.findings), "finding")
        st.html(
            tag("p", tag("b", line.name), " now: ", parts.badge(line.status, small=True), f" {found}", class_="mw-line")
        )
        parts.boat_link(boat, f"{line.name} ›")
