"""Logs: what came in, what was refused and why, and which boats are silent."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from datetime import datetime
from typing import Any, Final

import pandas as pd
import streamlit as st

from dashboard import data, parts
from dashboard.charts import coverage
from dashboard.markup import Html, tag
from pipeline import wording

TAKEN_SHOWN: Final = 60


def show() -> None:
    """Draw the screen."""
    fleet = parts.opened()
    as_of = parts.moment(fleet)
    parts.heading(fleet, "Logs", as_of)
    logs = data.logs(fleet, as_of)
    refused, taken = logs[logs["status"] == "refused"], logs[logs["status"] == "taken"]
    st.html(tag("p", _summary(taken, refused), class_="mw-answer"))
    parts.section("Refused", "nothing of these files is used; each says the way out")
    if refused.empty:
        parts.nothing("No file was refused.")
    else:
        st.html(tag("div", *(_refusal(row) for row in refused.to_dict("records"))))
    _coverage(logs, fleet, as_of)
    _taken(taken, fleet)


def _summary(taken: pd.DataFrame, refused: pd.DataFrame) -> str:
    """One status a file, so that the counts add up to the files of the inbox."""
    copies = int(taken["copies"].sum())
    known = f", {wording.count(copies, 'file')} of the same bytes under another name" if copies else ""
    return f"{wording.count(len(taken), 'log')} taken{known}, {wording.count(len(refused), 'file')} refused."


def _refusal(row: Mapping[Hashable, Any]) -> Html:
    line = "" if pd.isna(row["line"]) else f", line {row['line']:.0f}"
    return tag(
        "article",
        tag("b", f"{row['file']}{line}"),
        tag("p", str(row["reason"])),
        class_="mw-finding mw-unchecked mw-file",
    )


def _coverage(logs: pd.DataFrame, fleet: data.Fleet, as_of: datetime) -> None:
    parts.section("The last four weeks", "a square a boat and day, larger the more was logged; nothing is silence")
    names = {boat.id: boat.name for boat in fleet.register.boats}
    rows = coverage.coverage_rows(logs, as_of, names)
    if rows["local_ms"].notna().any():
        parts.draw(coverage.coverage(rows), "coverage")
    else:
        parts.nothing("No log in the last four weeks.")


def _taken(taken: pd.DataFrame, fleet: data.Fleet) -> None:
    names = {boat.id: boat.name for boat in fleet.register.boats}
    boat = st.selectbox(
        "Logs of", [None, *names], format_func=lambda each: names.get(each, "all boats"), key="logs_of", width=340
    )
    shown = taken if boat is None else taken[taken["boat"] == boat]
    parts.section(f"Newest logs taken ({min(TAKEN_SHOWN, len(shown))} of {len(shown)})")
    if shown.empty:
        parts.nothing("None.")
        return
    head = tag("tr", *(tag("th", each) for each in ("began", "file", "length", "remark")))
    rows = (_log(row) for row in shown.head(TAKEN_SHOWN).to_dict("records"))
    st.html(tag("table", tag("thead", head), tag("tbody", *rows), class_="mw-table mw-logs"))


def _log(row: Mapping[Hashable, Any]) -> Html:
    remarks = [str(row["reason"])] if isinstance(row["reason"], str) else []
    if row["is_start_assumed"] is True:
        remarks.append("its start is assumed")
    return tag(
        "tr",
        tag("td", str(row["when"])[:-3], class_="mw-figure"),
        tag("td", str(row["file"]), class_="mw-file"),
        tag("td", f"{row['minutes']:.0f} min", class_="mw-figure"),
        tag("td", "; ".join(remarks)),
    )


show()
