"""The Logbook screen: what is written, by whom, once; what came of it; and that nothing is ever taken back."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import streamlit as st
from streamlit.testing.v1.errors import AppTestError

from dashboard import sign_in
from pipeline.logbook import Kind, add_note, notes

JUNE_10 = datetime(2026, 6, 10, 18, tzinfo=UTC)


def _widget(app: Any, kind: str, label: str) -> Any:
    return next(each for each in app.get(kind) if each.label == label)


def _write(app: Any, text: str, **choices: Any) -> None:
    """Fill the form in as a person does, and press its button."""
    _widget(app, "text_area", "In words").set_value(text)
    for label, value in choices.items():
        _widget(app, "selectbox", label.replace("_", " ")).set_value(value)
    _press(app)


def _press(app: Any) -> None:
    next(each for each in app.button if each.label == "Write the note").click()


def test_a_note_that_is_written_stands_in_the_logbook_on_the_boat_and_on_its_engine(
    opened: Any, own_folder: Path
) -> None:
    shown = opened(own_folder, "logbook", as_of=None, boat="curlew")
    _write(shown.app, "stop <b>filed</b>, *tried*", Engine="port")
    after = shown.again()
    assert "Note 1 is written." in after.text
    assert "stop &lt;b&gt;filed&lt;/b&gt;, *tried*" in after.html
    (found,) = notes(own_folder)
    assert (found.boat, found.engine, found.text) == ("curlew", "port", "stop <b>filed</b>, *tried*")
    assert "stop <b>filed</b>" in opened(own_folder, "boat", as_of=None, boat="curlew").text
    assert "stop <b>filed</b>" in opened(own_folder, "engine", as_of=None, boat="curlew", engine="port").text
    assert "stop <b>filed</b>" not in opened(own_folder, "engine", as_of=None, boat="curlew", engine="starboard").text
    # said once
    assert "is written" not in after.again().text


def test_an_empty_note_is_not_written_and_what_was_filled_in_stays(opened: Any, own_folder: Path) -> None:
    shown = opened(own_folder, "logbook", as_of=None, boat="curlew")
    _write(shown.app, " ", Engine="starboard")
    after = shown.again()
    assert "Not written" in after.text
    assert _widget(after.app, "selectbox", "Engine").value == "starboard"
    assert notes(own_folder) == ()


def test_a_second_press_writes_nothing(opened: Any, own_folder: Path) -> None:
    shown = opened(own_folder, "logbook", as_of=None, boat="curlew")
    entry = shown.app.session_state["note_entry"]
    _write(shown.app, "throttle body cleaned")
    shown.again()
    assert shown.app.session_state["note_entry"] != entry
    # the browser's second press comes with the first one's form and words
    shown.app.session_state["note_entry"] = entry
    again = shown.again()
    _write(again.app, "throttle body cleaned")
    again.again()
    assert [note.text for note in notes(own_folder)] == ["throttle body cleaned"]


def test_a_replayed_morning_does_not_know_a_later_note(opened: Any, own_folder: Path) -> None:
    shown = opened(own_folder, "logbook", boat="curlew")
    _write(shown.app, "cleaned the throttle body")
    after = shown.again()
    assert "later than the morning shown, which does not know it yet" in after.text
    assert "cleaned the throttle body" not in opened(own_folder, "boat", boat="curlew").text


def test_a_deferral_asks_until_when_and_says_what_it_covers(opened: Any, own_folder: Path) -> None:
    before = opened(own_folder, "boat", as_of=None, boat="curlew")
    assert "mw-deferred" not in before.html
    shown = opened(own_folder, "logbook", as_of=None, boat="curlew")
    assert [each.label for each in shown.app.date_input if "Deferred" in each.label] == []
    _widget(shown.app, "selectbox", "What was done").set_value(Kind.DEFER)
    asked = shown.again()
    until = (datetime.now(UTC) + timedelta(days=9)).date()
    _widget(asked.app, "date_input", "Deferred until the end of").set_value(until)
    _widget(asked.app, "text_input", "By (may stay empty)").set_value("K. Reed")
    _write(asked.app, "part ordered")
    after = asked.again()
    assert "Stays listed, until" in after.text
    (found,) = notes(own_folder)
    assert (found.kind, found.author) == (Kind.DEFER, "K. Reed")
    boat = opened(own_folder, "boat", as_of=None, boat="curlew")
    assert "by K. Reed: part ordered." in boat.text
    assert boat.html.count("<article") == before.html.count("<article")


def test_a_wrong_note_is_put_right_by_another_and_stays(opened: Any, own_folder: Path) -> None:
    add_note(own_folder, "curlew", "port", "replaced", "wrong engine", JUNE_10)
    shown = opened(own_folder, "logbook", as_of=None, boat="curlew")
    label = "Puts right (what it puts right stays, and counts no more)"
    _widget(shown.app, "selectbox", label).set_value(1)
    _write(shown.app, "it was the starboard one", Engine="starboard")
    after = shown.again()
    assert [note.corrects for note in notes(own_folder)] == [None, 1]
    assert "<s>wrong engine</s>" in after.html
    assert "Put right by note 2; it counts no more." in after.text
    # only what still counts can be put right
    assert 1 not in _widget(after.app, "selectbox", label).options


def test_what_came_of_a_note_is_said_and_what_has_no_later_log_waits(opened: Any, own_folder: Path) -> None:
    add_note(own_folder, "curlew", "port", "cleaned", "early one", JUNE_10)
    add_note(own_folder, "curlew", None, "cleaned", "late one", datetime(2026, 6, 14, 22, tzinfo=UTC))
    shown = opened(own_folder, "logbook", boat="curlew")
    waits, listed = shown.html.split("Write a note")
    assert "late one" in waits or "late one" in listed
    assert "runs since" in listed
    assert "port: " in listed  # a note about the whole boat says it of each engine


@pytest.mark.parametrize(
    ("label", "value", "left"),
    [
        ("Of", "port", ["one"]),
        ("Of", "whole boat", ["two"]),
        ("Kind", "remark", ["two"]),
        ("What came of it", "answers nothing", ["two"]),
    ],
)
def test_the_list_shows_what_is_asked(opened: Any, own_folder: Path, label: str, value: str, left: list[str]) -> None:
    add_note(own_folder, "curlew", "port", "cleaned", "note one", JUNE_10)
    add_note(own_folder, "curlew", None, "remark", "note two", JUNE_10)
    add_note(own_folder, "dunlin", None, "remark", "note three", JUNE_10)
    shown = opened(own_folder, "logbook", boat="curlew")
    assert "note three" not in shown.text
    _widget(shown.app, "selectbox", label).set_value(value)
    listed = shown.again().html.split("the newest first")[1]
    assert [each for each in ("one", "two") if f"note {each}" in listed] == left


def test_without_a_boat_the_whole_fleets_notes_are_shown(opened: Any, own_folder: Path) -> None:
    add_note(own_folder, "curlew", "port", "cleaned", "note one", JUNE_10)
    add_note(own_folder, "dunlin", None, "remark", "note two", JUNE_10)
    shown = opened(own_folder, "logbook")
    assert "note one" in shown.text
    assert "Dunlin, whole boat" in shown.text
    assert "Choose a boat above" in shown.text
    shown.app.selectbox(key="pick_boat:").set_value("dunlin")
    assert "note one" not in shown.again().text


class _SignedIn(dict[str, str]):
    """What Streamlit tells of somebody who has signed in."""

    is_logged_in = True


def test_who_has_signed_in_is_the_author_and_cannot_be_typed_over(
    opened: Any, own_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(st, "user", _SignedIn(name="M. Lane", email="m@example.org"))
    shown = opened(own_folder, "logbook", as_of=None, boat="curlew")
    author = _widget(shown.app, "text_input", "By")
    assert (author.value, author.disabled) == ("M. Lane", True)
    with pytest.raises(AppTestError, match="disabled"):
        author.set_value("Somebody Else")
    _write(shown.app, "looked at the filter")
    shown.again()
    (found,) = notes(own_folder)
    assert found.author == "M. Lane"


@pytest.mark.parametrize(
    ("user", "name"),
    [
        (_SignedIn(email="m@example.org", sub="1"), "m@example.org"),
        (_SignedIn(name="", sub="17"), "17"),
        ({}, None),
    ],
)
def test_a_name_is_what_the_sign_in_knows(user: Any, name: str | None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(st, "user", user)
    assert sign_in.name() == name
