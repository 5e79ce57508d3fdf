"""Morning: which boats can go, which stay and why, in the order in which they ask for attention."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Final

import streamlit as st

from dashboard import data, parts
from dashboard.charts import marks
from dashboard.markup import Html, join, tag
from pipeline import answer, wording
from pipeline.findings import Finding
from pipeline.morning import Morning
from pipeline.ranking import BoatLine, EngineLine
from pipeline.states import Status

Rows = Mapping[str, Mapping[marks.Column, marks.Mark]]

NAMES_SHOWN: Final = 6
REASONS_SHOWN: Final = 3


def show() -> None:
    """Draw the screen."""
    fleet = parts.opened()
    as_of = parts.moment(fleet)
    parts.heading(fleet, "Morning", as_of)
    morning = data.judged(fleet, as_of)
    st.html(_answer(morning))
    changed = st.container(key="changed")
    for problem in morning.problems:
        parts.note(problem.sentence())
    for found in morning.fleet_findings:
        st.html(parts.finding(found, morning, "Whole fleet"))
    columns = marks.groups(morning.states)
    rows = marks.mark_rows(morning.states)
    st.html(marks.legend())
    for line in morning.boats:
        _boat(line, columns, rows, as_of)
    parts.cautions()
    with changed:
        _changes(fleet, morning)


def _answer(morning: Morning) -> Html:
    return tag(
        "section",
        tag("p", answer.answer(morning), class_="mw-answer"),
        tag("div", *(_tile(morning, status) for status in answer.ORDER), class_="mw-tiles"),
        tag("p", *_next_out(morning), class_="mw-next"),
        tag("p", f"Newest log of the fleet: {_newest(morning)}. {wording.CAUTIONS[-1]}", class_="mw-quiet"),
    )


def _newest(morning: Morning) -> str:
    newest = max((line.last_log for line in morning.boats if line.last_log), default=None)
    return wording.age(newest, morning.as_of) if newest else "none"


def _tile(morning: Morning, status: Status) -> Html:
    boats = answer.names(morning, status)
    more = f" and {len(boats) - NAMES_SHOWN} more" if len(boats) > NAMES_SHOWN else ""
    return tag(
        "div",
        tag("div", tag("b", str(len(boats))), parts.badge(status), class_="mw-line"),
        tag("div", wording.STATUS_MEANINGS[status], class_="mw-quiet"),
        tag("div", ", ".join(boats[:NAMES_SHOWN]) + more if boats else "none"),
        class_=f"mw-tile mw-{status}",
    )


def _next_out(morning: Morning) -> list[Html]:
    leaving = answer.next_out(morning)
    if not leaving:
        return [tag("span", "No departure is planned for the rest of the day.")]
    return [
        tag("b", "Next out: "),
        *(
            tag("span", f"{line.departs:%H:%M} {line.name} ", parts.badge(line.status, small=True), class_="mw-out")
            for line in leaving
        ),
    ]


def _changes(fleet: data.Fleet, morning: Morning) -> None:
    found = data.changed(fleet, morning.as_of)
    names = {line.boat: line.name for line in morning.boats}
    title = (
        f"{wording.count(len(found), 'change')} since the morning before"
        if found
        else "No change since the morning before"
    )
    listed = [tag("li", tag("b", names.get(each.boat, each.boat)), f" {wording.change_says(each)}") for each in found]
    st.html(tag("details", tag("summary", title), tag("ul", *listed), class_="mw-changes"))


def _boat(line: BoatLine, columns: tuple[marks.Group, ...], rows: Rows, as_of: datetime) -> None:
    with st.container(border=True, key=f"boat_{line.boat}"):
        with st.container(horizontal=True, vertical_alignment="center", gap="small", key=f"head_{line.boat}"):
            st.html(parts.badge(line.status), width="content")
            parts.boat_link(line.boat, line.name)
            st.html(tag("span", ", ".join(_about(line, as_of)), class_="mw-quiet"), width="content")
        st.html(tag("div", _reasons(line, as_of), _marks(line, columns, rows), class_="mw-boat"))
        with st.container(horizontal=True, gap="small", key=f"engines_{line.boat}"):
            for engine in line.engines:
                parts.engine_link(line.boat, engine.engine, f"{engine.engine} ›")


def _about(line: BoatLine, as_of: datetime) -> list[str]:
    said = [parts.departure(line.departs, as_of), parts.age(line.last_log, as_of)]
    missing = sorted({each for engine in line.engines for each in engine.not_logged})
    if missing:
        said.append(f"not logged: {', '.join(missing)}")
    return [each for each in said if each]


def _reasons(line: BoatLine, as_of: datetime) -> Html:
    shown = [tag("li", *_reason(found, as_of)) for found in line.findings[:REASONS_SHOWN]]
    more = len(line.findings) - REASONS_SHOWN
    if more > 0:
        shown.append(tag("li", f"and {more} more on the boat's screen", class_="mw-quiet"))
    return tag("ul", *shown, class_="mw-why") if shown else tag("p", "Nothing found.", class_="mw-quiet")


def _reason(found: Finding, as_of: datetime) -> list[Html]:
    said = [wording.certainty(found), wording.outlook(found)]
    if found.latest_at and found.value is not None:
        said.append(f"Newest reading {wording.age(found.latest_at, as_of)}.")
    symbol = tag(
        "span", wording.STATUS_SYMBOLS[found.status], class_=f"mw-symbol mw-{found.status}", aria_label=found.status
    )
    return [
        symbol,
        tag("b", f"{found.engine}: "),
        tag("span", found.says),
        tag("span", *(f" {each}" for each in said if each), class_="mw-quiet"),
    ]


def _marks(line: BoatLine, columns: tuple[marks.Group, ...], rows: Rows) -> Html:
    drawn = [
        marks.row(_who(engine), columns, rows.get(f"{line.boat}/{engine.engine}", {}), engine.status)
        for engine in line.engines
    ]
    return tag("div", marks.heading(columns), *drawn, class_="mw-marks")


def _who(engine: EngineLine) -> Html:
    hours = f"{engine.hours:.0f} h" if engine.hours is not None else "no hours"
    symbol = tag("span", wording.STATUS_SYMBOLS[engine.status], class_=f"mw-symbol mw-{engine.status}")
    return join([symbol, tag("b", engine.engine), tag("span", f" {hours}", class_="mw-quiet")])


show()
