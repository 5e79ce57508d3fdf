"""The ways on: from a finding, a mark in a picture or a line of a list to the samples that it rests on."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import streamlit as st

from dashboard import data, parts, state
from dashboard.markup import plain, tag
from pipeline.catalogue import indicators
from pipeline.findings import Finding


def from_finding(boat: str, found: Finding, place: str) -> None:
    """From a finding to its season and to the newest log behind it; `place` tells findings of one screen apart."""
    if found.engine is None:
        return
    here = {"boat": boat, "engine": found.engine}
    name = indicators().get(found.indicator)
    has_season = name is not None and name.judged.against != "presence"
    if name is None and not found.evidence.logs:
        return
    with st.container(horizontal=True, gap="small", key=f"ways_{place}"):
        if has_season:
            to_season = state.link(**here, indicator=found.indicator, facet=found.facet)
            st.page_link("screens/season.py", label="its season ›", query_params=to_season)
        if name is not None:
            parts.method_link(found.indicator)
        if found.evidence.logs:
            newest = state.link(**here, log=found.evidence.logs[-1])
            st.page_link("screens/trace.py", label="newest log behind it ›", query_params=newest)


def to_samples(engine_id: str, file: str, at_s: float, seconds: float, label: str) -> None:
    """A link to a log's samples about a moment."""
    boat, _, engine = engine_id.partition("/")
    link = state.link(boat=boat, engine=engine, log=file, **data.about(at_s, seconds))
    st.page_link("screens/trace.py", label=plain(f"{label} ›"), query_params=link)


def from_mark(engine_id: str, row: Mapping[Hashable, Any] | None, seconds: float, label: str) -> None:
    """From a clicked mark to its samples; says how where none is clicked."""
    if row is None:
        st.html(tag("p", "Click a mark to get to its samples.", class_="mw-quiet"))
        return
    to_samples(engine_id, str(row["file"]), float(row["at_s"]), seconds, label)
