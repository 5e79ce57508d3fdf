"""The rows behind the charts and how they are drawn, told from small tables made by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from dashboard.charts import believing, coverage, drawing, idling, marks, responding, seen, shifting, tracing
from pipeline.baselines import ThenNow, Watched
from pipeline.catalogue import Limits, indicators
from pipeline.channels import CHANNELS
from pipeline.screen_data import local_ms, with_local_time

AUCKLAND = ZoneInfo("Pacific/Auckland")
REACH = indicators()["shift_reach_error"]
INTEGRAL = indicators()["idle_integral"]


def _at(*moments: str) -> list[float]:
    return [datetime.fromisoformat(each).timestamp() for each in moments]


def _shifts() -> pd.DataFrame:
    rows = pd.DataFrame(
        {
            "at_s": _at("2026-06-14T07:00+12:00", "2026-06-14T07:01+12:00", "2026-06-14T07:02+12:00"),
            "log_id": ["a", "a", "a"],
            "file": ["f", "f", "f"],
            "from_gear": ["neutral", "forward", "neutral"],
            "to_gear": ["forward", "reverse", "reverse"],
            "target_pct": [90.0, 12.0, 12.0],
            "settled_pct": [88.5, 12.1, float("nan")],
            "reach_error_pct": [-1.5, 0.1, float("nan")],
            "transit_s": [0.4, 0.9, float("nan")],
            "battery_v": [13.1, 12.9, 13.0],
            "temp_c": [60.0, float("nan"), 60.0],
            "why_null": [None, None, "too short"],
            "withheld": None,
            "transit_withheld": None,
        }
    )
    return with_local_time(rows, AUCKLAND)


def _marks(picture: drawing.Picture) -> dict[str, Any]:
    """The layer of marks of a picture, of its first panel where it has several."""
    spec = picture.to_dict()
    layers = spec["vconcat"][0]["layer"] if "vconcat" in spec else spec["layer"]
    found: dict[str, Any] = next(layer for layer in layers if layer["mark"]["type"] == "point")
    return found


def test_times_are_the_fleets_wall_clock_on_a_utc_scale() -> None:
    rows = _shifts()
    # 07:00 in Auckland stands as 07:00 UTC on the chart's clock, whatever zone the browser is in
    assert rows["local_ms"][0] == datetime(2026, 6, 14, 7, 0, tzinfo=UTC).timestamp() * 1000
    assert local_ms(rows["at_s"][0], AUCKLAND) == rows["local_ms"][0]
    dots = _marks(shifting.settled(shifting.reach_rows(rows), REACH.limits))
    assert dots["encoding"]["x"]["scale"]["type"] == "utc"


def test_when_the_clock_goes_back_the_chart_keeps_the_wall_clock() -> None:
    # New Zealand's daylight saving time ended on 5 April 2026 at 03:00 NZDT (UTC+13), back to 02:00 NZST (UTC+12)
    rows = with_local_time(pd.DataFrame({"at_s": _at("2026-04-04T13:30+00:00", "2026-04-04T14:30+00:00")}), AUCKLAND)
    assert rows["local_ms"][0] == rows["local_ms"][1]
    assert rows["at_s"][1] - rows["at_s"][0] == 3600


def test_no_time_stays_no_time() -> None:
    rows = with_local_time(pd.DataFrame({"at_s": [float("nan")]}), AUCKLAND)
    assert rows["local_ms"].isna().all()


def test_only_shifts_with_a_reading_are_drawn() -> None:
    assert shifting.reach_rows(_shifts())["reach_error_pct"].tolist() == [-1.5, 0.1]


def test_a_withheld_shift_is_a_cross_with_its_word_and_does_not_flatten_the_others() -> None:
    rows = pd.concat([_shifts(), _shifts().assign(reach_error_pct=40.0, withheld="sensor")], ignore_index=True)
    picture = shifting.settled(shifting.reach_rows(rows), Limits(watch=1, hold=2))
    shape = _marks(picture)["encoding"]["shape"]
    assert dict(zip(shape["scale"]["domain"], shape["scale"]["range"], strict=True))["withheld"] == believing.SHAPE
    drawn = pd.DataFrame(picture.to_dict()["datasets"]["shifts"])
    # the limits reach from -2 to 2: not beyond 2.6 (0.15 of their span)
    assert drawn[drawn["mark"] == "withheld"]["drawn"].unique().tolist() == pytest.approx([2.6])
    assert drawn[drawn["mark"] != "withheld"]["drawn"].tolist() == [-1.5, 0.1]
    assert drawn[drawn["mark"] == "withheld"]["says"].str.startswith("Withheld, sensor. ").all()
    # a withheld position stands beside those of its gear, whose target rests on the believed ones alone
    assert drawn.groupby("to_gear")["settled"].max().to_dict() == {"forward": 88.5, "reverse": 12.1}


def test_where_all_is_believed_no_legend_speaks_of_withheld() -> None:
    dots = _marks(shifting.settled(shifting.reach_rows(_shifts()), REACH.limits))
    assert dots["encoding"]["shape"]["scale"]["domain"] == ["reverse", "neutral", "forward"]


def test_limits_stand_about_the_target_in_force() -> None:
    rows = shifting.target_rows(shifting.reach_rows(_shifts()).head(1), Limits(watch=1, hold=2))
    assert rows[["watch_low", "watch_high", "hold_low", "hold_high"]].to_numpy().tolist() == [[89, 91, 88, 92]]


def test_a_target_is_drawn_where_it_changes_and_up_to_the_last_shift() -> None:
    shifts = pd.DataFrame(
        {
            "to_gear": ["forward", "reverse", "forward", "forward", "forward", "reverse"],
            "at_s": [0.0, 1.0, 2.0, 3.0, 4.0, 5.0],
            "local_ms": [0.0, 1.0, 2.0, 3.0, 4.0, 5.0],
            "target_pct": [88.0, 12.0, 88.0, 90.0, 90.0, 12.0],
        }
    )
    rows = shifting.target_rows(shifts, Limits())
    forward = rows[rows["to_gear"] == "forward"]
    assert forward[["at_s", "target_pct"]].to_numpy().tolist() == [[0, 88], [3, 90], [4, 90]]
    assert rows[rows["to_gear"] == "reverse"]["at_s"].tolist() == [1, 5]


def test_no_limit_set_draws_no_limit() -> None:
    rows = shifting.target_rows(shifting.reach_rows(_shifts()), Limits())
    assert not [name for name in rows.columns if name.startswith(("watch_", "hold_"))]
    assert drawing.limit_rows(Limits()).empty


def test_a_throw_straight_through_is_not_held_against_voltage() -> None:
    # only shifts from or to neutral count for transit: the forward-to-reverse throw is left out
    assert shifting.transit_rows(_shifts(), "battery_v")["transit_s"].tolist() == [0.4]


def test_a_transit_without_a_temperature_is_not_held_against_temperature() -> None:
    assert shifting.transit_rows(_shifts(), "temp_c")["temp_c"].tolist() == [60.0]


def test_a_clicked_shift_is_known_by_its_log_and_moment_never_by_its_place() -> None:
    spec = shifting.settled(shifting.reach_rows(_shifts()), REACH.limits).to_dict()
    (pick,) = [each for each in spec["params"] if each["name"] == shifting.PICK]
    assert pick["select"]["fields"] == ["file", "at_s"]
    # in every panel alike
    assert pick["views"] == [panel["layer"][-1]["name"] for panel in spec["vconcat"]]


@pytest.mark.parametrize(
    ("band", "worse", "expected"),
    [
        ((0.0, 0.0), "away", [-1, 1, -2, 2]),
        ((-3.0, 0.0), "away", [-4, 1, -5, 2]),  # beyond the wanted band on either side
        ((0.0, 0.0), "lower", [1, 2]),
        ((0.0, 0.0), "higher", [1, 2]),
    ],
)
def test_limits_stand_on_the_bad_sides_of_what_is_wanted(
    band: tuple[float, float], worse: str, expected: list[float]
) -> None:
    assert drawing.limit_rows(Limits(watch=1, hold=2), band, worse)["value"].tolist() == expected


def test_a_limit_is_told_by_its_dash_too() -> None:
    watch, hold = (rule.to_dict()["mark"] for rule in drawing.limit_rules())
    assert watch["strokeDash"] != hold["strokeDash"]


@pytest.mark.parametrize(
    ("value", "expected"),
    [(0.0, 0.0), (1.0, 0.5), (-1.0, -0.5), (1.5, 0.75), (2.0, 1.0), (-2.0, -1.0), (9.0, marks.EDGE)],
)
def test_a_mark_stands_halfway_at_watch_and_whole_at_hold(value: float, expected: float) -> None:
    assert marks.place(value, REACH, "forward", Limits(watch=1, hold=2)) == pytest.approx(expected)


@pytest.mark.parametrize(("value", "expected"), [(-1.5, 0.0), (5.0, 0.5), (-8.0, -0.5), (10.0, 1.0), (-13.0, -1.0)])
def test_a_mark_of_a_wanted_band_is_measured_from_its_middle(value: float, expected: float) -> None:
    # neutral wants -3 to 0, watch 5 and hold 10 beyond that: -8 and +5 are watch, -13 and +10 hold
    assert marks.place(value, INTEGRAL, "neutral", Limits(watch=5, hold=10)) == pytest.approx(expected)


@pytest.mark.parametrize(("value", "expected"), [(12.6, -0.5), (12.0, -1.0), (13.2, 0.0), (13.8, 0.5)])
def test_a_mark_where_less_is_worse_falls(value: float, expected: float) -> None:
    battery = indicators()["battery_idle"]
    assert marks.place(value, battery, "", Limits(watch=12.6, hold=12.0)) == pytest.approx(expected)


@pytest.mark.parametrize(
    "limits", [Limits(watch=1), Limits(hold=2), Limits(watch=1, hold=1), Limits(watch=0), Limits(watch=0, hold=0)]
)
@pytest.mark.parametrize("name", ["shift_reach_error", "battery_idle", "coolant_hot"])
def test_a_mark_stays_in_its_cell_whatever_limits_a_fleet_sets(name: str, limits: Limits) -> None:
    for value in (-100.0, -1.0, 0.0, 0.5, 1.0, 100.0):
        assert -marks.EDGE <= marks.place(value, indicators()[name], "", limits) <= marks.EDGE


def _windows() -> pd.DataFrame:
    rows = pd.DataFrame(
        {
            "at_s": _at("2026-06-14T07:00+12:00", "2026-06-14T07:01+12:00", "2026-06-14T07:02+12:00"),
            "gear": ["neutral", "neutral", "forward"],
            "temp_c": [20.0, 60.0, 60.0],
            "integral_pct": [1.0, float("nan"), 2.0],
            "fuel_trim_pct": [3.0, 1.0, 2.0],
            "thermal": ["cold", "hot", "warming"],
            "run_s": [0.0, 0.0, 0.0],
            "duration_s": [20.0, 20.0, 20.0],
            "rpm_mean": [620.0, 610.0, 600.0],
            "file": ["f", "f", "f"],
            "withheld": None,
            "trim_withheld": None,
        }
    )
    return with_local_time(rows, AUCKLAND)


def _compared(since: str, baseline_to: str, now_from: str) -> ThenNow:
    moments = dict(zip(("since_s", "baseline_to_s", "now_from_s"), _at(since, baseline_to, now_from), strict=True))
    return ThenNow("neutral", then="", now="", change="", wanted="", status="ready", **moments)


def test_first_runs_last_runs_and_what_lies_between_and_before_are_told_apart() -> None:
    days = ["2026-05-01T07:00+12:00", "2026-06-01T07:00+12:00", "2026-06-07T07:00+12:00", "2026-06-14T07:00+12:00"]
    rows = pd.concat([_windows().head(1)] * 4, ignore_index=True).assign(run_s=_at(*days))
    compared = _compared(days[1], days[1], days[3])
    assert idling.integral_rows(rows, "neutral", compared)["age"].tolist() == [
        "before",
        "first runs",
        "between",
        "last runs",
    ]
    assert set(idling.integral_rows(rows, "neutral", None)["age"]) == {"last runs"}


def test_a_limit_has_its_word_beside_it() -> None:
    assert drawing.limit_words().to_dict()["encoding"]["text"]["field"] == "limit"
    targets = shifting.target_rows(shifting.reach_rows(_shifts()).head(1), Limits(watch=1, hold=2))
    assert sorted(shifting.word_rows(targets)[["word", "value"]].itertuples(index=False, name=None)) == [
        ("hold", 88.0),
        ("hold", 92.0),
        ("target", 90.0),
        ("watch", 89.0),
        ("watch", 91.0),
    ]


def test_a_response_shows_where_each_facet_would_be_watched() -> None:
    readings = with_local_time(
        pd.DataFrame(
            {
                "indicator": ["engagement_dip", "engagement_dip", "idle_spread"],
                "facet": ["forward", "reverse", ""],
                "at_s": _at("2026-06-14T07:00+12:00", "2026-06-14T07:00+12:00", "2026-06-14T07:00+12:00"),
                "value": [30.0, 25.0, 4.0],
                "n": [3, 3, 2],
                "temp_c": [60.0, 60.0, 60.0],
                "file": ["f", "f", "f"],
                "withheld": None,
            }
        ),
        AUCKLAND,
    )
    rows = responding.response_rows(readings, "engagement_dip")
    watched = [Watched("forward", (80.0,)), Watched("reverse", ())]
    spec = responding.response(rows, watched, "rpm", drawing.NO_LIMITS).to_dict()
    assert [(row["mark"], row["value"]) for row in spec["datasets"]["watched"]] == [("forward", 80.0)]
    assert responding.response_rows(readings, "idle_spread")["facet"].tolist() == ["all"]


def test_the_trim_of_a_warming_engine_is_neither_cold_nor_hot() -> None:
    assert idling.trim_rows(_windows())["thermal"].tolist() == ["cold", "hot"]


def test_cold_and_hot_are_told_by_shape_and_colour() -> None:
    days = pd.DataFrame(
        {"local_ms": [0.0], "when": ["d"], "cold_pct": [1.0], "hot_pct": [0.0], "middle_pct": [0.5], "windows": [2]}
    )
    steps = pd.DataFrame({"local_ms": [0.0], "what": ["whole fleet"]})
    spec = idling.trim(idling.trim_rows(_windows()), days, steps, Limits(watch=5, hold=10)).to_dict()
    dots = next(layer for layer in spec["layer"] if layer["mark"]["type"] == "point")
    assert dots["encoding"]["color"]["field"] == dots["encoding"]["shape"]["field"] == "mark"
    assert dots["encoding"]["shape"]["scale"]["domain"] == ["cold", "hot"]


def test_what_a_log_does_not_show_is_drawn_as_not_seen() -> None:
    evidence = with_local_time(
        pd.DataFrame(
            {
                "at_s": _at("2026-06-14T07:00+12:00", "2026-06-15T07:00+12:00"),
                "log_id": ["a", "b"],
                "file": ["f", "g"],
                "thing": ["warm", None],  # the second log shows nothing at all
                "times": [1.0, float("nan")],
            }
        ),
        AUCKLAND,
    )
    rows = seen.seen_rows(evidence)
    assert len(rows) == 2 * len(seen.THINGS)
    assert rows[rows["is_seen"] == "seen"][["log_id", "thing"]].to_numpy().tolist() == [["a", "warm"]]


def test_a_channel_that_was_not_logged_has_no_panel() -> None:
    trace = pd.DataFrame({"channel": ["rpm", "rpm"], "local_ms": [0.0, 1.0], "value": [600.0, 610.0]})
    panels = [panel.title for panel, _ in tracing.panel_rows(trace, tracing.PANELS)]
    assert [panel.title for panel in tracing.panels_of(["rpm_target"])] == ["speed"]
    assert panels == ["speed"]


def test_every_channel_that_is_drawn_is_a_channel() -> None:
    drawn = {name for panel in tracing.PANELS for name in panel.channels}
    assert drawn == set(CHANNELS)


def test_an_event_that_lasts_is_cut_at_the_ends_of_the_stretch() -> None:
    events = pd.DataFrame(
        {
            "kind": ["idle", "shift", "run"],
            "lane": ["idle", "into forward", ""],
            "at_s": [0.0, 50.0, 0.0],
            "to_s": [30.0, 50.0, 0.0],
            "local_ms": [7000.0, 57000.0, 7000.0],
            "local_to_ms": [37000.0, 57000.0, 7000.0],
        }
    )
    rows = tracing.event_rows(events, 10.0, 20.0)
    assert rows[["lane", "local_ms", "local_to_ms"]].to_numpy().tolist() == [["idle", 17000.0, 27000.0]]


def test_a_silent_boat_keeps_its_row_in_the_coverage() -> None:
    logs = with_local_time(
        pd.DataFrame(
            {
                "status": ["taken", "refused", "taken"],
                "boat": ["tern", "tern", "tern"],
                "at_s": _at("2026-06-14T07:00+12:00", "2026-06-14T07:00+12:00", "2026-01-01T07:00+12:00"),
                "minutes": [10.0, 1.0, 5.0],
                "file": ["f", "g", "h"],
            }
        ),
        AUCKLAND,
    )
    rows = coverage.coverage_rows(logs, datetime(2026, 6, 15, tzinfo=UTC), {"tern": "Tern", "gull": "Gull"})
    assert rows["name"].tolist() == ["Tern", "Gull"]
    assert rows["minutes"].tolist()[0] == 10.0
