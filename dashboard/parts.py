"""Pieces that several screens share: guards, the bar with the moment shown, status marks, findings, cautions."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from functools import partial
from typing import Any, Final, TypeVar
from urllib.parse import urlencode

import pandas as pd
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from dashboard import data, state
from dashboard.charts import drawing
from dashboard.markup import Html, join, plain, tag
from pipeline import wording
from pipeline.as_of import moment_of
from pipeline.baselines import ThenNow
from pipeline.catalogue import Indicator, indicators
from pipeline.findings import Finding
from pipeline.logbook import LogbookError
from pipeline.morning import Morning
from pipeline.register import Boat, Engine, RegisterError
from pipeline.register.words import did_you_mean
from pipeline.states import Status
from pipeline.store import StoreError

Thing = TypeVar("Thing")

Item = TypeVar("Item")

FIRST_LIGHT: Final = time(6, 0)
"""The time of day a replayed morning starts from."""


@contextmanager
def caught() -> Iterator[None]:
    """Say what is wrong with the fleet folder, and what to do, instead of showing a trace."""
    try:
        yield
    except RegisterError as error:
        _wrong("The fleet file cannot be read", str(error))
    except LogbookError as error:
        _wrong("The logbook cannot be used", str(error))
    except StoreError as error:
        _wrong("The store cannot be read", str(error))


def opened() -> data.Fleet:
    """The fleet, after the guards: boats in the register and something read. Otherwise says what to do and stops."""
    fleet = with_boats()
    if not has_logs(fleet):
        st.stop()
    return fleet


def with_boats() -> data.Fleet:
    """The fleet, if it has boats; otherwise says what to do and stops."""
    fleet = data.fleet()
    if not fleet.register.boats:
        where = f"{fleet.register.folder}/fleet.toml"
        _wrong("No boats yet", f"Write the boats and their engines into {where}; the file says how.")
        st.stop()
    return fleet


def has_logs(fleet: data.Fleet) -> bool:
    """Whether anything has been read; says what to do where nothing has."""
    where = str(fleet.register.folder)
    if fleet.store.snapshot() is not None:
        return True
    way_out = "Bring in a log on the Logs screen, or put the logs into"
    _wrong(
        "No log has been read yet",
        f"{way_out} {where}/inbox, a folder for each boat, and run: morningwatch ingest --fleet {where}",
    )
    return False


def moment(fleet: data.Fleet) -> datetime:
    """The moment that the screen shows: the replayed one of the address, else the present."""
    asked = state.read(state.AS_OF)
    if asked is None:
        return data.now(fleet)
    found = moment_of(asked, fleet.zone)
    if found is None:
        note(f"{asked!r} in the address is no date and no time, so the present is shown.")
        state.write(state.AS_OF, None)
        return data.now(fleet)
    return found.astimezone(fleet.zone)


def heading(fleet: data.Fleet, title: str, as_of: datetime) -> DeltaGenerator:
    """The screen's name, whose fleet it is, the moment shown and the way to another one; gives their row."""
    about = tag(
        "div",
        tag("b", fleet.register.name),
        tag("span", "simulated data", class_="mw-simulated") if fleet.register.simulated else None,
        tag("span", f"as of {when(as_of)} {as_of:%Z}"),
        class_="mw-about",
    )
    row = st.container(horizontal=True, vertical_alignment="bottom", key="replay")
    is_replay = state.read(state.AS_OF) is not None
    with row:
        st.html(tag("div", tag("h1", title), about, class_="mw-title"))
        if not is_replay:
            _day_before(fleet, as_of)
        with st.popover("Another morning", width="content"):
            _replay_form(as_of)
    if is_replay:
        _replay_bar(fleet, as_of)
    if fleet.is_behind:
        _behind_bar(fleet)
    return row


def sheet(fleet: data.Fleet, as_of: datetime) -> None:
    """The sheet for the clipboard, to take away; it is made when it is asked for."""
    with st.popover("Sheet to print", width="content"):
        st.html(tag("p", "One sheet for the clipboard, with boxes to tick and room to sign."))
        for form, (label, kind) in _SHEETS.items():
            st.download_button(
                label,
                partial(data.sheet, fleet, as_of, form),
                file_name=f"morning-{as_of:%Y-%m-%d}{form}",
                mime=kind,
                on_click="ignore",
                key=f"sheet{form}",
                width="stretch",
            )


_SHEETS: Final = {
    ".pdf": ("PDF", "application/pdf"),
    ".html": ("Page (HTML)", "text/html"),
    ".csv": ("Table (CSV)", "text/csv"),
}


def chosen_boat(fleet: data.Fleet, *, first: bool = False) -> Boat:
    """The boat that the address names, with a picker for another; says so where there is no such boat.

    Where none is named, the screen waits for a choice, or shows the first boat if `first`.
    """
    boats = {boat.id: boat for boat in fleet.register.boats}
    asked = state.read(state.BOAT)
    if asked is not None and asked not in boats:
        note(f"There is no boat {asked!r} in the register. {did_you_mean(asked, boats)} Choose one below.")
        state.write(state.BOAT, None)
        asked = None
    if asked is None and (first or len(boats) == 1):
        asked = next(iter(boats))
    found = picked("Boat", {boat.id: boat.name for boat in boats.values()}, asked, state.BOAT)
    if found is None:
        st.stop()
    state.write(state.BOAT, found)
    return boats[found]


def chosen_engine(fleet: data.Fleet, boat: Boat) -> Engine:
    """The engine of that boat that the address names, the first where it names none of them."""
    engines = {engine.id: engine for engine in boat.engines}
    if not engines:
        nothing(f"{boat.name} has no engine in the register.")
        st.stop()
    asked = state.read(state.ENGINE)
    if asked is not None and asked not in engines and state.ENGINE in st.query_params:
        note(f"{boat.name} has no engine {asked!r}, so another one is shown.")
    found = asked if asked in engines else next(iter(engines))
    if len(engines) > 1:
        found = picked("Engine", {each: each for each in engines}, found, state.ENGINE) or found
    state.write(state.ENGINE, found)
    return fleet.register.engine(f"{boat.id}/{found}")


def to_map_a_log() -> None:
    """The way from a log that was refused to a channel map for it."""
    about = "for columns that nobody has described yet"
    st.button(
        "Propose a channel map", key="to_map", help=about, on_click=state.write, args=(state.PART, state.MAP_A_LOG)
    )


def first_of(items: Sequence[Item], most: int, what: str, key: str) -> Sequence[Item]:
    """The first of a long list, and the rest where somebody asks for it: a browser takes seconds over thousands."""
    if len(items) <= most or st.toggle(f"Show all {len(items)} {what}", key=key):
        return items
    return items[:most]


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


def is_dark() -> bool:
    """Whether the theme that is chosen has a dark ground."""
    return bool(st.context.theme.type == "dark")


def draw(picture: drawing.Picture, key: str) -> None:
    """A picture as wide as its place, its labels inked for the theme that is chosen."""
    # panels under each other would else be as narrow as they like
    st.vega_lite_chart(spec=picture.spec(dark=is_dark()), key=key, width="stretch")


def draw_to_pick(picture: drawing.Picture, key: str, selection: str) -> dict[str, Any] | None:
    """A picture whose marks can be clicked: the fields that name the clicked one, None where none is."""
    picked_ones = _selected(picture, key, selection) or [None]
    return dict(picked_ones[0]) if isinstance(picked_ones[0], dict) else None


def draw_to_select(picture: drawing.Picture, key: str, selection: str) -> dict[str, Any]:
    """A picture on which a stretch can be drawn: the two ends by field; empty where none is."""
    return dict(_selected(picture, key, selection) or {})


def _selected(picture: drawing.Picture, key: str, selection: str) -> Any:
    spec = picture.spec(dark=is_dark())
    event: Any = st.vega_lite_chart(spec=spec, key=key, width="stretch", on_select="rerun", selection_mode=selection)
    return event["selection"].get(selection)


def fold(label: str, name: str, owner: str, draw: Callable[[], None]) -> None:
    """Something that is made only while it stands open; opened by a click, or by the address that names it.

    `owner` is whose it is: each has its own folds open.
    """
    _fold(label, f"fold:{owner}:{name}", draw, is_open=state.read(state.PART) == name)


@st.fragment
def _fold(label: str, key: str, draw: Callable[[], None], *, is_open: bool) -> None:
    place = st.expander(label, expanded=is_open, key=key, on_change="rerun")
    if place.open:
        with place:
            draw()


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


def anchor(screen: str, label: str, **parameters: str | None) -> Html:
    """A link to a screen inside other markup: lighter than a page link, and it can stand in a heading."""
    return tag("a", label, href=f"{screen}?{urlencode(state.link(**parameters))}", target="_self")


def boat_link(boat: str, name: str) -> None:
    """A link to the boat's screen, by its id."""
    st.page_link("screens/boat.py", label=plain(name), query_params=state.link(boat=boat, engine=None))


def engine_link(boat: str, engine: str, label: str | None = None) -> None:
    """A link to the engine's screen, by its id."""
    st.page_link("screens/engine.py", label=plain(label or engine), query_params=state.link(boat=boat, engine=engine))


def method_link(indicator: str) -> None:
    """A link to how an indicator is judged."""
    st.page_link(
        "screens/method.py",
        label="how this is judged ›",
        query_params=state.link(indicator=indicator, part="Indicator"),
    )


def finding(found: Finding, morning: Morning, place: str | None = None) -> Html:
    """A finding whole: what is wrong, what to do, how sure, what it rests on. What is not known is not shown."""
    return tag(
        "article",
        tag(
            "div",
            badge(found.status, small=True),
            tag("b", place) if place else None,
            class_="mw-line",
        ),
        tag("p", found.says, class_="mw-says"),
        tag("p", tag("b", "Do: "), found.do, class_="mw-do"),
        tag("p", deferred, class_="mw-deferred") if (deferred := _deferred(found, morning)) else None,
        *(tag("p", said, class_="mw-after") for said in _judgement(found) if said),
        _facts(list(finding_facts(found, morning))),
        _reasons(found),
        _logs(found),
        class_=f"mw-finding mw-{found.status}",
    )


def finding_facts(found: Finding, morning: Morning) -> Iterator[tuple[str, str]]:
    """What is known about a finding as pairs of label and text, only what is there."""
    indicator = indicators().get(found.indicator)
    if indicator is None:
        return
    if found.value is not None and indicator.judged.against in {"limits", "baseline"}:
        yield "Now", wording.number(found.value, indicator) + _interval(found.low, found.high, indicator)
    if found.baseline is not None:
        yield "Baseline", wording.number(found.baseline, indicator)
    if found.pattern is not None:
        yield "Pattern", found.pattern
    if found.since is not None:
        yield "Since", f"{_local(found.since, morning):%a} {wording.date(_local(found.since, morning))}"
    if found.per_100_hours is not None:
        yield "Per 100 h", wording.pace(found.per_100_hours, indicator) or ""
    if found.per_week is not None:
        yield "Per week", wording.pace(found.per_week, indicator) or ""
    if found.engines is not None:
        yield "Engines", str(found.engines)
    yield from _grounds(found, indicator, morning)


def _grounds(found: Finding, indicator: Indicator, morning: Morning) -> Iterator[tuple[str, str]]:
    """The limits, what the finding rests on and how old that is; what is not known has only an age."""
    is_unknown = found.indicator == "evidence"
    if not is_unknown:
        yield "Limits", limits_text(found.watch, found.hold, indicator)
        yield "Rests on", f"{wording.count(found.evidence.n, 'sample')} in {wording.count(found.evidence.runs, 'run')}"
    if found.latest_at is not None:
        yield "Newest log" if is_unknown else "Newest reading", wording.age(found.latest_at, morning.as_of)


def limits_text(watch: float | None, hold: float | None, indicator: Indicator) -> str:
    """The limits in force, or that there is none."""
    named = [f"{word} {limit:g}" for word, limit in (("watch", watch), ("hold", hold)) if limit is not None]
    if not named:
        return "no limit set"
    beyond = " beyond what is wanted" if indicator.wanted else ""
    return f"{', '.join(named)} {wording.short_unit(indicator)}{beyond}"


def channel_title(channel: str) -> str:
    """A channel's name in words."""
    return channel.replace("_", " ")


def side_by_side(things: Sequence[Thing]) -> Iterator[tuple[Thing, DeltaGenerator]]:
    """Each thing with its place, two beside each other; on a phone they stand in their order."""
    for at in range(0, len(things), 2):
        yield from zip(things[at : at + 2], st.columns(2), strict=False)


def summary(text: str) -> None:
    """A picture in a sentence, for whoever does not see it and for whoever has no time to."""
    st.html(tag("p", text, class_="mw-summary"))


def quiet(text: str) -> Html:
    """A remark that may be passed over."""
    return tag("p", text, class_="mw-quiet")


def drawn_says(drawn: int, of: int, what: str) -> str:
    """That fewer marks are drawn than there are; nothing where all are."""
    if drawn == of:
        return ""
    return f"{drawn} of {wording.count(of, what)} are drawn: the newest, and of the older ones those that stand out."


def small_heading(title: str, about: str) -> None:
    """A heading above one of several pictures side by side."""
    st.html(tag("h3", title, tag("span", f" {about}", class_="mw-quiet") if about else None, class_="mw-small-title"))


def then_now_table(compared: Sequence[ThenNow], head: str) -> Html:
    """First runs against last runs, a facet a row."""
    has_band = any(each.wanted for each in compared)
    titles = (head, "first runs expect", "last runs", "change", *(["wanted"] if has_band else []))
    rows = [
        tag(
            "tr",
            tag("th", each.facet or "all", scope="row"),
            tag("td", each.then, class_="mw-figure"),
            tag("td", each.now, class_=f"mw-figure mw-{each.status}"),
            tag("td", each.change, class_="mw-figure"),
            tag("td", each.wanted, class_="mw-figure") if has_band else None,
        )
        for each in compared
    ]
    header = tag("tr", *(tag("th", title) for title in titles))
    return tag("table", tag("thead", header), tag("tbody", *rows), class_="mw-table")


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


def logbook_link(boat: str, engine: str | None = None) -> None:
    """A link to the logbook, where a note about it can be written."""
    st.page_link("screens/logbook.py", label="write a note ›", query_params=state.link(boat=boat, engine=engine))


def picked(label: str, names: Mapping[str, str], asked: str | None, parameter: str) -> str | None:
    """A choice by id, never by position: its key holds what was asked, so that it cannot show another one's."""
    key = f"pick_{parameter}:{asked}"
    ids = list(names)
    index = ids.index(asked) if asked is not None and asked in names else None
    return st.selectbox(
        label,
        ids,
        index,
        format_func=lambda each: names[each],
        key=key,
        placeholder="choose",
        on_change=_take,
        args=(parameter, key),
        width=340,
    )


def _take(parameter: str, key: str) -> None:
    state.write(parameter, st.session_state[key] or None)
    if parameter == state.BOAT:
        state.write(state.ENGINE, None)


def _replay_bar(fleet: data.Fleet, as_of: datetime) -> None:
    """Any morning can be looked at as it was: nothing later than its moment is used."""
    with st.container(horizontal=True, vertical_alignment="center", key="replay_bar"):
        st.html(tag("span", "Replay: nothing later is used.", class_="mw-replay"), width="content")
        _day_before(fleet, as_of)
        st.button("Day after", key="day_after", on_click=_go_to, args=(as_of + timedelta(days=1), fleet))
        st.button("Back to now", key="back_to_now", on_click=state.write, args=(state.AS_OF, None))


def _day_before(fleet: data.Fleet, as_of: datetime) -> None:
    st.button("Day before", key="day_before", on_click=_go_to, args=(as_of - timedelta(days=1), fleet))


@st.fragment(run_every="1s")
def _behind_bar(fleet: data.Fleet) -> None:
    """Says that something newer is being judged, and shows it as soon as it is."""
    if data.is_newer_ready(fleet):
        st.rerun()
    note("Logs or notes came in after this and are being judged; the screen follows by itself.")


def _replay_form(as_of: datetime) -> None:
    with st.form("replay_form", border=False):
        day = st.date_input("Day", as_of.date(), format="YYYY-MM-DD", key=f"replay_day:{as_of:%Y-%m-%d}")
        at = st.time_input("Time", FIRST_LIGHT, key="replay_time")
        if st.form_submit_button("Show that morning") and isinstance(day, date):
            state.write(state.AS_OF, datetime.combine(day, at).isoformat(timespec="minutes"))
            st.rerun()


def _go_to(moment_: datetime, fleet: data.Fleet) -> None:
    state.write(state.AS_OF, moment_.astimezone(fleet.zone).replace(tzinfo=None).isoformat(timespec="minutes"))


def _wrong(title: str, text: str) -> None:
    st.html(tag("div", tag("h1", title), tag("p", text), class_="mw-wrong", role="alert"))


def _local(at: datetime, morning: Morning) -> datetime:
    return at.astimezone(morning.as_of.tzinfo)


def _interval(low: float | None, high: float | None, indicator: Indicator) -> str:
    if low is None or high is None:
        return ""
    return f" ({wording.number(low, indicator)} to {wording.number(high, indicator)})"


def _deferred(found: Finding, morning: Morning) -> str:
    return wording.deferral_says(found, morning.as_of.tzinfo)


def _judgement(found: Finding) -> list[str | None]:
    """How sure it is, how long it may go on, and what came of the last note; empty where nothing can be said."""
    return [wording.certainty(found), wording.outlook(found), found.after_note]


def _facts(facts: list[tuple[str, str]]) -> Html:
    return tag("dl", *(tag("div", tag("dt", label), tag("dd", text)) for label, text in facts))


def _reasons(found: Finding) -> Html | None:
    lines = [f"Speaks for it: {each}" for each in found.because]
    return tag("ul", *(tag("li", each) for each in lines), class_="mw-reasons") if lines else None


def _logs(found: Finding) -> Html | None:
    if not found.evidence.logs:
        return None
    count = wording.count(len(found.evidence.logs), "log")
    return tag("details", tag("summary", f"Rests on {count}"), join(tag("code", each) for each in found.evidence.logs))
