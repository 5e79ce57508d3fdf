"""The pictures of a season, told from small tables made by hand: what is drawn, in which order, and never by place."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from dashboard.charts import believing, drawing, palette, seasons, weekly
from pipeline.happenings import Happening
from pipeline.projections import Projection, Reach
from pipeline.season_data import WEEK_MS
from pipeline.statistics.projection import Band

AUCKLAND = ZoneInfo("Pacific/Auckland")
MONDAY_MS = datetime(2026, 6, 1, tzinfo=UTC).timestamp() * 1000


def _readings() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "engine_id": ["tern/port", "tern/starboard", "gull/main"],
            "engine": ["port", "starboard", "main"],
            "run_id": ["a", "b", "c"],
            "local_ms": [MONDAY_MS, MONDAY_MS, MONDAY_MS],
            "when": ["Mon 01 Jun 2026 07:00:00"] * 3,
            "value": [3.5, 4.0, 5.0],
            "own": [0.5, 1.0, 2.0],
            "n": [4, 5, 6],
            "temp_c": [60.0] * 3,
            "battery_v": [13.8] * 3,
            "file": ["f", "g", "h"],
            "withheld": None,
        }
    )


def _weeks() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "engine_id": ["tern/port", "tern/port", "gull/main", "gull/main"],
            "who": ["Tern, port", "Tern, port", "Gull, main", "Gull, main"],
            "week_ms": [MONDAY_MS, MONDAY_MS + 2 * WEEK_MS, MONDAY_MS, MONDAY_MS + 2 * WEEK_MS],
            "week": ["01 Jun", "15 Jun", "01 Jun", "15 Jun"],
            "value": [0.1, 2.2, 1.2, 0.0],
            "own": [0.1, 2.2, 1.2, 0.0],
            "off": [0.1, 2.2, 1.2, float("nan")],
            "n": [4, 5, 6, 2],
            "runs": [1, 2, 3, 1],
            "standing": ["ready", "hold", "watch", "ready"],
            "withheld": None,
        }
    )


def _layers(chart: drawing.Picture, mark: str) -> list[dict[str, Any]]:
    return [each for each in chart.to_dict()["layer"] if each["mark"]["type"] == mark]


@pytest.mark.parametrize(("own", "expected"), [(True, [0.5, 1.0]), (False, [3.5, 4.0])])
def test_readings_are_drawn_with_or_without_the_fleets_part(own: bool, expected: list[float]) -> None:  # noqa: FBT001
    rows = seasons.season_rows(_readings(), ["tern/port", "tern/starboard"], own=own)
    assert rows["shown"].tolist() == expected


def test_a_clicked_reading_is_known_by_its_run_and_engine() -> None:
    rows = seasons.season_rows(_readings(), ["tern/port"], own=True)
    chart = seasons.season(rows, ["port", "starboard"], seasons.happening_rows((), AUCKLAND), "%", drawing.NO_LIMITS)
    (pick,) = [each for each in chart.to_dict()["params"] if each["name"] == seasons.PICK]
    assert pick["select"]["fields"] == ["run_id", "engine_id"]


def test_an_engine_keeps_its_colour_and_shape_where_its_sibling_has_no_reading() -> None:
    rows = seasons.season_rows(_readings(), ["tern/starboard"], own=True)
    chart = seasons.season(rows, ["port", "starboard"], seasons.happening_rows((), AUCKLAND), "%", drawing.NO_LIMITS)
    (dots,) = _layers(chart, "point")
    for channel, kinds in (("color", palette.ENGINES), ("shape", palette.ENGINE_SHAPES)):
        assert dots["encoding"][channel]["scale"] == {"domain": ["port", "starboard"], "range": list(kinds[:2])}


def test_what_happened_has_a_letter_a_day_and_a_dash_a_kind() -> None:
    at = datetime(2026, 6, 1, 20, tzinfo=UTC)  # 2 June, 08:00 in Auckland
    happened = [
        Happening(at, "note", "tern/port", "tern/port", "cleaned: throttle body"),
        Happening(at.replace(hour=22), "service", "tern/port", "tern/port", "service: 100 h"),
        Happening(at.replace(day=3), "whole fleet", None, "whole fleet", "24 of 24 engines"),
    ]
    rows = seasons.happening_rows(happened, AUCKLAND)
    assert rows["mark"].tolist() == ["A", "A", "B"]
    assert rows["when"].tolist() == ["Tue 2 Jun 2026, 08:00", "Tue 2 Jun 2026, 10:00", "Thu 4 Jun 2026"]
    chart = seasons.season(_readings().assign(shown=0.0), ["port"], rows, "%", drawing.NO_LIMITS)
    rules = [each for each in _layers(chart, "rule") if each["mark"]["color"] == palette.NOTE]
    assert len({tuple(each["mark"]["strokeDash"]) for each in rules}) == 3
    (letters,) = [each for each in _layers(chart, "text") if each["encoding"]["text"].get("field") == "mark"]
    assert letters["mark"]["fontWeight"] == "bold"


def test_after_z_comes_aa() -> None:
    day = datetime(2026, 1, 1, tzinfo=UTC).timestamp()
    happened = [
        Happening(datetime.fromtimestamp(day + place * 86400, UTC), "note", None, "tern", "x") for place in range(28)
    ]
    assert seasons.happening_rows(happened, AUCKLAND)["mark"].tolist()[25:] == ["Z", "AA", "AB"]


def _projection(high: float | None, low: float = 10.0) -> Projection:
    along = np.linspace(100, 200, 5)
    middle = np.linspace(0, 4, 5)
    band = Band(middle, middle - 0.5, middle + 0.5)
    reaches = (
        Reach("watch", 1.0, "reached", 0.0, 0.0, 0.0),
        Reach("hold", 3.0, "crosses", 25.0, low, high),
    )
    return Projection(np.array([100.0, 150.0]), np.array([0.0, 2.0]), 150.0, along, band, reaches)


def test_the_bar_on_a_limit_is_its_interval_and_an_open_end_is_said() -> None:
    assert seasons.reach_rows(_projection(40.0))[["limit", "at", "low", "high", "more"]].to_numpy().tolist() == [
        ["hold", 175.0, 160.0, 190.0, ""]
    ]
    assert seasons.reach_rows(_projection(None))[["high", "more"]].to_numpy().tolist() == [[200.0, "or more"]]
    # beyond the edge of the picture the bar ends there, and its words give the number
    assert seasons.reach_rows(_projection(90.0))["high"].tolist() == [200.0]


def test_the_fan_shows_its_band_its_limits_and_now() -> None:
    spec = seasons.fan(_projection(40.0), "% of travel").to_dict()
    kinds = [each["mark"]["type"] for each in spec["layer"]]
    assert kinds.count("area") == 1
    assert "now" in str(spec["datasets"])
    assert {each["mark"]["strokeDash"][0] for each in spec["layer"] if each["mark"]["type"] == "line"} == {1, 5}


def test_a_band_that_is_open_is_not_drawn() -> None:
    found = _projection(None)
    endless = Band(found.band.middle, np.full(5, -np.inf), np.full(5, np.inf))
    spec = seasons.fan(Projection(**{**vars(found), "band": endless}), "%").to_dict()
    assert [each for each in spec["layer"] if each["mark"]["type"] == "area"] == []


def test_colours_part_about_the_middle_and_say_their_unit() -> None:
    title = weekly.heat_title("% of travel", "wanted")
    chart = weekly.heat(_weeks(), title=title, half=2.0, dark=False)
    colour = _layers(chart, "rect")[0]["encoding"]["color"]
    assert colour["scale"]["domain"] == [-2.0, 0, 2.0]
    assert colour["scale"]["clamp"] is True
    assert colour["legend"]["title"] == "% of travel: off what is wanted"


def test_a_withheld_week_is_an_open_cell_with_a_cross_and_a_withheld_reading_is_on_no_line() -> None:
    weeks = _weeks().assign(withheld=[None, None, None, "sensor"])
    (_, crosses) = _layers(weekly.heat(weeks, title="", half=2.0, dark=False), "point")[::-1]
    assert crosses["mark"]["shape"] == believing.SHAPE
    rows = seasons.season_rows(_readings(), ["tern/port", "tern/starboard"], own=True)
    rows = rows.assign(withheld=[None, "sensor"])
    chart = seasons.season(rows, ["port", "starboard"], seasons.happening_rows((), AUCKLAND), "%", drawing.NO_LIMITS)
    rows_of = chart.to_dict()["datasets"]
    (dots,), (line,) = _layers(chart, "point"), _layers(chart, "line")
    assert [row["mark"] for row in rows_of[dots["data"]["name"]]] == ["port", "withheld"]
    assert [row["mark"] for row in rows_of[line["data"]["name"]]] == ["port"]


def test_a_week_beyond_a_limit_bears_its_symbol_and_counts_are_told() -> None:
    chart = weekly.heat(_weeks(), title="", half=2.0, dark=True)
    (symbols,) = _layers(chart, "point")
    assert symbols["transform"][0]["filter"] == {"field": "standing", "oneOf": ["watch", "hold"]}
    assert symbols["encoding"]["shape"]["scale"]["range"] == ["triangle-up", "square"]
    assert {"n", "runs"} <= {each["field"] for each in symbols["encoding"]["tooltip"]}


def test_a_week_that_cannot_be_compared_is_an_open_cell() -> None:
    cells = _layers(weekly.heat(_weeks(), title="", half=2.0, dark=False), "rect")
    assert [each["mark"].get("filled", True) for each in cells] == [True, False]


def test_a_clicked_week_is_known_by_its_engine_and_monday() -> None:
    spec = weekly.heat(_weeks(), title="", half=2.0, dark=False).to_dict()
    (pick,) = [each for each in spec["params"] if each["name"] == weekly.PICK]
    assert pick["select"]["fields"] == ["engine_id", "week_ms"]


def test_a_week_in_which_nobody_ran_keeps_its_place() -> None:
    assert weekly.week_order(_weeks()) == ["01 Jun", "08 Jun", "15 Jun"]


def test_what_is_too_small_to_be_watched_looks_small() -> None:
    days = pd.DataFrame({"local_ms": [0.0], "value": [0.05], "engines": [6], "when": ["x"]})
    line = pd.DataFrame({"local_ms": [0.0, 1.0], "value": [0.0, 0.0], "low": [0.0, 0.0], "high": [0.0, 0.0]})
    (dots,) = _layers(weekly.together(days, line, "%", 1.0), "point")
    assert dots["encoding"]["y"]["scale"]["domain"] == [-1.0, 1.0]
