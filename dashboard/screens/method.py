"""Method: how every number is made and judged, which causes and problems are known, and how often it may be wrong."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Final

import streamlit as st

from dashboard import data, parts, state
from dashboard.markup import plain, tag
from dashboard.panels import method as panel
from pipeline.catalogue import indicators
from pipeline.method import IndicatorMethod, Method

PARTS: Final = ("Indicator", "Statistics", "False alarms", "Causes", "Words", "Data problems", "Cautions")
HITS_SHOWN: Final = 30


def show() -> None:
    """Draw the screen."""
    fleet = parts.opened()
    as_of = parts.moment(fleet)
    parts.heading(fleet, "Method", as_of)
    whole = data.method(fleet, as_of)
    asked = _search()
    if asked:
        _hits(whole, asked)
        return
    part = _chosen_part()
    if part == PARTS[0]:
        _indicator(fleet, whole)
    else:
        _DRAWN[part](whole, as_of)


def _search() -> str:
    """What is looked for, from the address or typed."""
    asked = state.read(state.SEARCH) or ""
    key = f"search:{asked}"
    st.text_input(
        "Search", asked, key=key, placeholder="a word, such as trim or clock", on_change=_take, args=(key,), width=340
    )
    return asked.strip()


def _take(key: str) -> None:
    state.write(state.SEARCH, st.session_state[key].strip() or None)


def _hits(whole: Method, asked: str) -> None:
    """Where the words that are asked stand, each with the way to it."""
    hits = panel.found(whole, asked)
    parts.section(f"{len(hits)} found", f"entries that hold {asked!r}")
    for place, each in enumerate(hits[:HITS_SHOWN]):
        with st.container(key=f"hit_{place}"):
            link = state.link(part=each.part, indicator=each.indicator)
            st.page_link("screens/method.py", label=plain(f"{each.title} ({each.part}) ›"), query_params=link)
            st.html(tag("p", panel.excerpt(each, asked), class_="mw-quiet"))
    if len(hits) > HITS_SHOWN:
        parts.note(f"{len(hits) - HITS_SHOWN} more: ask for another word as well.")


def _chosen_part() -> str:
    """The part of the address, else the first; an unknown one is said."""
    asked = state.read(state.PART)
    if asked is not None and asked not in PARTS:
        parts.note(f"There is no part {asked!r} of the method.")
        asked = None
    first = asked or PARTS[0]
    key = f"method_part:{first}"
    chosen = st.segmented_control(
        "Part", PARTS, default=first, key=key, on_change=_turn, args=(key,), label_visibility="collapsed", required=True
    )
    return chosen or first


def _turn(key: str) -> None:
    state.write(state.PART, st.session_state[key])


def _indicator(fleet: data.Fleet, whole: Method) -> None:
    """One indicator: its header, the limits in force, and its query."""
    known = {each.name: each for each in whole.indicators}
    asked = state.read(state.INDICATOR)
    if asked is not None and asked not in known:
        parts.note(f"There is no indicator {asked!r}.")
        asked = None
    first = asked or next(iter(known))
    titles = {name: each.title for name, each in known.items()}
    name = parts.picked("Indicator", titles, first, state.INDICATOR) or first
    state.write(state.INDICATOR, name)
    parts.section(known[name].title)
    st.html(panel.indicator(known[name]))
    st.page_link("screens/season.py", label="its season ›", query_params=state.link(indicator=name, scope="fleet"))
    _limits(fleet, known[name])
    parts.section("Query", f"pipeline/sql/indicators/{name}.sql")
    st.code(known[name].sql, language="sql", wrap_lines=True)


def _limits(fleet: data.Fleet, each: IndicatorMethod) -> None:
    """The limits of every engine: the header's own, or those that the fleet file sets."""
    parts.section("Limits in force", "the header's own, unless the fleet file says otherwise")
    indicator = indicators()[each.name]
    if indicator.judged.against == "presence":
        parts.nothing("No limit applies: the logs show it or they do not.")
        return
    by_text: dict[tuple[str, bool], list[str]] = {}
    for engine in fleet.register.engines():
        limits = data.limits(fleet, each.name, engine.engine_id)
        text = parts.limits_text(limits.watch, limits.hold, indicator)
        by_text.setdefault((text, limits != indicator.limits), []).append(engine.engine_id)
    total = sum(map(len, by_text.values()))
    listed = [
        tag(
            "li",
            tag("b", text),
            f": {'every engine' if len(engines) == total else ', '.join(engines)}",
            tag("span", f" ({'from fleet.toml' if is_own else 'the default'})", class_="mw-quiet"),
        )
        for (text, is_own), engines in by_text.items()
    ]
    st.html(tag("ul", *listed))


def _statistics(whole: Method, _: datetime) -> None:
    parts.section("From readings to a verdict", "every step in its order, with the numbers in force")
    st.html(panel.statistics(whole.statistics))


def _false_alarms(whole: Method, as_of: datetime) -> None:
    parts.section("False alarms", f"planned, for this fleet as it has run up to {parts.when(as_of)}")
    st.html(panel.budget(whole.budget, whole.thresholds))


def _causes(whole: Method, _: datetime) -> None:
    parts.section("Causes", "what speaks for and against each, and what to do")
    st.html(panel.causes(whole.causes))


def _words(whole: Method, _: datetime) -> None:
    parts.section("Words", "the lists that screens, list and exports use")
    st.html(panel.words(whole))


def _problems(whole: Method, _: datetime) -> None:
    parts.section("Faults of a channel", "what its values show; a finding about data, never about the engine")
    st.html(panel.problems(whole.faults))
    parts.section("Problems with files", "the message itself names file, line and what was found")
    st.html(panel.problems(whole.problems))


def _cautions(_whole: Method, _: datetime) -> None:
    parts.cautions()


_DRAWN: Final[Mapping[str, Callable[[Method, datetime], None]]] = dict(
    zip(PARTS[1:], (_statistics, _false_alarms, _causes, _words, _problems, _cautions), strict=True)
)

show()
