"""What is chosen on a screen: a boat, an engine, more of a long list; always by id, never by place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeVar

import streamlit as st

from dashboard import data, state
from dashboard.parts.words import note, nothing
from pipeline.register import Boat, Engine
from pipeline.register.words import did_you_mean

Item = TypeVar("Item")


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
        width=290,
    )


def _take(parameter: str, key: str) -> None:
    state.write(parameter, st.session_state[key] or None)
    if parameter == state.BOAT:
        state.write(state.ENGINE, None)
