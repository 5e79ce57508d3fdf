"""Engine: how it shifts, how it idles, how it is fuelled, what could be changed, and what the logs hold of it."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from datetime import datetime
from typing import Any, Final

import pandas as pd
import streamlit as st

from dashboard import data, parts, state
from dashboard.charts import idling, seen, shifting
from dashboard.markup import Html, plain, tag
from dashboard.panels import notes
from pipeline import wording
from pipeline.catalogue import Limits, indicators
from pipeline.corrections import Correction, Corrections
from pipeline.findings import Finding
from pipeline.morning import Morning
from pipeline.ranking import EngineLine
from pipeline.register import Engine

GEARS: Final = ("reverse", "neutral", "forward")
NOTES_SHOWN: Final = 5
PARTS: Final = ("Shifting", "Idle", "Fuel", "Calibration", "Evidence")


def show() -> None:
    """Draw the screen."""
    fleet = parts.opened()
    as_of = parts.moment(fleet)
    parts.heading(fleet, "Engine", as_of)
    with st.container(horizontal=True, vertical_alignment="bottom", key="pickers"):
        boat = parts.chosen_boat(fleet)
        engine = parts.chosen_engine(fleet, boat)
    morning = data.judged(fleet, as_of)
    line = next(each for each in morning.boats if each.boat == boat.id)
    mine = next(each for each in line.engines if each.engine == engine.id)
    st.html(_standing(line.name, engine, mine, morning))
    found = [each for each in line.findings if each.engine == engine.id]
    for place, each in enumerate(found):
        st.html(parts.finding(each, morning))
        _ways_on(engine, each, place)
    _DRAWN[_part(engine, found)](fleet, engine, as_of)
    notes.of_boat(fleet, morning, boat.id, engine.id, NOTES_SHOWN)
    parts.cautions()


def _ways_on(engine: Engine, found: Finding, place: int) -> None:
    """From a finding to its season and to the newest log behind it."""
    with st.container(horizontal=True, gap="small", key=f"ways_{place}"):
        name, here = indicators().get(found.indicator), {"boat": engine.boat_id, "engine": engine.id}
        if name is not None and name.judged.against != "presence":
            to_season = state.link(**here, indicator=found.indicator, facet=found.facet)
            st.page_link("screens/season.py", label="its season ›", query_params=to_season)
        if name is not None:
            parts.method_link(found.indicator)
        if found.evidence.logs:
            newest = state.link(**here, log=found.evidence.logs[-1])
            st.page_link("screens/trace.py", label="newest log behind it ›", query_params=newest)


def _part(engine: Engine, found: list[Finding]) -> str:
    """Which part to draw: the one chosen, else the address's, else where the most pressing finding is."""
    asked = state.read(state.PART)
    first = asked if asked in PARTS else _first_part(found)
    key = f"part:{engine.engine_id}"
    chosen = st.segmented_control("Look at", PARTS, default=first, key=key, label_visibility="collapsed")
    return chosen or first


def _first_part(found: list[Finding]) -> str:
    """What to look at first: where the most pressing finding is."""
    name = found[0].indicator if found else ""
    return "Fuel" if "fuel" in name else "Idle" if name.startswith("idle") else PARTS[0]


def _standing(boat_name: str, engine: Engine, line: EngineLine, morning: Morning) -> Html:
    hours = f"{line.hours:.1f} h" if line.hours is not None else None
    serial = f"serial {engine.serial}" if engine.serial else None
    said = [parts.age(line.last_log, morning.as_of), hours, _service(engine, line), serial]
    return tag(
        "div",
        parts.badge(line.status),
        tag("b", f"{boat_name}, {engine.id}", class_="mw-name"),
        tag("span", ", ".join(each for each in said if each), class_="mw-quiet"),
        class_="mw-line",
    )


def _service(engine: Engine, line: EngineLine) -> str | None:
    since = data.since_service(engine, line.hours)
    every = engine.service.every_hours if engine.service else None
    return None if since is None or every is None else f"{since:.0f} h since service (every {every:g} h)"


def _shifting(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    rows = data.shifts(fleet, engine.engine_id, as_of)
    reach = shifting.reach_rows(rows)
    limits = data.limits(fleet, "shift_reach_error", engine.engine_id)
    limits_said = parts.limits_text(limits.watch, limits.hold, indicators()["shift_reach_error"])
    if reach.empty:
        parts.nothing("No shift with a settled position in the logs of this engine.")
    else:
        parts.section("Reach error", f"settled position less target; limits: {limits_said}")
        chosen = parts.draw_to_pick(shifting.reach(reach, limits), f"reach:{engine.engine_id}", shifting.PICK)
        _to_trace(engine, shifting.picked_row(reach, chosen))
        _positions(rows, limits)
    _transit(rows)
    without = rows[rows["settled_pct"].isna()]
    if len(without):
        reasons = without["why_null"].value_counts()
        said = [f"{count} {reason}" for reason, count in reasons.items()]
        parts.note(f"{wording.count(len(without), 'shift')} of {len(rows)} without a reading: {', '.join(said)}.")


def _to_trace(engine: Engine, row: Mapping[Hashable, Any] | None) -> None:
    """From a clicked shift to its samples."""
    if row is None:
        st.html(tag("p", "Click a mark to get to its samples.", class_="mw-quiet"))
        return
    said = f"{row['from_gear']} to {row['to_gear']}, {row['when']}: reach error {_signed(row['reach_error_pct'])} ›"
    about = data.about(float(row["at_s"]), data.SHIFT_SECONDS)
    link = state.link(boat=engine.boat_id, engine=engine.id, log=row["file"], **about)
    st.page_link("screens/trace.py", label=plain(said), query_params=link)


def _positions(rows: pd.DataFrame, limits: Limits) -> None:
    for gear in GEARS:
        found = shifting.position_rows(rows, gear, limits)
        parts.section(f"Positions, {gear}", "thick grey: target in force; dashed: watch; solid: hold")
        if found.empty:
            parts.nothing(f"No settled shift into {gear}.")
        else:
            parts.draw(shifting.positions(found), f"positions:{gear}")


def _transit(rows: pd.DataFrame) -> None:
    for against, title in (("battery_v", "battery, V"), ("temp_c", "temperature, °C")):
        found = shifting.transit_rows(rows, against)
        parts.section(
            f"Transit time against {title.partition(',')[0]}", "low voltage and cold grease slow a sound actuator too"
        )
        if found.empty:
            parts.nothing("Not logged, or no shift from or to neutral with a transit time.")
        else:
            parts.draw(shifting.transit(found, against, title), f"transit:{against}")


def _idle(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    rows = data.idle_windows(fleet, engine.engine_id, as_of)
    indicator = indicators()["idle_integral"]
    limits = data.limits(fleet, "idle_integral", engine.engine_id)
    for gear in ("neutral", "forward", "reverse"):
        wanted = indicator.wanted[gear]
        found = idling.integral_rows(rows, gear)
        parts.section(
            f"Integral against temperature, {gear}",
            f"shaded: wanted {parts.band_text(wanted)} %; {parts.limits_text(limits.watch, limits.hold, indicator)}",
        )
        if found.empty:
            parts.nothing(f"No idle window in {gear} with integral and temperature.")
        else:
            parts.draw(idling.integral(found, limits, wanted), f"integral:{gear}")


def _fuel(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    indicator = indicators()["idle_fuel_trim"]
    limits = data.limits(fleet, "idle_fuel_trim", engine.engine_id)
    rows = idling.trim_rows(data.idle_windows(fleet, engine.engine_id, as_of))
    parts.section(
        "Fuel trim at idle", f"cold and hot never mixed; {parts.limits_text(limits.watch, limits.hold, indicator)}"
    )
    if rows.empty:
        parts.nothing("No idle window with a closed fuel loop, cold or hot.")
    else:
        parts.draw(idling.trim(rows, limits), "trim")


def _calibration(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    found = data.proposed(fleet, engine.engine_id, as_of)
    parts.section(
        "What the calibration could be changed by", "arithmetic on the logs since the last change; a person decides"
    )
    for warning in found.warnings:
        parts.note(warning)
    st.html(_cells(found))
    parts.section("Shift targets")
    st.html(_targets(found))


def _cells(found: Corrections) -> Html:
    rows = [(f"neutral row {each.temp_c:g} °C", each.correction) for each in found.rows]
    rows += [(f"{each.gear} add-on", each.correction) for each in found.add_ons]
    if not rows:
        return tag("div", "No idle table can be proposed from these logs.", class_="mw-nothing")
    head = tag("tr", *(tag("th", each) for each in ("cell", "add", "measured", "rests on")))
    return tag("table", tag("thead", head), tag("tbody", *(_cell(*each) for each in rows)), class_="mw-table")


def _cell(name: str, found: Correction) -> Html:
    change = "–" if found.change is None else _signed(found.change) if found.is_called_for else "leave"
    measured = "–" if found.measured is None else _signed(found.measured)
    basis = found.reason or f"{wording.count(found.windows, 'window')} in {wording.count(found.runs, 'run')}"
    return tag(
        "tr",
        tag("th", name, scope="row"),
        tag("td", change, class_="mw-figure"),
        tag("td", measured, class_="mw-figure"),
        tag("td", basis),
    )


def _signed(value: float) -> str:
    return f"{value:+.1f} %".replace("-", "−")


def _targets(found: Corrections) -> Html:
    if not found.targets:
        return tag("div", "No shift with a target in these logs.", class_="mw-nothing")
    head = tag("tr", *(tag("th", each) for each in ("gear", "target", "reaches", "rests on")))
    rows = [
        tag(
            "tr",
            tag("th", each.gear, scope="row"),
            tag("td", "–" if each.target is None else f"{each.target:.1f} %", class_="mw-figure"),
            tag("td", "leave" if each.reaches is None else f"{each.reaches:.1f} %", class_="mw-figure"),
            tag("td", each.reason or f"{wording.count(each.shifts, 'shift')} in {wording.count(each.runs, 'run')}"),
        )
        for each in found.targets
    ]
    return tag("table", tag("thead", head), tag("tbody", *rows), class_="mw-table")


def _evidence(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    rows = seen.seen_rows(data.evidence(fleet, engine.engine_id, as_of))
    parts.section("What the newest logs hold", "filled: seen in that log; open: not seen")
    if rows.empty:
        parts.nothing("No log of this engine has been read up to this moment.")
        return
    parts.draw(seen.seen(rows), "seen")
    held = data.channels(fleet, engine.engine_id, as_of)
    st.html(tag("p", tag("b", "Channels held: "), ", ".join(held.held)))
    st.html(tag("p", tag("b", "Lacking: "), ", ".join(held.lacking) or "none"))


_DRAWN = dict(zip(PARTS, (_shifting, _idle, _fuel, _calibration, _evidence), strict=True))

show()
