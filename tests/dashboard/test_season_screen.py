"""The Season screen: what the address asks for, every choice that changes a number, and the ways on."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest

from dashboard.charts import seasons, weekly
from pipeline import wording
from pipeline.catalogue import indicators
from pipeline.logbook import add_note


def _drawn(screen: Any) -> list[dict[str, Any]]:
    """The rows of the first chart's largest data set."""
    sets = screen.app.get("vega_lite_chart")[0].proto.datasets
    tables = [pa.ipc.open_stream(each.data.data).read_all() for each in sets]
    rows: list[dict[str, Any]] = max(tables, key=len).to_pylist()
    return rows


def test_a_season_follows_indicator_facet_and_boat_of_the_address(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "season", indicator="idle_integral", facet="neutral", boat="garganey")
    assert "Idle integral, neutral, Garganey" in shown.text
    assert shown.app.query_params["scope"] == "boat"
    shown.app.selectbox(key="pick_facet:neutral").set_value("forward")
    other = shown.again()
    assert "Idle integral, forward, Garganey" in other.text
    assert other.app.query_params["facet"] == "forward"


@pytest.mark.parametrize(
    ("named", "scope"),
    [
        ({}, "fleet"),
        ({"boat": "garganey"}, "boat"),
        ({"boat": "garganey", "engine": "center"}, "engine"),
        ({"boat": "garganey", "engine": "center", "scope": "fleet"}, "fleet"),
    ],
)
def test_the_scope_is_what_the_address_names(
    opened: Any, fleet_folder: Path, named: dict[str, str], scope: str
) -> None:
    shown = opened(fleet_folder, "season", indicator="shift_reach_error", facet="forward", **named)
    assert shown.app.query_params["scope"] == scope
    assert ("Where it leads" in shown.text) == (scope == "engine")
    assert ("Every engine, week by week" in shown.text) == (scope != "engine")


def test_another_scope_shows_other_engines_and_stands_in_the_address(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "season", indicator="shift_reach_error", facet="forward", boat="garganey")
    assert {row["engine"] for row in _drawn(shown)} == {"port", "center", "starboard"}
    shown.app.segmented_control(key="scope:boat").set_value("engine")
    one = shown.again()
    assert one.app.query_params["scope"] == "engine"
    assert {row["engine"] for row in _drawn(one)} == {one.app.query_params["engine"]}


def test_an_unknown_scope_and_boat_are_said(opened: Any, fleet_folder: Path) -> None:
    assert "There is no scope 'ocean'" in opened(fleet_folder, "season", scope="ocean").text
    shown = opened(fleet_folder, "season", boat="curlow")
    assert "There is no boat 'curlow' in the register. Did you mean curlew?" in shown.text
    assert not shown.charts


def test_a_clicked_reading_leads_to_its_own_run_and_a_stale_one_is_said(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "season", indicator="shift_reach_error", facet="forward", boat="garganey")
    row = _drawn(shown)[3]
    key = "season:shift_reach_error:forward:garganey/port,garganey/center,garganey/starboard"
    clicked = {"run_id": row["run_id"], "engine_id": row["engine_id"]}
    shown.app.session_state[key] = {"selection": {seasons.PICK: [clicked]}}
    after = shown.again()
    (link,) = [parameters for _, page, parameters in after.links if page == "trace"]
    assert (link["boat"], link["engine"], link["log"]) == ("garganey", row["engine"], row["file"])
    # the chart's clock is the fleet's, which in an Irish summer is an hour ahead
    assert float(link["from"]) == pytest.approx(row["local_ms"] / 1000 - 3600, abs=0.1)
    # the run of one engine under another engine's id is nobody's
    mixed = {"run_id": row["run_id"], "engine_id": "curlew/port"}
    after.app.session_state[key] = {"selection": {seasons.PICK: [mixed]}}
    gone = after.again()
    assert "not among these any more" in gone.text
    assert [page for _, page, _ in gone.links if page == "trace"] == []


def test_a_clicked_week_leads_to_its_engine(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "season", indicator="shift_reach_error", facet="forward")
    row = _drawn(shown)[2]
    clicked = {"engine_id": row["engine_id"], "week_ms": row["week_ms"]}
    shown.app.session_state["weeks:shift_reach_error:forward"] = {"selection": {weekly.PICK: [clicked]}}
    after = shown.again()
    here = tuple(row["engine_id"].split("/"))
    ways = {label: parameters for label, _, parameters in after.links}
    assert (ways["its season ›"]["boat"], ways["its season ›"]["engine"]) == here
    assert ways["its season ›"]["scope"] == "engine"
    assert (ways["newest log of that week ›"]["boat"], ways["newest log of that week ›"]["engine"]) == here
    assert f"{row['who']}, week from {row['week']}" in after.text


def test_every_number_that_is_drawn_stands_in_a_table_with_its_count(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "season", indicator="shift_reach_error", facet="forward")
    weeks = shown.html.split("mw-weeks")[1].split("</table>")[0]
    rows = _drawn(shown)
    assert weeks.count("<tr>") == len({row["engine_id"] for row in rows}) + 1
    for row in rows:
        assert f"{wording.number(row['own'], indicators()['shift_reach_error'])}<span" in weeks
    assert weeks.count(" in ") == len(rows)
    one = opened(fleet_folder, "season", indicator="shift_reach_error", facet="forward", boat="dunlin")
    assert one.html.split("mw-readings")[1].split("</table>")[0].count("<tr>") == len(_drawn(one)) + 1


def test_an_indicator_of_single_occurrences_says_that_it_has_no_level(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "season", indicator="evidence", facet="warm", boat="curlew")
    assert "judged by single occurrences" in shown.text


def test_an_engine_that_does_not_grow_says_why_nothing_lies_ahead(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "season", indicator="shift_reach_error", facet="forward", boat="curlew", engine="port")
    assert "Level now" in shown.text
    assert "no hour can be told" in shown.text or "Too few runs" in shown.text


def test_a_note_is_a_lettered_mark_in_words_and_only_on_its_own_engine(opened: Any, own_folder: Path) -> None:
    at = datetime(2026, 6, 12, 18, tzinfo=UTC)
    add_note(own_folder, "garganey", "port", "cleaned", "throttle body <b>cleaned</b>", at)
    asked = {"indicator": "idle_integral", "facet": "neutral", "boat": "garganey"}
    port = opened(own_folder, "season", engine="port", **asked)
    assert "cleaned: throttle body &lt;b&gt;cleaned&lt;/b&gt;" in port.html
    assert "Garganey, port, note" in port.text
    assert "throttle body" not in opened(own_folder, "season", engine="center", **asked).text
