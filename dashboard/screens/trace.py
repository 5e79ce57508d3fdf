"""Trace: any stretch of any log, channels stacked on one time axis, with what happened marked and listed."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final

import pandas as pd
import streamlit as st

from dashboard import data, parts, state
from dashboard.charts import tracing
from dashboard.markup import plain, tag
from pipeline import log_events, wording
from pipeline.register import Engine
from pipeline.trace import LogPlace, Stretch

EVENTS_SHOWN: Final = 60

FINE_SAMPLES: Final = 2_000_000
"""In a stretch of more samples only the first panels are drawn until others are asked for: each costs a reading."""

FIRST_PANELS: Final = 2


def show() -> None:
    """Draw the screen."""
    fleet = parts.opened()
    as_of = parts.moment(fleet)
    parts.heading(fleet, "Trace", as_of)
    with st.container(horizontal=True, vertical_alignment="bottom", key="pickers"):
        boat = parts.chosen_boat(fleet)
        engine = parts.chosen_engine(fleet, boat)
        place = _chosen_log(fleet, engine, as_of)
    st.html(parts.file_line(place.file, data.local_text(fleet, place.from_s), _about(place)))
    found = data.log_events(fleet, engine.engine_id, place)
    _stretch(fleet, engine, place, found)
    _events(engine, place, found)
    state.tell()


def _about(place: LogPlace) -> str:
    rate = "" if place.hertz is None else f", {place.hertz:.3g} samples a second"
    return f"{place.seconds:.0f} s{rate}"


def _chosen_log(fleet: data.Fleet, engine: Engine, as_of: datetime) -> LogPlace:
    """The log that the address names, with a picker for any other; says so where there is no such log."""
    places = data.logs_of(fleet, engine.engine_id, as_of)
    if not places:
        parts.nothing(f"No log of {engine.id} has been read up to this moment.")
        st.stop()
    by_file = {place.file: place for place in places}
    asked = state.read(state.LOG)
    older = None if asked is None or asked in by_file else data.log_named(fleet, engine.engine_id, as_of, asked)
    if older is not None:
        by_file[older.file] = older
    elif asked is not None and asked not in by_file:
        parts.note(f"There is no log {asked!r} of this engine up to this moment, so the newest is shown.")
        asked = None
    names = {file: data.local_text(fleet, place.from_s) for file, place in by_file.items()}
    chosen = parts.picked("Log", names, asked or places[0].file, state.LOG) or places[0].file
    _neighbours(engine, list(by_file), chosen)
    return by_file[chosen]


def _neighbours(engine: Engine, files: list[str], chosen: str) -> None:
    """The log before and the log after; the newest stands first."""
    at = files.index(chosen)
    for label, place in (("‹ log before", at + 1), ("log after ›", at - 1)):
        if 0 <= place < len(files):
            link = state.link(boat=engine.boat_id, engine=engine.id, log=files[place])
            st.page_link("screens/trace.py", label=plain(label), query_params=link)


@st.fragment
def _stretch(fleet: data.Fleet, engine: Engine, place: LogPlace, found: pd.DataFrame) -> None:
    """The stretch: chosen on the whole log, by buttons or by numbers; then drawn, its samples read anew each time."""
    held = _held(place)
    shown = _drawn_over(fleet, place, held) or held
    _write(shown)
    _buttons(shown)
    panels = _chosen_panels(place, shown)
    with st.spinner("Reading samples…"):
        # panel by panel: one more costs no reading of the others
        drawn = [each for panel in panels for each in tracing.panel_rows(_lines(fleet, shown, panel), [panel])]
    events = tracing.event_rows(found, shown.from_s, shown.to_s)
    st.html(tag("p", _says(shown, events, len(drawn)), class_="mw-summary"))
    if not drawn:
        parts.nothing("The log holds no sample of these channels in this stretch.")
        return
    chart = tracing.stacked(drawn, events, data.span_ms(fleet, shown))
    parts.draw(chart, f"trace:{engine.engine_id}:{place.log_id}")


def _lines(fleet: data.Fleet, shown: Stretch, panel: tracing.Panel) -> pd.DataFrame:
    return data.trace(fleet, shown, panel.channels)


def _held(place: LogPlace) -> Stretch:
    """The stretch that the address or a button asked for last; a stretch drawn on the whole log does not move it."""
    key = f"{state.STRETCH}:{place.log_id}"
    asked = (state.read(state.FROM), state.read(state.SECONDS))
    if key not in st.session_state or asked != st.session_state[key][0]:
        _hold(data.stretch(place, *asked))
    held: Stretch = st.session_state[key][1]
    return held


def _hold(shown: Stretch) -> None:
    st.session_state[f"{state.STRETCH}:{shown.place.log_id}"] = (_address(shown), shown)


def _address(shown: Stretch) -> tuple[str | None, str | None]:
    """From and length as they stand in the address; none for the whole log."""
    return (None, None) if shown.is_whole else (f"{shown.from_s:.2f}", f"{shown.seconds:.2f}")


def _write(shown: Stretch) -> None:
    """Put the stretch into the address, and remember that it came from here."""
    from_text, seconds_text = _address(shown)
    state.write(state.FROM, from_text)
    state.write(state.SECONDS, seconds_text)
    key = f"{state.STRETCH}:{shown.place.log_id}"
    st.session_state[key] = (_address(shown), st.session_state[key][1])


def _go(shown: Stretch) -> None:
    _hold(shown)
    _write(shown)


def _drawn_over(fleet: data.Fleet, place: LogPlace, held: Stretch) -> Stretch | None:
    """What is drawn over the whole log; its key holds what was asked, so a button clears it."""
    channel = next((name for name in ("rpm", "shift_position", *place.channels) if name in place.channels), None)
    if channel is None:
        return None
    panel = next(panel for panel in tracing.PANELS if channel in panel.channels)
    lines = _lines(fleet, held.whole(), panel)
    rows = lines[lines["channel"] == channel]
    if rows.empty:
        return None
    what = parts.channel_title(channel)
    st.html(parts.small_title(f"The whole log, {what}: drag over a stretch to draw it below"))
    span = data.span_ms(fleet, held.whole())
    chosen = None if held.is_whole else data.span_ms(fleet, held)
    key = f"whole:{place.log_id}:{held.from_s:.2f}:{held.seconds:.2f}"
    picked: Any = parts.draw_to_select(tracing.overview(rows, span, chosen), key, tracing.STRETCH)
    ends = picked.get("local_ms") if isinstance(picked, dict) else None
    if not ends or len(ends) != 2:
        return None
    first, last = (data.at_clock(fleet, place, float(each)) for each in sorted(ends))
    return held.held(first, last - first)


def _buttons(shown: Stretch) -> None:
    """Earlier, later, wider, narrower: each reads the samples of the new stretch."""
    with st.container(horizontal=True, vertical_alignment="bottom", gap="small", key="stretch_buttons"):
        for label, to in (
            ("‹ Earlier", shown.moved(-0.5)),
            ("Later ›", shown.moved(0.5)),
            ("Narrower", shown.scaled(0.5)),
            ("Wider", shown.scaled(2.0)),
            ("Whole log", shown.whole()),
        ):
            st.button(label, key=f"go_{label}", on_click=_go, args=(to,), disabled=to == shown)
        _numbers(shown)


def _numbers(shown: Stretch) -> None:
    """The stretch as numbers, for exactness and for whoever uses no pointer."""
    began, place = shown.from_s - shown.place.from_s, shown.place
    about = f"{place.log_id}:{began:.2f}:{shown.seconds:.2f}"
    first, length = f"from:{about}", f"seconds:{about}"

    def take() -> None:
        _go(shown.held(place.from_s + st.session_state[first], st.session_state[length]))

    st.number_input("From, s", 0.0, max(place.seconds, began), began, step=1.0, key=first, on_change=take, width=150)
    st.number_input("Length, s", 0.0, None, shown.seconds, step=1.0, key=length, on_change=take, width=150)


def _chosen_panels(place: LogPlace, shown: Stretch) -> list[tracing.Panel]:
    """Which panels to draw: all of the log's; of a very long stretch the first ones until others are asked for."""
    panels = {panel.title: panel for panel in tracing.panels_of(place.channels)}
    is_long = place.rows * shown.seconds / max(place.seconds, 1e-3) > FINE_SAMPLES
    first = list(panels)[: FIRST_PANELS if is_long else None]
    key = f"panels:{is_long}:{place.log_id}"
    chosen = st.pills("Channels", list(panels), selection_mode="multi", default=first, key=key)
    if is_long and len(chosen) < len(panels):
        parts.note("A very long stretch: ask for more channels here, or choose a shorter stretch.")
    return [panel for title, panel in panels.items() if title in chosen]


def _says(shown: Stretch, events: pd.DataFrame, panels: int) -> str:
    """The stretch in a sentence."""
    began, samples = (
        shown.from_s - shown.place.from_s,
        shown.place.rows * shown.seconds / max(shown.place.seconds, 1e-3),
    )
    counts = [log_events.counted(n, str(lane)) for lane, n in events["lane"].value_counts().items()]
    held = f"; {wording.listing(counts)}" if counts else "; no event"
    return (
        f"Drawn: {shown.seconds:.1f} s from second {began:.1f} on, about {samples:.0f} samples a channel, "
        f"{wording.count(panels, 'panel')}{held}. Each line keeps its lowest and highest sample at every place."
    )


def _events(engine: Engine, place: LogPlace, found: pd.DataFrame) -> None:
    parts.section("What happened in this log", "each opens the trace about itself; times are the fleet's")
    if found.empty:
        parts.nothing("No run, no shift and no idle window in this log.")
        return
    whole = state.link(boat=engine.boat_id, engine=engine.id, log=place.file)
    kinds = [kind for kind in _KINDS if kind in set(found["kind"])]
    kind = st.segmented_control(
        "Show", kinds, default=kinds[0], format_func=lambda each: _KINDS[each], key=f"kinds:{place.log_id}"
    )
    shown = found[found["kind"] == (kind or kinds[0])]
    with st.container(key="event_links"):
        for row in shown.head(EVENTS_SHOWN).to_dict("records"):
            about = data.stretch_link(float(row["from_s"]), float(row["seconds"]))
            st.page_link("screens/trace.py", label=plain(row["says"]), query_params={**whole, **about})
    if len(shown) > EVENTS_SHOWN:
        parts.note(f"{len(shown) - EVENTS_SHOWN} more are marked in the picture of the whole log.")


_KINDS: Final = {
    "stall": "stalls",
    "shift": "shifts",
    "idle": "idle windows",
    "lift": "lifts off idle",
    "signal": "signals",
    "run": "runs",
}

show()
