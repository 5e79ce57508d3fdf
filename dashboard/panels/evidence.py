"""Evidence: what the newest logs show, when each thing was seen last, which channels are held and which are lacking."""

from __future__ import annotations

from datetime import datetime

import pandas as pd
import streamlit as st

from dashboard import data, parts, state
from dashboard.charts import seen
from dashboard.markup import Html, plain, tag
from pipeline import needs, wording
from pipeline.catalogue import indicators
from pipeline.register import Engine


def show(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    """Draw the section."""
    rows = seen.seen_rows(data.evidence(fleet, engine.engine_id, as_of))
    parts.section("What the newest logs hold", "filled: seen in that log; open: not seen")
    if rows.empty:
        parts.nothing("No log of this engine has been read up to this moment.")
        return
    parts.summary(_newest_says(rows))
    parts.draw(seen.seen(rows), "seen")
    _logs(engine, rows)
    held = data.channels(fleet, engine.engine_id, as_of)
    parts.section("Channels", "of all logs up to this moment")
    st.html(tag("p", tag("b", "Channels held: "), _names(held.held)))
    st.html(tag("p", tag("b", "Lacking: "), _names(held.lacking) or "none"))
    st.html(_not_measured(held.held))


def _newest_says(rows: pd.DataFrame) -> str:
    """What the newest log shows and lacks, and when what it lacks was seen last."""
    newest = rows[rows["log_id"] == rows["log_id"].iloc[-1]]
    lacks = newest[newest["times"] == 0]["thing"].tolist()
    if not lacks:
        return f"The newest log ({newest['log'].iloc[0]}) shows all that a morning asks about."
    alike: dict[str, list[str]] = {}
    for thing in lacks:
        alike.setdefault(_last_seen(rows, thing), []).append(thing)
    said = [f"{wording.listing(things)} ({when})" for when, things in alike.items()]
    return f"The newest log ({newest['log'].iloc[0]}) does not show: {'; '.join(said)}."


def _last_seen(rows: pd.DataFrame, thing: str) -> str:
    before = rows[(rows["thing"] == thing) & (rows["times"] > 0)]
    logs = rows["log_id"].nunique()
    return f"last seen {before['log'].iloc[-1]}" if len(before) else f"in none of the newest {logs} logs"


def _logs(engine: Engine, rows: pd.DataFrame) -> None:
    """The newest logs, each with the way to its samples."""
    with st.expander("These logs, each with the way to its samples"):
        for row in rows.drop_duplicates("log_id").iloc[::-1].to_dict("records"):
            link = state.link(boat=engine.boat_id, engine=engine.id, log=row["file"])
            st.page_link("screens/trace.py", label=plain(f"{row['when']} ›"), query_params=link)


def _names(channels: tuple[str, ...]) -> str:
    return ", ".join(parts.channel_title(name) for name in channels)


def _not_measured(held: tuple[str, ...]) -> Html | None:
    """What cannot be measured for lack of channels."""
    lacks = {name: needs.lacking(name, held) for name in needs.NEEDS}
    said = [tag("li", f"{indicators()[name].title}: needs {', '.join(each)}") for name, each in lacks.items() if each]
    return tag("div", tag("b", "Cannot be measured:"), tag("ul", *said)) if said else tag("p", "All can be measured.")
