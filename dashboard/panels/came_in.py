"""What came in: every file with its status, which boats are silent, what the newest logs show of a dock check."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from datetime import datetime
from typing import Any, Final

import pandas as pd
import streamlit as st

from dashboard import data, parts
from dashboard.charts import coverage
from dashboard.markup import Html, tag
from pipeline import wording
from pipeline.evidence import EXPECTED
from pipeline.register import Boat, Engine
from pipeline.screen_data import DockCheck

TAKEN_SHOWN: Final = 60
BOATS_SHOWN: Final = 30
"""Boats up to which dock checks and coverage are shown at once; of more, the rest comes when it is asked for."""

REFUSED_SHOWN: Final = 100
STATUSES: Final = ("taken", "refused")

DOCK_CHECK: Final = {
    "shift": ("shift neutral", "shift forward", "shift reverse"),
    "idle": ("idle neutral", "idle forward", "idle reverse"),
    "also": ("warm", "pick-up"),
}
"""What a dock check can show: shifts into each gear, idling in each gear; warm and a lift off idle besides."""


def show(fleet: data.Fleet, as_of: datetime) -> None:
    """Draw the part."""
    logs = data.logs(fleet, as_of)
    st.html(tag("p", _summary(logs), class_="mw-answer"))
    boat, status = _filters(fleet)
    shown = logs if boat is None else logs[logs["boat"] == boat]
    if status != "taken":
        _refused(shown[shown["status"] == "refused"])
    if status is None:
        boats = [each for each in fleet.register.boats if boat in {None, each.id}]
        boats_shown = parts.first_of(boats, BOATS_SHOWN, "boats", "logs_all_boats")
        _dock_checks(fleet, as_of, boats_shown)
        _coverage(shown, as_of, boats_shown)
    if status != "refused":
        _taken(shown[shown["status"] == "taken"])


def _summary(logs: pd.DataFrame) -> str:
    """One status a file, so that the counts add up to the files of the inbox."""
    refused, taken = logs[logs["status"] == "refused"], logs[logs["status"] == "taken"]
    copies = int(taken["copies"].sum())
    known = f", {wording.count(copies, 'file')} of the same bytes under another name" if copies else ""
    return f"{wording.count(len(taken), 'log')} taken{known}, {wording.count(len(refused), 'file')} refused."


def _filters(fleet: data.Fleet) -> tuple[str | None, str | None]:
    names = {boat.id: boat.name for boat in fleet.register.boats}
    with st.container(horizontal=True, key="log_filters"):
        boat = st.selectbox(
            "Logs of", [None, *names], format_func=lambda each: names.get(each, "all boats"), key="logs_of", width=240
        )
        status = st.selectbox(
            "Status", [None, *STATUSES], format_func=lambda each: each or "any", key="logs_status", width=160
        )
    return boat, status


def _refused(refused: pd.DataFrame) -> None:
    parts.section("Refused", "nothing of these files is used; each says the way out")
    if refused.empty:
        parts.nothing("No file was refused.")
        return
    st.html(tag("div", *(_refusal(row) for row in refused.head(REFUSED_SHOWN).to_dict("records"))))
    if len(refused) > REFUSED_SHOWN:
        parts.nothing(f"and {len(refused) - REFUSED_SHOWN} more; choose a boat to see them.")
    parts.to_map_a_log()


def _refusal(row: Mapping[Hashable, Any]) -> Html:
    line = "" if pd.isna(row["line"]) else f", line {row['line']:.0f}"
    return tag(
        "article",
        tag("b", f"{row['file']}{line}"),
        tag("p", _begun(str(row["reason"]))),
        class_="mw-finding mw-unchecked mw-file",
    )


def _dock_checks(fleet: data.Fleet, as_of: datetime, boats: Sequence[Boat]) -> None:
    parts.section(
        "Dock check",
        "what each engine's newest log shows of neutral, forward, neutral, reverse, neutral: ✓ seen, "
        "○ not seen; in bold what a morning asks for",
    )
    seen = data.dock_checks(fleet, as_of)
    rows = [_dock_check(each, engine, seen.get(engine.engine_id), fleet) for each in boats for engine in each.engines]
    st.html(tag("div", *rows, class_="mw-checks"))


def _dock_check(boat: Boat, engine: Engine, check: DockCheck | None, fleet: data.Fleet) -> Html:
    who = f"{boat.name}, {engine.id}" if len(boat.engines) > 1 else boat.name
    if check is None:
        return tag("div", tag("b", who), tag("span", "no log", class_="mw-lacks"), class_="mw-check")
    return tag(
        "div",
        tag(
            "span",
            tag("b", who),
            " ",
            tag("span", data.local_text(fleet, check.newest_s), class_="mw-quiet"),
            class_="mw-whose",
        ),
        *(
            tag("span", tag("i", kind), *(_thing(each, check) for each in things), class_="mw-things")
            for kind, things in DOCK_CHECK.items()
        ),
        class_="mw-check",
    )


def _thing(thing: str, check: DockCheck) -> Html:
    """One thing seen or not; what nobody has to show is said quietly where it is not seen."""
    times = check.times.get(thing, 0)
    name = wording.seen(thing.removeprefix("shift ").removeprefix("idle "))
    lacks = "mw-lacks" if thing in EXPECTED else "mw-quiet"
    return tag("span", f"{'✓' if times else '○'} {name}", class_=None if times else lacks, title=f"{times} times")


def _coverage(logs: pd.DataFrame, as_of: datetime, boats: Sequence[Boat]) -> None:
    parts.section("The last four weeks", "a square a boat and day, larger the more was logged; nothing is silence")
    names = {each.id: each.name for each in boats}
    rows = coverage.coverage_rows(logs, as_of, names)
    if rows["local_ms"].notna().any():
        parts.draw(coverage.coverage(rows), "coverage")
    else:
        parts.nothing("No log in the last four weeks.")


def _taken(taken: pd.DataFrame) -> None:
    parts.section(f"Newest logs taken ({min(TAKEN_SHOWN, len(taken))} of {len(taken)})")
    if taken.empty:
        parts.nothing("None.")
        return
    head = tag("tr", *(tag("th", each) for each in ("began", "file", "length", "remark")))
    rows = (_log(row) for row in taken.head(TAKEN_SHOWN).to_dict("records"))
    st.html(tag("table", tag("thead", head), tag("tbody", *rows), class_="mw-table mw-logs"))


def _begun(text: str) -> str:
    return text[:1].upper() + text[1:]


def _to_trace(row: Mapping[Hashable, Any]) -> Html | str:
    """The file as a link to its samples, of the first engine that it holds."""
    engines = list(row["engines"]) if row["engines"] is not None else []
    file = str(row["file"])
    if not engines:
        return file
    boat, _, engine = str(engines[0]).partition("/")
    return parts.anchor("trace", file.removeprefix("inbox/"), boat=boat, engine=engine, log=file)


def _log(row: Mapping[Hashable, Any]) -> Html:
    remarks = [str(row["reason"])] if isinstance(row["reason"], str) else []
    if row["is_start_assumed"] is True:
        remarks.append("its start is assumed")
    return tag(
        "tr",
        tag("td", str(row["when"])[:-3], class_="mw-figure"),
        tag("td", _to_trace(row), class_="mw-file"),
        tag("td", f"{row['minutes']:.0f} min", class_="mw-figure"),
        tag("td", "; ".join(remarks)),
    )
