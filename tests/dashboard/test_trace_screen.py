"""The trace: any stretch of any log, by address, buttons, numbers or on the picture, and what happened in words."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from pipeline import trace as traces
from pipeline.register import load_register
from pipeline.store import Store


def _place(folder: Path) -> traces.LogPlace:
    store = Store(folder)
    return traces.logs_of(store.reader(), "curlew/port", datetime.fromisoformat("2026-06-15T06:00+00:00"))[0]


def _stacked(shown: Any) -> dict[str, Any]:
    return next(chart for chart in shown.charts if "vconcat" in chart)


def _said(shown: Any) -> str:
    return str(shown.html.split('class="mw-summary">')[1].split("<")[0])


def _asked(shown: Any) -> tuple[float, float]:
    return float(shown.app.query_params["from"]), float(shown.app.query_params["seconds"])


def test_a_shift_of_the_list_opens_the_stretch_about_itself(opened: Any, fleet_folder: Path) -> None:
    whole = opened(fleet_folder, "trace", boat="curlew", engine="port")
    link = next(each for label, page, each in whole.links if page == "trace" and "reach error" in label)
    near = opened(fleet_folder, "trace", **link)
    assert "Drawn: 12.0 s" in _said(near)
    assert _asked(near) == (float(link["from"]), 12.0)
    assert "Drawn: 12.0 s" not in _said(whole)


def test_buttons_move_widen_and_narrow_the_stretch_and_the_address_follows(opened: Any, fleet_folder: Path) -> None:
    place = _place(fleet_folder)
    at = place.from_s + 40
    shown = opened(fleet_folder, "trace", boat="curlew", engine="port", **{"from": f"{at:.2f}", "seconds": "20"})
    for label, expected in (
        ("Later ›", (at + 10, 20.0)),
        ("‹ Earlier", (at, 20.0)),
        ("Narrower", (at + 5, 10.0)),
        ("Wider", (at, 20.0)),
    ):
        shown.app.button(key=f"go_{label}").click()
        shown = shown.again()
        assert _asked(shown) == (round(expected[0], 2), expected[1])
        assert f"Drawn: {expected[1]:.1f} s" in _said(shown)
    shown.app.button(key="go_Whole log").click()
    whole = shown.again()
    assert "from" not in whole.app.query_params
    assert f"Drawn: {place.seconds:.1f} s from second 0.0" in _said(whole)


def test_the_stretch_can_be_typed(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "trace", boat="curlew", engine="port")
    shown.app.number_input[1].set_value(30.0)
    shorter = shown.again()
    assert "Drawn: 30.0 s from second 0.0" in _said(shorter)
    shorter.app.number_input[0].set_value(12.0)
    assert "Drawn: 30.0 s from second 12.0" in _said(shorter.again())


def test_a_stretch_drawn_on_the_whole_log_is_drawn_finer_and_a_button_starts_from_it(
    opened: Any, fleet_folder: Path
) -> None:
    place = _place(fleet_folder)
    shown = opened(fleet_folder, "trace", boat="curlew", engine="port")
    zone = _zone(fleet_folder)
    ends = [traces.clock_ms(place, place.from_s + each, zone) for each in (50.0, 60.0)]
    key = f"whole:{place.log_id}:{place.from_s:.2f}:{place.seconds:.2f}"
    shown.app.session_state[key] = {"selection": {"stretch": {"local_ms": ends}}}
    drawn = shown.again()
    assert "Drawn: 10.0 s from second 50.0" in _said(drawn)
    drawn.app.button(key="go_Wider").click()
    assert "Drawn: 20.0 s from second 45.0" in _said(drawn.again())


def _zone(folder: Path) -> Any:
    return ZoneInfo(load_register(folder).timezone)


def test_the_panels_share_one_axis_and_zoom_together(opened: Any, fleet_folder: Path) -> None:
    chart = _stacked(opened(fleet_folder, "trace", boat="curlew", engine="port"))
    domains = [_along(panel)["scale"]["domain"] for panel in chart["vconcat"]]
    assert all(domain == domains[0] for domain in domains)
    (zoom,) = [each for each in chart["params"] if each["name"] == "zoom"]
    assert zoom["bind"] == "scales"
    assert zoom["select"]["encodings"] == ["x"]
    for panel in chart["vconcat"]:
        assert {layer.get("name") for layer in panel["layer"]} & set(zoom["views"])


def _along(panel: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = panel["layer"][-1]["encoding"]["x"]
    return found


def test_target_and_position_stand_in_one_panel(opened: Any, fleet_folder: Path) -> None:
    chart = _stacked(opened(fleet_folder, "trace", boat="curlew", engine="port"))
    (shift,) = [panel for panel in chart["vconcat"] if panel["title"]["text"] == "shift, %"]
    assert shift["layer"][-1]["encoding"]["color"]["scale"]["domain"] == ["shift_position", "shift_target"]


def test_taking_a_panel_away_draws_the_others(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "trace", boat="curlew", engine="port")
    before = [panel["title"]["text"] for panel in _stacked(shown)["vconcat"]]
    pills = shown.app.button_group[0]
    pills.set_value(["shift"])
    after = [panel["title"]["text"] for panel in _stacked(shown.again())["vconcat"]]
    assert after == ["what happened", "shift, %"]
    assert len(before) > len(after)


def test_what_happened_is_marked_in_lanes_named_in_words(opened: Any, fleet_folder: Path) -> None:
    chart = _stacked(opened(fleet_folder, "trace", boat="curlew", engine="port"))
    strip = chart["vconcat"][0]
    lanes = strip["layer"][0]["encoding"]["y"]["scale"]["domain"]
    assert {"into forward", "into neutral", "idle"} <= set(lanes)


def test_the_log_before_is_one_click_away(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "trace", boat="curlew", engine="port")
    labels = {label: each for label, page, each in shown.links if page == "trace" and "log" in label}
    (before,) = [each for label, each in labels.items() if "log before" in label]
    assert before["log"] != _place(fleet_folder).file
    assert before["log"] in opened(fleet_folder, "trace", **before).text
