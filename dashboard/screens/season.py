"""Season: any indicator since the first log, with what happened on the way, and every engine week by week."""

from __future__ import annotations

import streamlit as st

from dashboard import data, parts, state
from dashboard.charts import drawing, seasons
from dashboard.markup import plain
from pipeline import wording
from pipeline.catalogue import Indicator, indicators
from pipeline.morning import Morning
from pipeline.register import Boat


def show() -> None:
    """Draw the screen."""
    fleet = parts.opened()
    as_of = parts.moment(fleet)
    parts.heading(fleet, "Season", as_of)
    with st.container(horizontal=True, vertical_alignment="bottom", key="pickers"):
        indicator, facet = _chosen(fleet)
        boat = parts.chosen_boat(fleet, first=True)
    st.html(parts.meaning(indicator))
    _boat_season(fleet, boat, indicator, facet, data.judged(fleet, as_of))
    _weeks(fleet, indicator, facet, data.judged(fleet, as_of))


def _chosen(fleet: data.Fleet) -> tuple[Indicator, str]:
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
    name = parts.picked(
        "Indicator", {each: indicators()[each].title for each in known}, asked or first, state.INDICATOR
    )
    chosen = name or first
    state.write(state.INDICATOR, chosen)
    facet = state.read(state.FACET)
    facet = facet if facet in known[chosen] else known[chosen][-1 if "forward" in known[chosen] else 0]
    if len(known[chosen]) > 1:
        facet = parts.picked("Facet", {each: each or "all" for each in known[chosen]}, facet, state.FACET) or facet
    return indicators()[chosen], facet


def _boat_season(fleet: data.Fleet, boat: Boat, indicator: Indicator, facet: str, morning: Morning) -> None:
    parts.section(
        f"{wording.title(indicator, facet)}, {boat.name}",
        "a dot a run; violet lines: notes (solid) and where a comparison starts anew (dotted)",
    )
    rows = seasons.season_rows(
        data.season(fleet, indicator.name, facet, morning.as_of), boat.id, [e.id for e in boat.engines]
    )
    if rows.empty:
        parts.nothing("No reading of this boat.")
        return
    mine = [
        each
        for each in morning.states
        if (each.key.indicator, each.key.facet) == (indicator.name, facet)
        and each.key.engine_id in {engine.engine_id for engine in boat.engines}
    ]
    happened = seasons.happening_rows(mine, data.written(fleet, morning.as_of, boat.id), fleet.zone)
    limits = data.limits(fleet, indicator.name, boat.engines[0].engine_id)
    band = indicator.wanted.get(facet, (0.0, 0.0))
    rules = (
        drawing.limit_rows(limits, band, indicator.worse) if indicator.judged.against == "limits" else drawing.NO_LIMITS
    )
    chart = seasons.season(rows, happened, indicator.unit, rules)
    chosen = parts.draw_to_pick(chart, f"season:{indicator.name}:{facet}:{boat.id}", seasons.PICK)
    if chosen is not None:
        link = state.link(boat=boat.id, engine=str(chosen.get("engine")), log=str(chosen.get("file")))
        st.page_link("screens/trace.py", label=plain(f"{chosen.get('file')} ›"), query_params=link)


def _weeks(fleet: data.Fleet, indicator: Indicator, facet: str, morning: Morning) -> None:
    found = data.weeks(fleet, indicator.name, facet, morning.as_of)
    parts.section(
        "Every engine, week by week", f"the median reading of the week of {wording.title(indicator, facet).lower()}"
    )
    if found.empty:
        parts.nothing("No reading up to this moment.")
        return
    limits = data.limits(fleet, indicator.name, fleet.register.engines()[0].engine_id)
    has_limits = indicator.judged.against == "limits" and (limits.watch, limits.hold) != (None, None)
    rows = seasons.week_rows(found, indicator, facet, limits)
    parts.draw(seasons.weeks(rows, has_limits), "weeks")


show()
