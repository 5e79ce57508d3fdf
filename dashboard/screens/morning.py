"""Morning: which boats can go, which stay and why, in the order in which they ask for attention."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import streamlit as st

from dashboard import data, parts
from dashboard.charts import marks
from dashboard.markup import Html, tag
from dashboard.panels import boats
from pipeline import answer, telling, wording
from pipeline.morning import Morning
from pipeline.ranking import BoatLine
from pipeline.states import STATUSES, Status

NAMES_SHOWN: Final = 6
CHANGES_OPEN: Final = 6
ENGINES_SHOWN: Final = 72
"""Engines up to which all stand side by side at once; of more, the rest comes when it is asked for."""


def show() -> None:
    """Draw the screen."""
    fleet = parts.opened()
    as_of = parts.moment(fleet)
    with parts.heading(fleet, "Morning", as_of):
        parts.sheet(fleet, as_of)
    morning = data.judged(fleet, as_of)
    st.html(_answer(morning))
    changed = st.container(key="changed")
    for problem in morning.problems:
        parts.note(problem.sentence())
    rows = marks.mark_rows(morning.states, as_of, fleet.register.currency_days)
    listed = [boats.of_status(status, morning, rows) for status in STATUSES if status != "ready"]
    for section in (*listed, boats.whole_fleet(morning), boats.ready(morning)):
        if section:
            st.html(section)
    _side_by_side(morning, rows)
    parts.cautions()
    with changed:
        _changes(fleet, morning)


def _answer(morning: Morning) -> Html:
    return tag(
        "section",
        tag("p", answer.answer(morning), class_="mw-answer"),
        tag("div", *(_tile(morning, status) for status in STATUSES), class_="mw-tiles"),
        boats.next_out(answer.next_out(morning)),
        tag("p", f"{telling.newest_log_says(morning)} {wording.CAUTIONS[-1]}", class_="mw-quiet"),
    )


def _tile(morning: Morning, status: Status) -> Html:
    names = answer.names(morning, status)
    more = f" and {len(names) - NAMES_SHOWN} more" if len(names) > NAMES_SHOWN else ""
    return tag(
        "div",
        tag("div", tag("b", str(len(names))), parts.badge(status), class_="mw-line"),
        tag("div", ", ".join(names[:NAMES_SHOWN]) + more if names else "none"),
        class_=f"mw-tile mw-{status}",
    )


def _changes(fleet: data.Fleet, morning: Morning) -> None:
    found = data.changed(fleet, morning.as_of)
    if not found:
        st.html(tag("p", "No change since the morning before.", class_="mw-changes mw-quiet"))
        return
    title = f"{wording.count(len(found), 'change')} since the morning before"
    is_open = "open" if len(found) <= CHANGES_OPEN else None
    st.html(tag("details", tag("summary", title), boats.turned(found, morning), class_="mw-changes", open=is_open))


def _side_by_side(morning: Morning, rows: boats.Rows) -> None:
    columns = marks.groups(morning.states)
    if not columns:
        return
    parts.section("Every engine side by side")
    st.html(marks.legend())
    shown = _first(morning.boats)
    total = sum(len(line.engines) for line in morning.boats)
    if len(shown) < len(morning.boats) and st.toggle(f"Show all {total} engines", key="all_engines"):
        shown = morning.boats
    st.html(boats.side_by_side(shown, columns, rows))


def _first(lines: Sequence[BoatLine]) -> Sequence[BoatLine]:
    """The first boats of the list, as many as have no more engines together than are shown at once."""
    engines = 0
    for place, line in enumerate(lines):
        engines += len(line.engines)
        if engines > ENGINES_SHOWN:
            return lines[:place]
    return lines


show()
