"""The Method screen: every indicator, step, cause, word and problem can be read, found by a word, and linked to."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from dashboard.panels import method as panel
from pipeline import method
from pipeline.catalogue import indicators, read_query
from pipeline.causes import CAUSES
from pipeline.problems import CATALOGUE
from pipeline.ways_out import WAYS_OUT


def test_the_method_of_every_indicator_can_be_read(opened: Any, fleet_folder: Path) -> None:
    for name, indicator in indicators().items():
        shown = opened(fleet_folder, "method", indicator=name)
        assert indicator.meaning in shown.text
        assert indicator.source in shown.text
        assert shown.app.code[0].value == read_query("indicators", name)


def test_another_indicator_is_told_and_stands_in_the_address(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "method", indicator="stall")
    shown.app.selectbox(key="pick_indicator:stall").set_value("shift_reach_error")
    other = shown.again()
    assert indicators()["shift_reach_error"].meaning in other.text
    assert other.app.query_params["indicator"] == "shift_reach_error"


def test_every_cause_is_told_with_what_speaks_for_and_against_it(opened: Any, fleet_folder: Path) -> None:
    text = opened(fleet_folder, "method", part="Causes").text
    said = [(each.title, each.shows[1:], each.against, each.do) for each in CAUSES.values()]
    assert [words for words in said if not all(word in text for word in words)] == []


def test_every_problem_is_told_with_its_way_out(opened: Any, fleet_folder: Path) -> None:
    text = opened(fleet_folder, "method", part="Data problems").text
    assert [code for code, way_out in WAYS_OUT.items() if CATALOGUE[code] not in text or way_out not in text] == []


def test_every_step_of_the_judgement_is_told_with_its_numbers(opened: Any, fleet_folder: Path) -> None:
    text = opened(fleet_folder, "method", part="Statistics").text
    for step in method.STATISTICS:
        assert step.does in text
        assert all(parameter.name in text for parameter in step.parameters)


def test_the_budget_of_false_alarms_is_told_for_this_fleet(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "method", part="False alarms")
    engines = 6  # of the three simulated boats
    assert f"{engines} engines with some" in shown.text
    assert "false signals are to be expected" in shown.text
    assert "no monitor: too short" in shown.text


@pytest.mark.parametrize(
    ("part", "word"), [("Words", "not seen yet"), ("Cautions", "Moving propellers kill"), ("Statistics", "CUSUM")]
)
def test_each_part_is_reached_by_its_address(opened: Any, fleet_folder: Path, part: str, word: str) -> None:
    assert word in opened(fleet_folder, "method", part=part).text


def test_another_part_is_drawn_and_stands_in_the_address(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "method")
    shown.app.segmented_control(key="method_part:Indicator").set_value("Causes")
    other = shown.again()
    assert "Lost travel" in other.text
    assert other.app.query_params["part"] == "Causes"


def test_an_unknown_part_is_said(opened: Any, fleet_folder: Path) -> None:
    assert "There is no part 'Astrology'" in opened(fleet_folder, "method", part="Astrology").text


def test_a_word_finds_where_it_stands_and_the_way_there(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "method", search="lambda sensor")
    links = {label: parameters for label, page, parameters in shown.links if page == "method"}
    fuel = next(parameters for label, parameters in links.items() if label.startswith("Fuel supply"))
    assert fuel["part"] == "Causes"
    shown.app.text_input(key="search:lambda sensor").set_value("no such word at all")
    none = shown.again()
    assert "0 found" in none.text
    none.app.text_input(key="search:no such word at all").set_value("")
    assert "0 found" not in none.again().text


def test_a_hit_on_an_indicator_leads_to_that_indicator(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "method", search="reach error")
    hits = [parameters for label, _, parameters in shown.links if label.startswith("Shift reach error")]
    assert [(each["part"], each["indicator"]) for each in hits] == [("Indicator", "shift_reach_error")]


def test_everything_that_is_told_can_be_found() -> None:
    whole = method.method(method.budget(3))
    for entry in panel.entries(whole):
        assert entry in panel.found(whole, entry.title)


def test_an_excerpt_shows_the_word_in_its_place() -> None:
    entry = panel.Entry("Causes", "x", f"{'before ' * 30}needle{' after' * 30}")
    said = panel.excerpt(entry, "Needle")
    assert "needle" in said
    assert said.startswith("…")
    assert said.endswith("…")


def test_the_method_tells_the_fleets_own_limits(opened: Any, own_folder: Path) -> None:
    register = own_folder / "fleet.toml"
    text = register.read_text(encoding="utf-8")
    register.write_text(text + "\n[limits.shift_reach_error]\nwatch = 0.7\n", encoding="utf-8")
    told = opened(own_folder, "method", indicator="shift_reach_error").text
    assert "watch 0.7, hold 2 %" in told
    assert "(from fleet.toml)" in told


def test_a_finding_leads_to_how_it_is_judged(opened: Any, fleet_folder: Path) -> None:
    morning = opened(fleet_folder)
    held = next(parameters for _, page, parameters in morning.links if page == "engine")
    engine = opened(fleet_folder, "engine", **held)
    ways = [parameters for label, _, parameters in engine.links if label == "how this is judged ›"]
    assert ways
    assert ways[0]["indicator"] in indicators()
    assert indicators()[ways[0]["indicator"]].meaning in opened(fleet_folder, "method", **ways[0]).text
