"""Boat: its engines side by side, its findings whole, what was written about it, and the cautions."""

from __future__ import annotations

import streamlit as st

from dashboard import data, parts
from dashboard.charts import marks
from dashboard.markup import Html, join, tag
from dashboard.panels import notes
from pipeline import wording
from pipeline.morning import Morning
from pipeline.ranking import BoatLine, EngineLine
from pipeline.register import Boat
from pipeline.screen_data import SiblingRow

NOTES_SHOWN = 8


def show() -> None:
    """Draw the screen."""
    fleet = parts.opened()
    as_of = parts.moment(fleet)
    parts.heading(fleet, "Boat", as_of)
    boat = parts.chosen_boat(fleet)
    morning = data.judged(fleet, as_of)
    line = next(each for each in morning.boats if each.boat == boat.id)
    st.html(_standing(line, morning))
    with st.container(horizontal=True, gap="small", key="boat_engines"):
        for engine in line.engines:
            parts.engine_link(boat.id, engine.engine, f"{engine.engine} ›")
    _findings(line, morning)
    _engines(fleet, boat, line, morning)
    notes.of_boat(fleet, morning, boat.id, None, NOTES_SHOWN)
    if any(found.cautions for found in line.findings):
        parts.cautions()


def _standing(line: BoatLine, morning: Morning) -> Html:
    said = [parts.departure(line.departs, morning.as_of), parts.age(line.last_log, morning.as_of)]
    return tag(
        "div",
        parts.badge(line.status),
        tag("b", line.name, class_="mw-name"),
        tag("span", wording.STATUS_MEANINGS[line.status]),
        tag("span", ", ".join(each for each in said if each), class_="mw-quiet"),
        class_="mw-line",
    )


def _findings(line: BoatLine, morning: Morning) -> None:
    parts.section("What was found", "the most pressing first")
    if not line.findings:
        parts.nothing("Nothing found in fresh logs.")
    for found in line.findings:
        st.html(parts.finding(found, morning, found.engine))


def _engines(fleet: data.Fleet, boat: Boat, line: BoatLine, morning: Morning) -> None:
    parts.section(
        "Engines side by side", "the same fuel, the same air, the same helm: their difference is the best control"
    )
    columns = marks.groups(morning.states)
    rows = marks.mark_rows(morning.states)
    drawn = [
        marks.row(_who(engine), columns, rows.get(f"{boat.id}/{engine.engine}", {}), engine.status)
        for engine in line.engines
    ]
    st.html(join([tag("div", marks.heading(columns), *drawn, class_="mw-marks"), marks.legend()]))
    table = data.siblings(fleet, boat, morning.as_of)
    engines = [engine.engine for engine in line.engines]
    telling = tuple(row for row in table if row.is_telling)
    if telling:
        st.html(_table(telling, engines))
        st.html(tag("p", "Underlined: farther apart than what is watched.", class_="mw-quiet"))
    if table:
        st.html(tag("details", tag("summary", f"All {wording.count(len(table), 'number')}"), _table(table, engines)))
    for engine in line.engines:
        if engine.not_logged:
            parts.note(f"{engine.engine}: no log ever held what is needed for {wording.listing(engine.not_logged)}.")


def _who(engine: EngineLine) -> Html:
    hours = f"{engine.hours:.0f} h" if engine.hours is not None else "no hours"
    symbol = tag("span", wording.STATUS_SYMBOLS[engine.status], class_=f"mw-symbol mw-{engine.status}")
    return join([symbol, tag("b", engine.engine), tag("span", f" {hours}", class_="mw-quiet")])


def _table(table: tuple[SiblingRow, ...], engines: list[str]) -> Html:
    several = len(engines) > 1
    head = tag(
        "tr", tag("th", "level now"), *(tag("th", each) for each in engines), tag("th", "apart") if several else None
    )
    return tag("table", tag("thead", head), tag("tbody", *(_row(each, engines) for each in table)), class_="mw-table")


def _row(row: SiblingRow, engines: list[str]) -> Html:
    cells = []
    for engine in engines:
        found = row.siblings.get(engine)
        symbol = f"{wording.STATUS_SYMBOLS[found.status]} " if found and found.status != "ready" else ""
        text = f"{symbol}{found.text}" if found else "–"
        cells.append(tag("td", text, class_=f"mw-figure mw-{found.status}" if found else "mw-figure mw-quiet"))
    apart = tag("td", row.apart or "–", class_="mw-figure mw-far" if row.is_far else "mw-figure")
    return tag("tr", tag("th", row.title, scope="row"), *cells, apart if len(engines) > 1 else None)


show()
