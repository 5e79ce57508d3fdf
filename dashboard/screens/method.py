"""Method: how every number is made: meaning, limits, source, query; and which causes are known."""

from __future__ import annotations

import streamlit as st

from dashboard import data, parts, state
from dashboard.markup import Html, join, tag
from pipeline import wording
from pipeline.catalogue import Indicator, indicators, read_query
from pipeline.causes import CAUSES

JUDGED = {
    "limits": "its level against limits, and against its own baseline",
    "baseline": "against its own baseline",
    "any": "every single occurrence",
    "presence": "whether the logs show it at all",
}


def show() -> None:
    """Draw the screen."""
    fleet = parts.opened()
    as_of = parts.moment(fleet)
    parts.heading(fleet, "Method", as_of)
    known = {name: each.title for name, each in indicators().items()}
    asked = state.read(state.INDICATOR)
    if asked is not None and asked not in known:
        parts.note(f"There is no indicator {asked!r}.")
        asked = None
    name = parts.picked("Indicator", known, asked or next(iter(known)), state.INDICATOR) or next(iter(known))
    state.write(state.INDICATOR, name)
    _indicator(indicators()[name])
    _limits(fleet, indicators()[name])
    parts.section("Query", f"pipeline/sql/indicators/{name}.sql")
    st.code(read_query("indicators", name), language="sql", wrap_lines=True)
    parts.section("Causes", "what points at each, and what to do")
    st.html(tag("dl", *(_cause(each.title, each.shows, each.do) for each in CAUSES.values()), class_="mw-causes"))
    parts.cautions()


def _indicator(indicator: Indicator) -> None:
    wanted = ", ".join(f"{facet} {wording.band(band)}" for facet, band in indicator.wanted.items())
    facts = {
        "Meaning": indicator.meaning,
        "Unit": indicator.unit,
        "Facet": indicator.facet,
        "Judged": JUDGED[indicator.judged.against],
        "Wanted": wanted or None,
        "Worse": {"away": "away from what is wanted", "higher": "upwards", "lower": "downwards"}[indicator.worse],
        "Depends on": ", ".join(indicator.covariates) or None,
        "Fewest samples": str(indicator.minimum_n),
        "Caveat": indicator.caveat,
        "Do": indicator.do,
        "Source": indicator.source,
    }
    parts.section(indicator.title)
    st.html(tag("dl", *(_fact(label, text) for label, text in facts.items() if text), class_="mw-header"))


def _fact(label: str, text: str) -> Html:
    return tag("div", tag("dt", label), tag("dd", text))


def _limits(fleet: data.Fleet, indicator: Indicator) -> None:
    parts.section("Limits in force", "the header's own, unless the fleet file says otherwise")
    by_text: dict[str, list[str]] = {}
    for engine in fleet.register.engines():
        limits = data.limits(fleet, indicator.name, engine.engine_id)
        by_text.setdefault(parts.limits_text(limits.watch, limits.hold, indicator), []).append(engine.engine_id)
    total = sum(map(len, by_text.values()))
    listed = [
        tag("li", tag("b", text), f": {'every engine' if len(engines) == total else ', '.join(engines)}")
        for text, engines in by_text.items()
    ]
    st.html(tag("ul", *listed))


def _cause(title: str, shows: str, do: str) -> Html:
    return join([tag("dt", title), tag("dd", shows, ". ", tag("b", "Do: "), do)])


show()
