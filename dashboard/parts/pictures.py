"""Pictures in their places: drawn for the theme that is chosen, picked from, side by side, or folded away."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeVar

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from dashboard import state
from dashboard.charts import drawing
from dashboard.parts.words import quiet
from pipeline import wording

Thing = TypeVar("Thing")


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


def fold(label: str, name: str, owner: str, draw: Callable[[], None], *, is_pressing: bool = False) -> None:
    """Something that is made only while it stands open; opened by a click, or by the address that names it.

    `owner` is whose it is: each has its own folds open. What `is_pressing` stands open where the address names nothing.
    """
    asked = state.read(state.PART)
    _fold(label, f"fold:{owner}:{name}", draw, is_open=is_pressing if asked is None else asked == name)


@st.fragment
def _fold(label: str, key: str, draw: Callable[[], None], *, is_open: bool) -> None:
    place = st.expander(label, expanded=is_open, key=key, on_change="rerun")
    if place.open:
        with place:
            draw()


def side_by_side(things: Sequence[Thing]) -> Iterator[tuple[Thing, DeltaGenerator]]:
    """Each thing with its place, two beside each other; on a phone they stand in their order."""
    for at in range(0, len(things), 2):
        yield from zip(things[at : at + 2], st.columns(2), strict=False)


def drawn_says(drawn: int, of: int, what: str) -> str:
    """That fewer marks are drawn than there are; nothing where all are."""
    if drawn == of:
        return ""
    return f"{drawn} of {wording.count(of, what)} are drawn: the newest, and of the older ones those that stand out."


def fewer_drawn(drawn: int, of: int, what: str) -> None:
    """Say under a picture that fewer marks are drawn than there are; nothing where all are."""
    if said := drawn_says(drawn, of, what):
        st.html(quiet(said))
