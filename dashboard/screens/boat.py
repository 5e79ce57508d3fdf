"""Boat: its engines side by side, its findings whole, what was written about it, and the cautions."""

from __future__ import annotations

from typing import Final

import streamlit as st

from dashboard import data, parts, ways
from dashboard.charts import marks
from dashboard.markup import Html, join, tag
from dashboard.panels import notes
from pipeline import wording
from pipeline.morning import Morning
from pipeline.ranking import BoatLine, EngineLine
from pipeline.register import Boat
from pipeline.screen_data import SiblingRow

NOTES_SHOWN: Final = 8
DEPARTURES_SHOWN: Final = 4


def show() -> None:
    """Draw the screen."""
    fleet = parts.opened()
    as_of = parts.moment(fleet)
    parts.heading(fleet, "Boat", as_of)
    boat = parts.chosen_boat(fleet)
    morning = data.judged(fleet, as_of)
    line = next(each for each in morning.boats if each.boat == boat.id)
    st.html(_standing(line, morning))
    _departures(fleet, line, morning)
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


def _departures(fleet: data.Fleet, line: BoatLine, morning: Morning) -> None:
    """The boat's next departures, with what the schedule says of each."""
    found = data.departures(fleet, line.boat, morning.as_of)[:DEPARTURES_SHOWN]
    if len(found) < 2 and not any(each.note for each in found):
        return  # its time stands beside the boat's name
    listed = [
        tag("li", tag("b", parts.when(each.departs.astimezone(fleet.zone))), f" {each.note}" if each.note else None)
        for each in found
    ]
    st.html(tag("div", tag("p", "Departures", class_="mw-quiet"), tag("ul", *listed, class_="mw-notes")))


def _findings(line: BoatLine, morning: Morning) -> None:
    parts.section("What was found", "the most pressing first")
    if not line.findings:
        parts.nothing("Nothing found in fresh logs.")
    for place, found in enumerate(line.findings):
        st.html(parts.finding(found, morning, found.engine))
        ways.from_finding(line.boat, found, str(place))


def _engines(fleet: data.Fleet, boat: Boat, line: BoatLine, morning: Morning) -> None:
    parts.section(
        "Engines side by side", "the same fuel, the same air, the same helm: their difference is the best control"
    )
    columns = marks.groups(morning.states)
    rows = marks.mark_rows(morning.states, morning.as_of, fleet.register.currency_days)
    drawn = [
        marks.row(_who(engine), columns, rows.get(f"{boat.id}/{engine.engine}", {}), engine.status)
        for engine in line.engines
    ]
    st.html(join([tag("div", marks.heading(columns), *drawn, class_="mw-marks"), marks.legend()]))
    table = data.siblings(fleet, boat, morning.as_of)
    engines = [engine.engine for engine in line.engines]
    telling = tuple(row for row in table if row.is_telling)
    if telling:
        st.html(_table(telling, boat.id, engines))
        if any(row.is_far for row in telling):
            st.html(tag("p", "With a bar below: farther apart than what is watched.", class_="mw-quiet"))
    if table:
        st.html(
            tag(
                "details",
                tag("summary", f"All {wording.count(len(table), 'number')}, side by side"),
                _table(table, boat.id, engines),
            )
        )
    for engine in line.engines:
        if engine.not_logged:
            parts.note(f"{engine.engine}: no log ever held what is needed for {wording.listing(engine.not_logged)}.")


def _who(engine: EngineLine) -> Html:
    hours = f"{engine.hours:.0f} h" if engine.hours is not None else "no hours"
    symbol = tag("span", wording.STATUS_SYMBOLS[engine.status], class_=f"mw-symbol mw-{engine.status}")
    return join([symbol, tag("b", engine.engine), tag("span", f" {hours}", class_="mw-quiet")])


def _table(table: tuple[SiblingRow, ...], boat: str, engines: list[str]) -> Html:
    """Every number is a link to the season that it stands at the end of."""
    titles = ["level now", *engines, *(["difference"] if len(engines) > 1 else [])]
    head = tag("tr", *(tag("th", each) for each in titles))
    body = tag("tbody", *(_row(each, boat, engines) for each in table))
    return tag("table", tag("thead", head), body, class_="mw-table mw-siblings")


def _row(row: SiblingRow, boat: str, engines: list[str]) -> Html:
    which = {"boat": boat, "indicator": row.indicator, "facet": row.facet}
    cells = []
    for engine in engines:
        found = row.siblings.get(engine)
        symbol = f"{wording.STATUS_SYMBOLS[found.status]} " if found and found.status != "ready" else ""
        text = parts.anchor("season", f"{symbol}{found.text}", **which, engine=engine) if found else "–"
        basis = tag("span", found.basis, class_="mw-basis") if found else None
        status = f"mw-{found.status}" if found else "mw-quiet"
        cells.append(tag("td", text, basis, class_=f"mw-figure {status}", data_who=engine))
    said = parts.anchor("season", row.apart, **which, scope="boat") if row.apart else "–"
    apart = tag("td", said, class_="mw-figure mw-far" if row.is_far else "mw-figure", data_who="difference")
    return tag("tr", tag("th", row.title, scope="row"), *cells, apart if len(engines) > 1 else None)


show()
