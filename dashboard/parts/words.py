"""Headings, remarks and short texts that several screens share."""

from __future__ import annotations

from datetime import datetime

import pandas as pd
import streamlit as st

from dashboard.markup import Html, tag
from pipeline import wording
from pipeline.catalogue import Indicator
from pipeline.states import Status


def note(text: str) -> None:
    """A plain remark in a box; nothing in it is taken for a mark."""
    st.html(tag("div", text, class_="mw-note", role="status"))


def withheld(rows: pd.DataFrame, why: str = "withheld") -> None:
    """How many runs behind some rows, in time order, are withheld and why; nothing where all are believed."""
    spoiled = rows[rows[why].notna()]
    if len(spoiled):
        reasons = dict(zip(spoiled["run_id"], spoiled[why], strict=True))
        note(f"× {wording.withheld_says(reasons)} No level, baseline or band rests on them.")


def nothing(text: str) -> None:
    """What is shown in place of a picture or a table that would be empty."""
    st.html(tag("div", text, class_="mw-nothing"))


def section(title: str, about: str | None = None) -> None:
    """A heading inside a screen, with a line that says what is seen."""
    st.html(tag("div", tag("h2", title), tag("p", about) if about else None, class_="mw-section"))


def badge(status: Status, *, small: bool = False) -> Html:
    """A status as symbol, word and colour together."""
    return tag(
        "span",
        tag("span", wording.STATUS_SYMBOLS[status], aria_hidden="true"),
        " ",
        wording.STATUS_WORDS[status],
        class_=f"mw-badge mw-{status}{' mw-small' if small else ''}",
        title=wording.STATUS_MEANINGS[status],
    )


def when(at: datetime) -> str:
    """A moment as people write it; the caller has put it into the fleet's zone."""
    return f"{at:%a} {at.day} {at:%b %Y, %H:%M}"


def age(at: datetime | None, now: datetime) -> str:
    """How old the newest log is."""
    return wording.last_log_says(at, now)


def departure(departs: datetime | None, now: datetime) -> str | None:
    """When a boat leaves; None where nothing is planned."""
    return wording.departs_says(departs, now) if departs else None


def channel_title(channel: str) -> str:
    """A channel's name in words."""
    return channel.replace("_", " ")


def summary(text: str) -> None:
    """A picture in a sentence, for whoever does not see it and for whoever has no time to."""
    st.html(tag("p", text, class_="mw-summary"))


def quiet(text: str) -> Html:
    """A remark that may be passed over."""
    return tag("p", text, class_="mw-quiet")


def small_heading(title: str, about: str) -> None:
    """A heading above one of several pictures side by side."""
    st.html(tag("h3", title, tag("span", f" {about}", class_="mw-quiet") if about else None, class_="mw-small-title"))


def small_title(text: str) -> Html:
    """The name of a panel."""
    return tag("div", text, class_="mw-panel-title")


def file_line(file: str, began: str, about: str) -> Html:
    """Which log is shown, when it began, and more about it."""
    return tag("p", tag("b", began), f", {about} ", tag("span", file, class_="mw-quiet mw-file"))


def meaning(indicator: Indicator) -> Html:
    """What an indicator is, in its own words."""
    return tag("p", indicator.meaning, " ", tag("span", indicator.caveat, class_="mw-quiet"))


def cautions() -> None:
    """The cautions, wherever a screen suggests running an engine."""
    st.html(
        tag(
            "aside",
            tag("h2", "Before you run an engine"),
            tag("ul", *(tag("li", each) for each in wording.CAUTIONS)),
            class_="mw-cautions",
        )
    )
