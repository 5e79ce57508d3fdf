"""The boat and the engine: findings whole, siblings, charts, and that a choice is by name and never by place."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from pipeline import wording
from pipeline.screen_data import shifts
from pipeline.store import Store


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


@pytest.mark.parametrize(
    ("part", "title"),
    [
        ("Shifting", "Reach error"),
        ("Idle", "Integral against temperature, neutral"),
        ("Fuel", "Fuel trim at idle"),
        ("Evidence", "What the newest logs hold"),
    ],
)
def test_each_part_of_an_engine_is_reached_by_its_address(
    opened: Any, fleet_folder: Path, part: str, title: str
) -> None:
    shown = opened(fleet_folder, "engine", boat="curlew", engine="port", part=part)
    assert title in shown.text
    assert shown.charts


def test_the_calibration_part_proposes_in_words_and_leaves_the_decision(opened: Any, fleet_folder: Path) -> None:
    text = opened(fleet_folder, "engine", boat="curlew", engine="port", part="Calibration").text
    assert "a person decides" in text
    assert "neutral row" in text


def test_an_engine_without_a_channel_says_so_in_place_of_a_chart(opened: Any, fleet_folder: Path) -> None:
    text = opened(fleet_folder, "engine", boat="dunlin", part="Evidence").text
    assert "Channels held:" in text
    assert "Lacking:" in text


def test_two_clicks_lead_from_a_finding_to_the_samples_behind_it(opened: Any, fleet_folder: Path) -> None:
    morning = opened(fleet_folder)
    held = next(parameters for _, page, parameters in morning.links if page == "engine")
    engine = opened(fleet_folder, "engine", **held)
    traces = [parameters for _, page, parameters in engine.links if page == "trace"]
    assert traces
    trace = opened(fleet_folder, "trace", **traces[0])
    assert traces[0]["log"] in trace.text
    assert trace.charts


def _clicked(app: Any, key: str, selection: str, **fields: Any) -> None:
    """What the browser sends when a mark is clicked."""
    app.session_state[key] = {"selection": {selection: [fields]}}


def test_a_clicked_shift_leads_to_its_own_samples(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "engine", boat="curlew", engine="port", part="Shifting")
    row = next(iter(_rows_of(fleet_folder)))
    _clicked(shown.app, "reach:curlew/port", "shift", log_id=row["log_id"], at_s=row["at_s"])
    labels = {label: parameters for label, page, parameters in shown.again().links if page == "trace"}
    (said,) = [label for label in labels if "reach error" in label]
    assert labels[said]["log"] == row["file"]
    assert float(labels[said]["from"]) < row["at_s"]


def test_a_click_that_belongs_to_another_engine_opens_nothing(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "engine", boat="curlew", engine="port", part="Shifting")
    _clicked(shown.app, "reach:curlew/port", "shift", log_id="of another engine", at_s=1.0)
    assert "Click a mark to get to its samples." in shown.again().text


def _rows_of(folder: Path) -> list[dict[str, Any]]:
    found = shifts(Store(folder).reader(), "curlew/port", datetime.now(UTC), ZoneInfo("UTC"))
    return [dict(row) for row in found[found["reach_error_pct"].notna()].to_dict("records")]
