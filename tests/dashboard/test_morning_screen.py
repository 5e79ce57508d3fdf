"""The first screen: the answer in words, the boats in order, any morning again."""

from __future__ import annotations

import itertools
import json
import re
import sys
from collections import Counter
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner

from dashboard.charts import marks
from dashboard.panels import boats
from pipeline.cli import main
from pipeline.morning import Morning, assess
from pipeline.register import Register
from pipeline.store import Store

MORNING = "2026-06-15T06:00"


@pytest.fixture(scope="module")
def checked(fleet_folder: Path) -> dict[str, Any]:
    """The same morning as the command line tells it."""
    told = CliRunner().invoke(main, ["check", "--fleet", str(fleet_folder), "--as-of", MORNING, "--json"])
    return dict(json.loads(told.stdout))


@pytest.fixture(scope="module")
def morning(fleet_folder: Path, register: Register) -> Morning:
    moment = datetime.fromisoformat(MORNING).replace(tzinfo=ZoneInfo(register.timezone))
    return assess(Store(fleet_folder).reader(), register, moment)


def test_the_screen_tells_the_boats_in_the_order_of_the_command_line(
    opened: Any, fleet_folder: Path, checked: dict[str, Any]
) -> None:
    boats = [parameters["boat"] for _, page, parameters in opened(fleet_folder).links if page == "boat"]
    assert boats == [each["boat"] for each in checked["boats"]]


def test_no_reading_of_a_silent_engine_is_drawn_as_ready(opened: Any, fleet_folder: Path) -> None:
    fresh, silent = opened(fleet_folder).html, opened(fleet_folder, as_of="2026-07-14").html

    assert 'class="mw-now mw-ready"' in fresh
    assert 'class="mw-now mw-ready"' not in silent
    assert 'class="mw-now mw-ready mw-old"' in silent
    assert re.search(r'aria-label="[^"]*, old, \d+ days ago"', silent)


def test_every_boat_bears_its_status_in_words_and_symbol(
    opened: Any, fleet_folder: Path, checked: dict[str, Any]
) -> None:
    text = opened(fleet_folder).text
    counts = Counter(each["status"] for each in checked["boats"])
    for status, symbol in (("hold", "■"), ("watch", "▲"), ("unchecked", "?"), ("ready", "●")):
        assert f"{counts[status]} {symbol} {status.capitalize()}" in " ".join(text.split())


def test_every_reason_of_the_command_line_stands_on_the_screen(
    opened: Any, fleet_folder: Path, checked: dict[str, Any]
) -> None:
    text = opened(fleet_folder).text
    findings = [found for boat in checked["boats"] for found in boat["findings"]]
    reasons = [found["says"].partition(". ")[2] if found["cause"] else found["says"].rstrip(".") for found in findings]
    assert reasons
    assert [says for says in reasons if says not in text] == []
    assert [found["do"] for found in findings if found["do"] not in text] == []


def test_holds_stand_first_and_ready_boats_last(opened: Any, fleet_folder: Path, checked: dict[str, Any]) -> None:
    html = opened(fleet_folder).html
    heads = re.findall(r'<h2 class="mw-group-head">(\w+)', html)
    ranked = [each for each in ("Hold", "Watch", "Unchecked", "Ready") if each in heads]
    assert [each for each in heads if each in ranked] == ranked
    assert {each["status"].capitalize() for each in checked["boats"]} == set(ranked)


def test_headings_go_down_one_step_at_a_time(opened: Any, fleet_folder: Path) -> None:
    steps = [int(each) for each in re.findall(r"<h(\d)", opened(fleet_folder).html)]
    assert steps[0] == 1
    assert steps.count(1) == 1
    assert max(later - earlier for earlier, later in itertools.pairwise(steps)) <= 1


def test_the_sheet_can_be_taken_away_in_each_form(opened: Any, fleet_folder: Path) -> None:
    buttons = [each.proto for each in opened(fleet_folder).app.get("download_button")]
    assert [each.label for each in buttons] == ["PDF", "Page (HTML)", "Table (CSV)"]


def test_the_sheet_of_the_screen_is_that_of_the_command_line(
    opened: Any, fleet_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dashboard import data  # noqa: PLC0415 - it reads the app's arguments

    monkeypatch.setattr(sys, "argv", ["app", str(fleet_folder)])
    as_of = datetime.fromisoformat(MORNING).replace(tzinfo=data.fleet().zone)
    for form in (".html", ".pdf", ".csv"):
        file = tmp_path / f"sheet{form}"
        told = CliRunner().invoke(main, ["report", "--fleet", str(fleet_folder), "--as-of", MORNING, "-o", str(file)])
        assert told.exit_code == 0
        assert data.sheet(data.fleet(), as_of, form) == file.read_bytes()


def test_a_departure_stands_with_its_boat_in_the_fleets_time(
    opened: Any, fleet_folder: Path, checked: dict[str, Any]
) -> None:
    text = opened(fleet_folder).text
    leaving = [each["departs"] for each in checked["boats"] if each["departs"]]
    assert leaving
    assert all(f"departs {departs[11:16]}" in text for departs in leaving if departs.startswith("2026-06-15"))


def test_an_earlier_morning_is_judged_with_what_was_known_then(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder)
    shown.app.button(key="day_before").click()
    earlier = shown.again()
    assert "as of Sun 14 Jun 2026, 06:00" in earlier.text
    assert earlier.app.query_params["as_of"] == "2026-06-14T06:00"
    assert all(parameters["as_of"] == "2026-06-14T06:00" for _, _, parameters in earlier.links)


def test_back_to_now_leaves_the_replay(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder)
    assert "Replay: nothing later is used." in shown.text
    shown.app.button(key="back_to_now").click()
    now = shown.again()
    assert "Replay" not in now.text
    assert "as_of" not in now.app.query_params


def test_a_chosen_day_shows_that_days_morning(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder)
    day = next(each for each in shown.app.date_input if each.label == "Day")
    day.set_value(day.value.replace(day=10))
    next(each for each in shown.app.button if each.label == "Show that morning").click()
    assert "as of Wed 10 Jun 2026, 06:00" in shown.again().text


def test_a_name_that_looks_like_markup_is_shown_as_it_is_written(opened: Any, own_folder: Path) -> None:
    register = own_folder / "fleet.toml"
    text = register.read_text(encoding="utf-8")
    register.write_text(text.replace('"Curlew"', '"<b>:red[x]</b>**y**"'), encoding="utf-8")
    shown = opened(own_folder)
    assert "&lt;b&gt;:red[x]&lt;/b&gt;**y**" in shown.html
    assert "<b>:red" not in shown.html
    assert "<b>:red[x]</b>**y**" in [label for label, page, _ in shown.links if page == "boat"]


def test_the_marks_show_each_limited_number_of_each_engine(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder)
    assert shown.html.count('class="mw-now') >= 6 * 3  # six engines with at least the three gears
    assert 'aria-label="Shift reach error, forward: ' in shown.html


def test_of_many_departures_the_later_ones_are_folded(morning: Morning) -> None:
    line = replace(morning.boats[0], departs=morning.as_of)
    few, many = boats.next_out([line] * boats.NEXT_SHOWN), boats.next_out([line] * (boats.NEXT_SHOWN + 3))
    assert "<details>" not in few
    assert many.index("<summary>and 3 later</summary>") > many.index(line.name)
    assert many.count(line.name) == boats.NEXT_SHOWN + 3


def test_no_mark_is_greener_than_its_engine(morning: Morning) -> None:
    """A level inside its limits that has left its baseline is watched, and is drawn so."""
    inside = next(each for each in morning.states if each.indicator.judged.against == "limits" and each.limits.watch)
    left = replace(inside, status="watch", has_moved=True, is_beyond_limit=False)
    rows = marks.mark_rows([left], morning.as_of, 3.0)
    mark = rows[left.key.engine_id][left.indicator.name, left.key.facet]
    assert mark.status == "watch"
    assert "watch, off its baseline" in mark.says
