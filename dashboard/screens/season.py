"""Season: any indicator of the fleet, a boat or an engine since the first log, what happened, and where it leads."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from functools import partial
from typing import Final

import streamlit as st

from dashboard import data, parts, state
from dashboard.charts import drawing, seasons, weekly
from dashboard.panels import season as pieces
from pipeline import wording
from pipeline.catalogue import indicators
from pipeline.register import Boat, Engine
from pipeline.season.fleet import SHARED
from pipeline.season_data import centre_of

SCOPES: Final = ("fleet", "boat", "engine")

TOGETHER: Final = "together"
"""The part that is drawn when it is asked for, by its name in an address."""

ENGINES_SHOWN: Final = 40
"""Engines up to which a fleet is shown whole; of more, the rest comes when it is asked for."""


def show() -> None:
    """Draw the screen."""
    fleet = parts.opened()
    as_of = parts.moment(fleet)
    parts.heading(fleet, "Season", as_of)
    scope = _chosen_scope()
    with st.container(horizontal=True, vertical_alignment="bottom", key="pickers"):
        name, facet = _chosen_indicator(fleet)
        engines = _chosen_engines(fleet, scope)
    st.html(parts.meaning(indicators()[name]))
    parts.method_link(name)
    read = data.engines_read(fleet, name, facet, as_of)
    if not read:
        parts.nothing("No reading up to this moment.")
        return
    shown = _first_engines(fleet, read, as_of) if scope == "fleet" else engines
    found = data.place(fleet, name, facet, as_of, tuple(each.engine_id for each in shown))
    if scope == "fleet":
        _weeks(fleet, found)
        _levels(fleet, found, shown, is_fleet=True)
        _together(fleet, found, as_of)
    else:
        _of_boat(fleet, found, engines, as_of, is_one=scope == "engine")


def _first_engines(fleet: data.Fleet, read: Collection[str], as_of: datetime) -> Sequence[Engine]:
    """The engines that have readings, of a big fleet the first ones in the order of the morning's list."""
    lines = data.judged(fleet, as_of).boats
    listed = [engine for line in lines for engine in fleet.register.boat(line.boat).engines if engine.engine_id in read]
    return parts.first_of(listed, ENGINES_SHOWN, "engines", "season_all")


def _of_boat(fleet: data.Fleet, found: data.Place, engines: Sequence[Engine], as_of: datetime, *, is_one: bool) -> None:
    """A boat's engines or one of them: its readings, where it stands, what the fleet did, and its weeks."""
    if not engines:
        parts.nothing("This boat has no engine in the register.")
        return
    _readings(fleet, found, engines)
    if is_one:
        _ahead(fleet, found, engines[0])
    else:
        _levels(fleet, found, engines)
        _weeks(fleet, found)
    _together(fleet, found, as_of)


def _chosen_scope() -> str:
    """The scope of the address; without one, what it names: an engine, a boat, else the fleet."""
    asked = state.read(state.SCOPE)
    if asked is not None and asked not in SCOPES:
        parts.note(f"There is no scope {asked!r}; there are {', '.join(SCOPES)}.")
        asked = None
    named = next((each for each in ("engine", "boat") if each in st.query_params), "fleet")
    first = asked or named
    key = f"scope:{first}"
    chosen = st.segmented_control(
        "Of the", SCOPES, default=first, key=key, on_change=_take_scope, args=(key,), required=True
    )
    state.write(state.SCOPE, chosen or first)
    return chosen or first


def _take_scope(key: str) -> None:
    state.write(state.SCOPE, st.session_state[key])


def _chosen_indicator(fleet: data.Fleet) -> tuple[str, str]:
    """The indicator and facet of the address, with pickers for others; unknown ones are said and replaced."""
    known = {name: each for name, each in data.facets(fleet).items() if name in indicators()}
    if not known:
        parts.nothing("No reading yet: the logs hold nothing that an indicator could use.")
        st.stop()
    asked = state.read(state.INDICATOR)
    if asked is not None and asked not in known:
        parts.note(f"There is no reading of {asked!r}, so another indicator is shown.")
        asked = None
    first = "shift_reach_error" if "shift_reach_error" in known else next(iter(known))
    titles = {each: indicators()[each].title for each in known}
    chosen = parts.picked("Indicator", titles, asked or first, state.INDICATOR) or first
    state.write(state.INDICATOR, chosen)
    facets = known[chosen]
    facet = state.read(state.FACET)
    facet = facet if facet in facets else facets[-1 if "forward" in facets else 0]
    if len(facets) > 1:
        facet = parts.picked("Facet", {each: each or "all" for each in facets}, facet, state.FACET) or facet
        state.write(state.FACET, facet)
    return chosen, facet


def _chosen_engines(fleet: data.Fleet, scope: str) -> tuple[Engine, ...]:
    """The engines of the scope; none for the fleet, which needs no choice."""
    if scope == "fleet":
        return ()
    boat: Boat = parts.chosen_boat(fleet)
    return boat.engines if scope == "boat" else (parts.chosen_engine(fleet, boat),)


def _readings(fleet: data.Fleet, found: data.Place, engines: Sequence[Engine]) -> None:
    """Every run of some engines of one boat, with limits and what happened."""
    boat = fleet.register.boat(engines[0].boat_id)
    who = f"{boat.name}, {engines[0].id}" if len(engines) == 1 else boat.name
    parts.section(f"{wording.title(found.indicator, found.facet)}, {who}", "a dot a run; click one to get to its log")
    is_own = bool(found.steps) and st.toggle("Without what the whole fleet did", value=True, key="season_own")
    ids = [engine.engine_id for engine in engines]
    rows = seasons.season_rows(found.readings, ids, own=is_own)
    if rows.empty:
        parts.nothing("No reading of this boat." if len(engines) != 1 else "No reading of this engine.")
        return
    parts.withheld(rows.sort_values("at_s"))
    limits = data.limits(fleet, found.indicator.name, ids[0])
    band = found.indicator.wanted.get(found.facet, (0.0, 0.0))
    is_limit = found.indicator.judged.against == "limits"
    rules = drawing.limit_rows(limits, band, found.indicator.worse) if is_limit else drawing.NO_LIMITS
    happened = seasons.happening_rows(data.happened(fleet, found, engines, parts.moment(fleet)), fleet.zone)
    happened = happened.assign(who=[fleet.name_of(who) if "/" in who else who for who in happened["who"]])
    names = [engine.id for engine in engines]
    chart = seasons.season(rows, names, happened, found.indicator.unit, rules)
    chosen = parts.draw_to_pick(chart, f"season:{found.indicator.name}:{found.facet}:{','.join(ids)}", seasons.PICK)
    pieces.to_run(rows, chosen)
    st.html(pieces.happened(happened))
    st.html(pieces.readings_table(rows, found.indicator))


def _ahead(fleet: data.Fleet, found: data.Place, engine: Engine) -> None:
    """Where one engine stands, and where a growing level leads."""
    mine = found.states.get(engine.engine_id)
    parts.section("Where it stands", "the level of the newest runs; a pace only where it grows steadily")
    if mine is None:
        parts.nothing(pieces.no_level(found.indicator))
        return
    ahead = data.projection(mine)
    st.html(pieces.standing(data.level(mine)))
    parts.engine_link(engine.boat_id, engine.id, f"{fleet.name_of(engine.engine_id)} ›")
    parts.section("Where it leads", "if nothing changes; the shade is a 95 % band")
    if ahead is None:
        parts.nothing(pieces.no_projection(mine))
        return
    parts.draw(seasons.fan(ahead, found.indicator.unit), f"fan:{found.indicator.name}:{found.facet}")
    st.html(pieces.fan_words())


def _levels(fleet: data.Fleet, found: data.Place, engines: Sequence[Engine], *, is_fleet: bool = False) -> None:
    """Where each engine stands, in numbers and words."""
    ids = {engine.engine_id for engine in engines}
    mine = [each for engine_id, each in found.states.items() if engine_id in ids]
    parts.section("Where each engine stands", "level of the newest runs; a pace only where it grows steadily")
    if not mine:
        parts.nothing(pieces.no_level(found.indicator))
        return
    levels = data.levels(mine)
    st.html(pieces.levels_table(levels, fleet.name_of, is_shared=bool(found.steps)))
    linked = [each for each in levels if not is_fleet or pieces.is_pressing(each)]
    with st.container(horizontal=True, gap="small", key="season_engines"):
        for each in linked[: pieces.LINKS]:
            boat, _, engine = each.engine_id.partition("/")
            parts.engine_link(boat, engine, f"{fleet.name_of(each.engine_id)} ›")


def _together(fleet: data.Fleet, found: data.Place, as_of: datetime) -> None:
    """What moved on most engines at once, by itself; its picture needs every engine's readings, so it waits."""
    parts.section("The whole fleet at once", "what most engines did together, each less its own usual")
    st.html(pieces.steps_said(found.steps, fleet.zone, is_shared=found.indicator.name in SHARED))
    owner = f"{found.indicator.name}:{found.facet}"
    parts.fold("Day by day", TOGETHER, owner, partial(_days, fleet, found, as_of))


def _days(fleet: data.Fleet, found: data.Place, as_of: datetime) -> None:
    """A dot a day: the median over engines."""
    days, line = data.together(fleet, found.indicator.name, found.facet, as_of)
    if days.empty:
        parts.nothing("On no day did enough engines run to speak of a fleet.")
        return
    parts.draw(weekly.together(days, line, found.indicator.unit, data.watched(found)), "together")


def _weeks(fleet: data.Fleet, found: data.Place) -> None:
    """A heat map of engines and weeks, and the same numbers as a table."""
    centre = centre_of(found.indicator)
    about = "each engine's own: the median of the week, what the whole fleet did taken out"
    parts.section("Every engine, week by week", about)
    if found.readings.empty:
        parts.nothing("No reading of these engines.")
        return
    rows = data.weeks(found)
    rows = rows.assign(who=rows["engine_id"].map(fleet.name_of))
    title = weekly.heat_title(found.indicator.unit, centre)
    chart = weekly.heat(rows, title=title, half=data.half_range(found, rows), dark=parts.is_dark())
    chosen = parts.draw_to_pick(chart, f"weeks:{found.indicator.name}:{found.facet}", weekly.PICK)
    st.html(pieces.heat_words())
    pieces.to_week(rows, found.readings, chosen)
    st.html(pieces.weeks_table(rows))


show()
