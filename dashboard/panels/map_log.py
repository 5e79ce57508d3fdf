"""A channel map for a log nobody has described: proposed, corrected, tried, and saved into the fleet file."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Final

import streamlit as st

from dashboard import data, mapping, parts, state
from dashboard.incoming import Sent
from dashboard.markup import Html, tag
from pipeline import upload, wording
from pipeline.channels import CHANNELS, fits
from pipeline.proposal import ColumnProposal, Proposal, with_picks
from pipeline.proposal.preview import cell
from pipeline.proposal.units import STOICH, is_ratio
from pipeline.register import TIME_UNITS
from pipeline.trial import LogYield, Trial

NONE: Final = "(none)"
COLUMN_PX: Final = 210
UNIT_PX: Final = 125
"""Side by side they fit a phone."""

USUAL_UNITS: Final = {
    "rpm": ("1/min", "Hz"), "%": ("fraction",), "degC": ("degF", "K"), "lambda": ("afr",), "V": ("mV",),
    "kPa": ("bar", "psi", "mbar", "Pa", "inHg"), "h": ("min", "s"),
}  # fmt: skip
"""Units offered beside the canonical one, which is the key."""


def show(fleet: data.Fleet, as_of: datetime) -> None:
    """Draw the part."""
    parts.section("Map a log", "which of its columns is what: proposed by name, unit, range and behaviour; you decide")
    saved = st.session_state.pop(state.MAP_SAVED, None)
    if saved is not None:
        parts.note(saved)
    boat = _boat(fleet)
    sent = _sent(fleet, as_of)
    if sent is None:
        return
    proposal = mapping.proposed(fleet, sent, boat)
    if isinstance(proposal, str):
        parts.note(proposal)
    elif proposal.problems:
        parts.note(f"No map can be proposed. {proposal.problems[0].sentence()}")
    else:
        _proposal(proposal, fleet, sent, boat)


def _boat(fleet: data.Fleet) -> str | None:
    names = {boat.id: boat.name for boat in fleet.register.boats}
    asked = state.read(state.BOAT)
    return parts.picked("For the logs of", names, asked if asked in names else None, state.BOAT)


def _sent(fleet: data.Fleet, as_of: datetime) -> Sent | None:
    """The log: a refused file of the inbox, or one that is sent."""
    refused = data.refused(fleet, as_of)
    file = st.selectbox(
        "A refused log of the inbox", [None, *refused], format_func=lambda each: each or "choose", width=500
    )
    sent = st.file_uploader("or another log", key="map_file", max_upload_size=upload.MAX_MB)
    if sent is not None:
        return Sent(sent.name, sent.getvalue())
    if file is None:
        return None
    found = mapping.from_inbox(fleet, file)
    if isinstance(found, str):
        parts.note(found)
        return None
    return found


def _proposal(proposal: Proposal, fleet: data.Fleet, sent: Sent, boat: str | None) -> None:
    log = mapping.digest(sent)
    engines = f" Engines in its columns: {', '.join(proposal.engines)}." if proposal.engines else ""
    start = f" {proposal.start[:1].upper()}{proposal.start[1:]}." if proposal.start else ""
    st.html(tag("p", tag("b", proposal.file), f": {_found(proposal)}.{engines}{start}", class_="mw-file"))
    _questions(proposal)
    picked = _picked(proposal, log)
    if picked.unused:
        st.html(tag("p", f"Columns not used: {', '.join(picked.unused)}.", class_="mw-quiet mw-file"))
    _try_and_save(picked, fleet, sent, boat)


def _found(proposal: Proposal) -> str:
    sure, unsure = len(proposal.chosen), len(proposal.maybe)
    return f"{wording.count(sure, 'line')} proposed" + (f", {unsure} more unsure" if unsure else "")


def _questions(proposal: Proposal) -> None:
    if proposal.questions:
        asked = tag("ul", *(tag("li", each.text) for each in proposal.questions), class_="mw-file")
        st.html(tag("div", tag("b", "What the log cannot tell; answer below:"), asked, class_="mw-note"))


def _picked(proposal: Proposal, log: str) -> Proposal:
    """The map as it stands in the selectors."""
    lines = {line.channel: line for line in proposal.chosen}
    unsure = {line.channel: line for line in proposal.maybe}
    asked = {channel for each in proposal.questions for channel in each.channels}
    shown = [each for each in ("time", *CHANNELS) if each in lines or each in unsure or each in asked]
    rest = [each for each in ("time", *CHANNELS) if each not in shown and (each != "time" or not proposal.has_own_time)]
    picks = {each: _row(each, lines.get(each), unsure.get(each), proposal, log) for each in shown}
    if rest:
        with st.expander(f"Channels without a column ({len(rest)})"):
            picks |= {each: _row(each, None, None, proposal, log) for each in rest}
    ratios = [each for each, (column, unit) in picks.items() if column and each != "time" and is_ratio(unit)]
    stoich = _stoich(log) if ratios else None
    return with_picks(proposal, picks, stoich)


def _row(
    channel: str, line: ColumnProposal | None, unsure: ColumnProposal | None, proposal: Proposal, log: str
) -> tuple[str | None, str | None]:
    """One channel: its column and unit to choose, and why they were proposed."""
    with st.container(key=f"map_row_{channel}"):
        st.html(_why(channel, line or unsure, is_sure=line is not None))
        with st.container(horizontal=True, vertical_alignment="bottom", key=f"map_pick_{channel}"):
            options = [NONE, *proposal.columns]
            column = st.selectbox(
                f"Column of {channel}",
                options,
                options.index(line.column) if line else 0,
                key=f"map:{log}:{channel}",
                width=COLUMN_PX,
                label_visibility="collapsed",
            )
            told = next((each for each in (line, unsure) if each is not None and each.column == column), None)
            unit = _unit(channel, told, f"map:{log}:{channel}:{column}")
    return (None if column in {None, NONE} else column), unit


def _unit(channel: str, line: ColumnProposal | None, key: str) -> str | None:
    """The unit to choose; None is the canonical one."""
    canonical = TIME_UNITS[0] if channel == "time" else CHANNELS[channel].unit
    told = line.unit if line else None
    options = list(dict.fromkeys([canonical, *([told] if told else []), *_units(channel)]))
    if len(options) < 2:
        return None
    index = options.index(told) if told else 0
    found = st.selectbox(f"Unit of {channel}", options, index, key=key, format_func=_shown_unit,
                         width=UNIT_PX, label_visibility="collapsed")  # fmt: skip
    return None if channel != "time" and found == canonical else found


def _shown_unit(unit: str) -> str:
    return {"degC": "°C", "degF": "°F", "fraction": "0 to 1"}.get(unit, unit)


def _units(channel: str) -> tuple[str, ...]:
    """What is offered beside the canonical unit."""
    if channel == "time":
        return TIME_UNITS
    return tuple(each for each in USUAL_UNITS.get(CHANNELS[channel].unit, ()) if fits(channel, each))


def _why(channel: str, line: ColumnProposal | None, *, is_sure: bool) -> Html:
    about = "time of the sample" if channel == "time" else CHANNELS[channel].meaning
    said = tag("span", f"{about}; no column was found", class_="mw-quiet")
    if line is not None:
        sure = f"{line.confidence:.0%} sure" if is_sure else f"unsure: perhaps {line.column!r}, {line.confidence:.0%}"
        zero = f"; rests at {line.zero:g}" if line.zero is not None else ""
        said = tag("span", f"{sure}: {'; '.join(line.reasons)}{zero if not line.reasons else ''}", class_="mw-quiet")
    doubt = tag("span", f" {line.doubt}.", class_="mw-doubt") if line is not None and line.doubt else None
    return tag("div", tag("b", channel), " ", said, doubt, class_="mw-maprow mw-file")


def _stoich(log: str) -> float:
    return float(
        st.number_input("Stoichiometric air-fuel ratio", 2.0, 40.0, STOICH, 0.1, key=f"map:{log}:stoich", width=240)
    )


def _try_and_save(picked: Proposal, fleet: data.Fleet, sent: Sent, boat: str | None) -> None:
    if not picked.is_usable:
        parts.nothing("A map needs a time and one more channel; choose their columns above.")
        return
    if st.button("Try this map", key="try_map"):
        st.session_state[state.MAP_TRIED] = (mapping.digest(sent), picked.toml(), boat)
    if st.session_state.get(state.MAP_TRIED) != (mapping.digest(sent), picked.toml(), boat):
        return
    trial = mapping.tried(fleet, sent, picked, boat)
    if isinstance(trial, str):
        parts.note(trial)
        return
    _tried(trial, fleet)
    _save(picked, fleet, boat)


def _tried(trial: Trial, fleet: data.Fleet) -> None:
    """What the log would give by the map, or why it would be refused."""
    if trial.refusal is not None:
        said = tag("p", "By this map the log would be refused.")
        why = tag("p", trial.refusal, class_="mw-says")
        st.html(tag("article", said, why, class_="mw-finding mw-unchecked mw-file"))
        return
    remarks = tag("p", trial.remarks, class_="mw-quiet") if trial.remarks else None
    said = tag("p", "By this map it would be taken.", class_="mw-says")
    engines = [_engine(each, fleet) for each in trial.engines]
    st.html(tag("article", said, *engines, remarks, class_="mw-finding mw-ready mw-file"))
    parts.section("First readings", "in canonical units, of the first engine")
    st.html(tag("div", *(_first_readings(each) for each in trial.engines[:1]), class_="mw-scroll"))


def _engine(each: LogYield, fleet: data.Fleet) -> Html:
    lacking = f" Not in it: {', '.join(each.lacking)}." if each.lacking else ""
    began = data.local_text(fleet, each.started_s)
    said = f" from {began}: {each.says()}."
    return tag("p", tag("b", each.engine), said, tag("span", lacking, class_="mw-quiet"))


def _first_readings(each: LogYield) -> Html:
    rows = [
        tag("tr", tag("th", channel), tag("td", _shown_unit(CHANNELS[channel].unit), class_="mw-quiet"),
            *(tag("td", cell(row.get(channel)), class_="mw-figure") for row in each.first))
        for channel in each.channels
    ]  # fmt: skip
    return tag("table", tag("tbody", *rows), class_="mw-table")


def _save(picked: Proposal, fleet: data.Fleet, boat: str | None) -> None:
    parts.section("Save it", "into fleet.toml, where everything else stays as it is")
    name = st.text_input("Name of the map", _suggested(fleet, boat), key=f"map_name:{boat}", width=340)
    known = name in fleet.register.channel_maps
    replace = known and st.checkbox(
        "Replace the map of that name; its lines stay behind as comments", key="map_replace"
    )
    uses = boat is not None and st.checkbox(
        f"{fleet.register.boat(boat).name} uses it", value=True, key=f"map_use:{boat}"
    )
    if st.button("Save the map", key="save_map", type="primary"):
        saved = mapping.save(fleet, picked, name.strip(), (boat,) if boat and uses else (), replace=bool(replace))
        if saved.is_saved:
            st.session_state[state.MAP_SAVED] = saved.text
            st.session_state.pop(state.MAP_TRIED, None)
            st.rerun()
        parts.note(saved.text)


def _suggested(fleet: data.Fleet, boat: str | None) -> str:
    """A name that no map bears yet."""
    stem = re.sub(r"[^A-Za-z0-9_-]+", "_", boat or "new")
    names = [stem, *(f"{stem}-{number}" for number in range(2, 100))]
    return next(each for each in names if each not in fleet.register.channel_maps)
