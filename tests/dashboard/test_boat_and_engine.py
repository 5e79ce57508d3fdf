"""The boat and the engine: findings whole, siblings, charts, and that a choice is by name and never by place."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from pipeline import wording

MORNING = "2026-06-15T06:00"


def test_a_boat_shows_all_its_engines_side_by_side(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "boat", boat="garganey")
    engines = [parameters["engine"] for _, page, parameters in shown.links if page == "engine"]
    assert engines == ["port", "center", "starboard"]
    assert shown.html.count('<th scope="row">Shift reach error, forward</th>') >= 1


def test_a_finding_shows_what_to_do_what_it_rests_on_and_its_age(opened: Any, fleet_folder: Path) -> None:
    text = opened(fleet_folder, "boat", boat="curlew").text
    assert "Do: " in text
    for label in ("Limits", "Rests on", "Newest reading"):
        assert label in text


def test_what_is_not_known_of_a_finding_is_not_shown(opened: Any, fleet_folder: Path) -> None:
    text = opened(fleet_folder, "boat", boat="curlew").text
    assert "None" not in text
    assert "nan" not in text.lower().replace("finance", "")


def test_each_sibling_stands_with_what_it_rests_on_and_the_difference_says_who_is_above_whom(
    opened: Any, fleet_folder: Path
) -> None:
    html = opened(fleet_folder, "boat", boat="garganey").html
    assert re.search(r'data-who="center"><a [^>]+>[^<]+</a><span class="mw-basis">\d+ \w+ in \d+ runs?</span>', html)
    assert re.search(r'data-who="difference"><a [^>]+>[^<]+, (\w+) above (?!\1)(port|center|starboard)<', html)


def test_every_number_of_the_siblings_is_a_way_to_its_season(opened: Any, fleet_folder: Path) -> None:
    links = [where for _, page, where in opened(fleet_folder, "boat", boat="garganey").links if page == "season"]
    of_engine = {"as_of": MORNING, "boat": "garganey", "engine": "center", "indicator": "idle_integral"}
    assert {**of_engine, "facet": "neutral"} in links
    of_boat = {"as_of": MORNING, "boat": "garganey", "scope": "boat", "indicator": "idle_integral", "facet": "neutral"}
    assert of_boat in links


def test_one_departure_without_a_word_to_it_is_said_once(opened: Any, own_folder: Path) -> None:
    (own_folder / "schedule.csv").write_text("boat,departs,note\ncurlew,2026-06-15T09:30,\n", encoding="utf-8")
    text = opened(own_folder, "boat", boat="curlew").text
    assert text.count("09:30") == 1


def test_a_finding_rests_on_what_was_counted(opened: Any, fleet_folder: Path) -> None:
    text = " ".join(opened(fleet_folder, "boat", boat="curlew").text.split())
    assert re.search(r"Rests on \d+ (shift|window|stall)s? in \d+ runs?", text)


def test_a_boat_alone_with_one_engine_has_no_difference(opened: Any, fleet_folder: Path) -> None:
    assert 'data-who="difference"' not in opened(fleet_folder, "boat", boat="dunlin").html


def test_the_next_departures_stand_with_what_the_schedule_says(opened: Any, own_folder: Path) -> None:
    (own_folder / "schedule.csv").write_text(
        "boat,departs,note\ncurlew,2026-06-15T09:30,picnic party\ncurlew,2026-06-14T09:30,long gone\n",
        encoding="utf-8",
    )
    text = opened(own_folder, "boat", boat="curlew").text
    assert "Mon 15 Jun 2026, 09:30" in text
    assert "picnic party" in text
    assert "long gone" not in text


def test_a_finding_of_a_boat_leads_to_the_newest_log_behind_it(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "boat", boat="curlew")
    traces = [each for label, page, each in shown.links if page == "trace" and "newest log" in label]
    assert traces
    assert traces[0]["log"] in opened(fleet_folder, "trace", **traces[0]).text


def test_cautions_stand_on_every_engine(opened: Any, fleet_folder: Path) -> None:
    text = opened(fleet_folder, "engine", boat="dunlin").text
    assert all(caution in text for caution in wording.CAUTIONS)


def test_the_boat_that_was_chosen_stays_when_the_morning_and_so_the_order_changes(
    opened: Any, fleet_folder: Path
) -> None:
    shown = opened(fleet_folder, "boat", boat="garganey")
    shown.app.button(key="day_before").click()
    earlier = shown.again()
    assert '<b class="mw-name">Garganey</b>' in earlier.html
    earlier.app.button(key="back_to_now").click()
    assert '<b class="mw-name">Garganey</b>' in earlier.again().html


def test_choosing_another_boat_shows_that_boat_and_forgets_the_engine(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "engine", boat="garganey", engine="center")
    shown.app.selectbox(key="pick_boat:garganey").set_value("dunlin")
    other = shown.again()
    assert '<b class="mw-name">Dunlin, main</b>' in other.html
    assert other.app.query_params["boat"] == "dunlin"
    assert "has no engine" not in other.text


def test_the_boats_name_at_a_place_of_the_picker_follows_its_id_when_boats_are_reordered(
    opened: Any, own_folder: Path
) -> None:
    register = own_folder / "fleet.toml"
    head, *boats = register.read_text(encoding="utf-8").split("[[boat]]")
    register.write_text("[[boat]]".join([head, *boats[::-1]]), encoding="utf-8")
    shown = opened(own_folder, "boat", boat="curlew")
    assert '<b class="mw-name">Curlew</b>' in shown.html
    assert shown.app.selectbox(key="pick_boat:curlew").value == "curlew"


def test_two_clicks_lead_from_a_finding_to_the_samples_behind_it(opened: Any, fleet_folder: Path) -> None:
    morning = opened(fleet_folder)
    held = next(parameters for _, page, parameters in morning.links if page == "engine")
    engine = opened(fleet_folder, "engine", **held)
    traces = [parameters for _, page, parameters in engine.links if page == "trace"]
    assert traces
    trace = opened(fleet_folder, "trace", **traces[0])
    assert traces[0]["log"] in trace.text
    assert trace.charts
