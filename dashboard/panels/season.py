"""Pieces of the Season screen: what happened in words, the numbers as tables, the ways on from a point or a cell."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final
from zoneinfo import ZoneInfo

import pandas as pd
import streamlit as st

from dashboard import data, parts, state
from dashboard.charts.weekly import week_order
from dashboard.markup import Html, join, plain, tag
from pipeline import wording
from pipeline.catalogue import Indicator
from pipeline.happenings import step_says
from pipeline.season.together import CommonStep
from pipeline.season_data import Level
from pipeline.states import State, Status

LINKS: Final = 12
"""Links to engines below a table: enough for the ones that press."""

FEW: Final = 5
"""Engines that are listed whole, pressing or not: those of a boat."""

ROWS_SHOWN: Final = 400
"""Rows of the table of readings; the newest. All of them: `morningwatch export readings`."""


def to_run(rows: pd.DataFrame, chosen: dict[str, Any] | None) -> None:
    """From a clicked reading to its run in the log, found by run and engine, never by its place."""
    if chosen is None:
        return
    same = rows[(rows["run_id"] == chosen.get("run_id")) & (rows["engine_id"] == chosen.get("engine_id"))]
    if same.empty:
        parts.note("That reading is not among these any more.")
        return
    row = same.iloc[0]
    run = {state.FROM: f"{row['at_s']:.1f}", state.SECONDS: f"{row['run_seconds']:.1f}"}
    link = state.link(boat=str(row["boat"]), engine=str(row["engine"]), log=str(row["file"]), **run)
    st.page_link("screens/trace.py", label=plain(f"{row['engine']}, run of {row['when']} ›"), query_params=link)


def to_week(rows: pd.DataFrame, readings: pd.DataFrame, chosen: dict[str, Any] | None) -> None:
    """From a clicked cell to that engine's season, and to its newest log of that week; found by engine and week."""
    if chosen is None:
        return
    same = rows[(rows["engine_id"] == chosen.get("engine_id")) & (rows["week_ms"] == chosen.get("week_ms"))]
    if same.empty:
        parts.note("That week is not among these any more.")
        return
    row = same.iloc[0]
    boat, engine, week_ms = str(row["boat"]), str(row["engine"]), float(row["week_ms"])
    here = state.link(boat=boat, engine=engine, indicator=state.read(state.INDICATOR), facet=state.read(state.FACET))
    counted = f"{row['says']}, {wording.count(int(row['n']), 'sample')} in {wording.count(int(row['runs']), 'run')}"
    said = counted if not isinstance(row["withheld"], str) else f"withheld, {row['withheld']}"
    parts.note(f"{row['who']}, week from {row['week']}: {said}.")
    mine = readings[(readings["engine_id"] == row["engine_id"]) & data.is_of_week(readings, week_ms)]
    with st.container(horizontal=True, gap="small", key="week_ways"):
        st.page_link("screens/season.py", label="its season ›", query_params={**here, state.SCOPE: "engine"})
        parts.engine_link(boat, engine, f"{engine} ›")
        if len(mine):
            log = state.link(boat=boat, engine=engine, log=str(mine.iloc[-1]["file"]))
            st.page_link("screens/trace.py", label="newest log of that week ›", query_params=log)


def happened(rows: pd.DataFrame) -> Html:
    """The lettered marks in words."""
    if rows.empty:
        return tag("p", "No note, service or change in this time.", class_="mw-quiet")
    lines = [
        tag("li", tag("b", row["mark"]), f" {row['when']}, {_who(row)}: {row['what']}")
        for row in rows.to_dict("records")
    ]
    return tag("ul", *lines, class_="mw-happened")


def _who(row: dict[Any, Any]) -> str:
    return str(row["kind"]) if row["kind"] == row["who"] else f"{row['who']}, {row['kind']}"


def steps_said(steps: Sequence[CommonStep], zone: ZoneInfo, *, is_shared: bool) -> Html:
    """The common steps in words, with their count and interval, or that there is none."""
    if not is_shared:
        return tag("p", "Fuel and weather do not move this, so no common step is looked for.")
    if not steps:
        return tag("p", "Nothing moved on most engines at once.")
    lines = [tag("li", f"From {data.day_text(step.at_s, zone)}: {step_says(step)}.") for step in steps]
    return join([tag("ul", *lines), tag("p", "It is taken out of each engine's own.", class_="mw-quiet")])


def standing(found: Level) -> Html:
    """Where one engine stands and where it leads, as figures."""
    facts = [
        ("Level now", found.level + (f" ({found.interval})" if found.interval else "")),
        ("Its own", found.own if found.own != found.level else None),
        ("Baseline", found.baseline),
        ("Pattern", found.pattern),
        ("Per week", found.per_week),
        ("Per 100 h", found.per_100_hours),
        *(("Ahead", said) for said in found.ahead),
        ("Rests on", found.basis),
    ]
    return tag("dl", *(tag("div", tag("dt", name), tag("dd", said)) for name, said in facts if said), class_="mw-facts")


def fan_words() -> Html:
    """How to read the picture of where it leads."""
    return tag(
        "p",
        "Dots are readings since growth began, at today's temperature and voltage. The bar on a limit is when it is "
        "reached, the diamond the likeliest hour; without an end it is 'or more'.",
        class_="mw-quiet",
    )


def no_projection(found: State | None) -> str:
    """Why nothing is said of what lies ahead."""
    if found is None:
        return "Nothing is known of this engine's level, so nothing can be said of what lies ahead."
    if found.moved.is_learning:
        return "Too few runs since the comparison began to say where it leads."
    return f"It does not grow steadily (pattern: {found.moved.pattern}), so no hour can be told."


def no_level(indicator: Indicator) -> str:
    """Why there is no level."""
    if indicator.judged.against in {"any", "presence"}:
        return "This is judged by single occurrences, not by a level."
    return "No level yet."


def levels_table(found: Sequence[Level], name_of: Callable[[str], str], *, is_shared: bool) -> Html:
    """Where each engine stands, those that press first and whole; `is_shared` adds the level less the fleet's part.

    `name_of` gives an engine's name in words by its id.
    """
    pressing = [each for each in found if is_pressing(each) or len(found) <= FEW] or list(found[:FEW])
    rest = [each for each in found if each not in pressing]
    whole = tag("summary", f"The other {wording.count(len(rest), 'engine')}")
    table = _levels(pressing, name_of, is_shared=is_shared)
    return join([table, tag("details", whole, _levels(rest, name_of, is_shared=is_shared)) if rest else None])


def is_pressing(found: Level) -> bool:
    """Whether an engine stands out or is on its way to."""
    return found.status != "ready" or found.is_nearing


def _levels(found: Sequence[Level], name_of: Callable[[str], str], *, is_shared: bool) -> Html:
    own = ["its own"] if is_shared else []
    heads = ["engine", "level now", *own, "baseline", "pattern", "per week", "ahead", "rests on"]
    return _table("mw-levels", heads, [_level_row(each, name_of, is_shared=is_shared) for each in found])


def _level_row(found: Level, name_of: Callable[[str], str], *, is_shared: bool) -> list[Html]:
    symbol = tag("span", wording.STATUS_SYMBOLS[found.status], class_=f"mw-symbol mw-{found.status}")
    interval = tag("span", f" ({found.interval})", class_="mw-quiet") if found.interval else None
    return [
        tag("th", symbol, name_of(found.engine_id), scope="row"),
        _figure("level now", tag("b", found.level), interval),
        *([_figure("its own", found.own)] if is_shared else []),
        _figure("baseline", found.baseline or "–"),
        tag("td", found.pattern, data_label="pattern"),
        _figure("per week", found.per_week or "–"),
        tag("td", "; ".join(found.ahead) or "–", data_label="ahead"),
        _figure("rests on", found.basis),
    ]


def _figure(label: str, *inside: str | None) -> Html:
    """A cell with a number; on a phone its label stands before it."""
    return tag("td", *inside, class_="mw-figure", data_label=label)


def readings_table(rows: pd.DataFrame, indicator: Indicator) -> Html:
    """The readings that are drawn, as numbers: the newest first."""
    shown = rows.sort_values("at_s", ascending=False).head(ROWS_SHOWN)
    body = [
        [
            tag("th", row["when"][:-3], scope="row"),
            tag("td", row["engine"]),
            _figure("as read", wording.number(float(row["value"]), indicator)),
            _figure("its own", wording.number(float(row["own"]), indicator)),
            _figure("samples", str(int(row["n"]))),
            tag("td", row["withheld"] or "no", data_label="withheld"),
        ]
        for row in shown.to_dict("records")
    ]
    count = wording.count(len(rows), "reading")
    said = count if len(shown) == len(rows) else f"The newest {len(shown)} of {count}"
    return tag(
        "details",
        tag("summary", f"{said} as a table"),
        _table("mw-readings", ["run of", "engine", "as read", "its own", "samples", "withheld"], body),
    )


_BEYOND: Final[Mapping[Status, str]] = {"watch": "beyond watch, ", "hold": "beyond hold. "}


def heat_words() -> Html:
    """The symbols of the heat map, and what an open cell is."""
    symbols = [
        tag("span", f"{wording.STATUS_SYMBOLS[status]} {word}", class_=f"mw-{status}")
        for status, word in _BEYOND.items()
    ]
    return tag(
        "p",
        *symbols,
        "Blue is below, orange above; × is a week withheld. Click a cell to get to its engine.",
        class_="mw-legend",
    )


def weeks_table(rows: pd.DataFrame) -> Html:
    """The heat map's numbers: engines down, weeks across, each with its count of samples and the symbol of a limit."""
    order = week_order(rows)
    body = []
    for who, mine in rows.groupby("who", sort=False):
        cells = {row["week"]: _week_cell(row) for row in mine.to_dict("records")}
        body.append([tag("th", str(who), scope="row"), *(cells.get(week, tag("td", "–")) for week in order)])
    return tag(
        "details",
        tag("summary", "The same as a table, with counts"),
        tag("p", "Median of the week (samples in runs).", class_="mw-quiet"),
        tag("div", _table("mw-weeks", ["engine", *order], body), class_="mw-scroll", tabindex="0", role="region"),
    )


def _week_cell(row: Mapping[Any, Any]) -> Html:
    if isinstance(row["withheld"], str):
        return tag("td", f"× {row['says']}", class_="mw-figure mw-unchecked", title=row["withheld"])
    standing: Status = row["standing"]
    symbol = "" if standing == "ready" else f"{wording.STATUS_SYMBOLS[standing]} "
    counts = tag("span", f" ({int(row['n'])} in {int(row['runs'])})", class_="mw-quiet")
    return tag("td", symbol, row["says"], counts, class_=f"mw-figure mw-{standing}" if symbol else "mw-figure")


def _table(name: str, heads: Sequence[str], rows: Sequence[Sequence[Html]]) -> Html:
    head = tag("tr", *(tag("th", each, scope="col") for each in heads))
    body = tag("tbody", *(tag("tr", *cells) for cells in rows))
    return tag("table", tag("thead", head), body, class_=f"mw-table {name}")
