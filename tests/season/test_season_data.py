"""What the Season screen draws, held against pandas and numpy on small tables and on a fleet with a known step."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from season_maker import DAY_S, FIRST_RUN, judged, made_note, made_series, noisy, told

from pipeline import season_data
from pipeline.catalogue import Limits, indicators
from pipeline.happenings import happenings, step_says
from pipeline.logbook import Kind
from pipeline.register.fleet import Engine
from pipeline.register.tables import Service
from pipeline.screen_data import with_local_time
from pipeline.season.together import CommonStep
from pipeline.states import State

AUCKLAND = ZoneInfo("Pacific/Auckland")
REACH = indicators()["shift_reach_error"]
TRIM = indicators()["idle_fuel_trim"]
STEP = CommonStep("idle_fuel_trim", "hot", FIRST_RUN.timestamp() + 9.5 * DAY_S, 3.0, 5, 6, 4, 0.1)


def rows_of(state: State) -> pd.DataFrame:
    """A state's readings as the query gives them."""
    series, count = state.moved.series, len(state.moved.series)
    boat, _, engine = state.key.engine_id.partition("/")
    found = pd.DataFrame(
        {"at_s": series.at_s, "value": series.value, "own": series.value, "n": series.n, "withheld": None}
    )
    named = found.assign(engine_id=state.key.engine_id, run_id=series.run_ids, boat=[boat] * count, engine=engine)
    return with_local_time(named, AUCKLAND)


def test_a_week_is_the_median_of_the_fleets_own_calendar_week_with_its_count() -> None:
    state = judged(made_series(noisy(40, 0.5)))
    found = season_data.weeks(rows_of(state), {state.key.engine_id: state}, REACH, "forward")

    # pandas' own weeks from Monday on, in the fleet's zone
    local = pd.to_datetime(state.series.at_s, unit="s", utc=True).tz_convert(AUCKLAND).tz_localize(None)
    weekly = pd.Series(state.series.value, index=local).resample("W-MON", label="left", closed="left")
    assert found["own"].to_numpy() == pytest.approx(weekly.median().to_numpy())
    assert found["runs"].tolist() == weekly.size().tolist()
    assert found["n"].tolist() == (6 * weekly.size()).tolist()
    assert found["week"].tolist() == weekly.median().index.strftime("%d %b").tolist()


def test_a_week_stands_against_the_limits_of_its_own_engine() -> None:
    values = np.repeat([0.2, 1.2, 2.4], 7)
    days = np.arange(21.0) - 0.5
    strict, mild = Limits(watch=1, hold=2), Limits(watch=5, hold=9)
    standing = []
    for limits in (strict, mild):
        state = judged(made_series(values, days=days), limits=limits)
        found = season_data.weeks(rows_of(state), {state.key.engine_id: state}, REACH, "forward")
        standing.append(found["standing"].tolist())

    assert standing == [["ready", "watch", "hold"], ["ready", "ready", "ready"]]


def test_what_is_wanted_is_the_middle_where_both_sides_are_bad_and_the_baseline_where_one_is() -> None:
    integral = told("idle_integral", "neutral", -1.5, -1.5, "constant")
    battery = told("battery_idle", "", 13.8, 12.9, "step")
    weeks = [
        season_data.weeks(rows_of(each), {each.key.engine_id: each}, each.indicator, each.key.facet)
        for each in (integral, battery)
    ]

    # neutral wants -3 to 0
    assert weeks[0]["off"].to_numpy() == pytest.approx(weeks[0]["own"].to_numpy() + 1.5)
    assert weeks[1]["off"].iloc[0] == pytest.approx(0.0, abs=0.1)
    assert weeks[1]["off"].iloc[-1] == pytest.approx(-0.9, abs=0.1)


def test_a_slow_shift_of_a_cold_week_is_compared_at_like_temperature() -> None:
    temp_c = np.where(np.arange(40) >= 30, 5.0, 30.0) + noisy(40, 4.0)
    state = judged(
        made_series(0.4 - 0.004 * (temp_c - 30) + noisy(40, 0.005), "shift_transit_time", "forward", temp_c=temp_c)
    )
    found = season_data.weeks(rows_of(state), {state.key.engine_id: state}, state.indicator, "forward")

    assert found["own"].iloc[-1] > 0.47
    assert abs(found["off"].iloc[-1]) < 0.04


def test_an_engine_that_is_still_learned_has_no_place_about_its_baseline() -> None:
    state = judged(made_series([13.8, 13.7, 13.8], "battery_idle", ""))
    found = season_data.weeks(rows_of(state), {state.key.engine_id: state}, state.indicator, "")

    assert found["off"].isna().all()
    assert found["standing"].tolist() == ["ready"]


@pytest.mark.parametrize(
    ("name", "facet", "limits", "expected"),
    [
        ("shift_reach_error", "forward", Limits(watch=1, hold=2), 2.0),
        ("shift_reach_error", "forward", Limits(watch=1), 1.0),
        ("idle_integral", "neutral", Limits(watch=5, hold=10), 11.5),  # half of -3 to 0, and 10 beyond
        ("battery_idle", "", Limits(watch=12.6, hold=12), 0.4),  # about the baseline: as far as the weeks go
    ],
)
def test_colours_reach_as_far_as_the_limits(name: str, facet: str, limits: Limits, expected: float) -> None:
    rows = pd.DataFrame({"off": [0.1, -0.4, float("nan")]})

    assert season_data.half_range(rows, indicators()[name], facet, limits) == pytest.approx(expected)


def test_a_withheld_reading_is_in_no_week_and_a_week_of_them_alone_has_no_number() -> None:
    state = judged(made_series(np.r_[noisy(14, 0.1), np.full(7, 40.0)], days=np.arange(21.0) - 0.5))
    rows = rows_of(state).assign(withheld=[None] * 12 + ["sensor"] * 9)
    found = season_data.weeks(rows, {state.key.engine_id: state}, REACH, "forward")

    assert found["runs"].tolist() == [7, 5, 0]
    assert found["withheld"].tolist() == [None, None, "sensor"]
    assert found["says"].tolist()[-1] == "withheld"
    assert found["standing"].tolist() == ["ready"] * 3
    assert found["value"].isna().tolist() == [False, False, True]


def fleet_rows(step: float) -> pd.DataFrame:
    """Six engines, twenty days: each at its own level, all `step` higher from the tenth day on."""
    days = np.arange(20.0)
    frames = []
    for place in range(6):
        own = place + noisy(20, 0.2, first=5 * place)
        at_s = FIRST_RUN.timestamp() + days * DAY_S
        frames.append(
            pd.DataFrame(
                {"engine_id": f"boat-{place}/port", "at_s": at_s, "own": own, "value": own + step * (at_s >= STEP.at_s)}
            ).assign(withheld=None)
        )
    return with_local_time(pd.concat(frames, ignore_index=True), AUCKLAND)


def test_what_all_did_at_once_stands_alone_whatever_level_each_engine_has() -> None:
    days = season_data.together_days(fleet_rows(3.0))

    assert days["engines"].tolist() == [6] * 20
    assert days["value"].iloc[:10].to_numpy() == pytest.approx(np.zeros(10), abs=0.3)
    assert days["value"].iloc[10:].to_numpy() == pytest.approx(np.full(10, 3.0), abs=0.3)


def test_a_day_on_which_hardly_anyone_ran_says_nothing_of_the_fleet() -> None:
    rows = fleet_rows(0.0)
    few = rows[~((rows["at_s"] > STEP.at_s) & rows["engine_id"].isin([f"boat-{place}/port" for place in range(3)]))]

    assert len(season_data.together_days(few)) == 10


def test_a_withheld_reading_does_not_speak_for_the_fleet() -> None:
    rows = fleet_rows(0.0)
    spoiled = rows.assign(value=rows["value"] + 50, own=rows["own"] + 50)[rows["engine_id"] < "boat-4"]
    found = season_data.together_days(pd.concat([rows, spoiled.assign(withheld="sensor")]))

    assert found["value"].to_numpy() == pytest.approx(season_data.together_days(rows)["value"].to_numpy())


def test_the_stair_of_two_steps_adds_their_sizes_and_their_variances() -> None:
    later = CommonStep("idle_fuel_trim", "hot", STEP.at_s + 5 * DAY_S, -1.0, 5, 6, 4, 0.2)
    line = season_data.together_line(fleet_rows(3.0), (STEP, later), AUCKLAND)

    assert line["value"].tolist() == [0.0, 3.0, 2.0, 2.0]
    half = (line["high"] - line["low"]).to_numpy() / 2
    # 1.959964: the normal law's quantile of a 95 % interval (NIST handbook, table 1.3.6.7.1)
    assert half == pytest.approx(1.959964 * np.hypot([0, 0.1, 0.1, 0.1], [0, 0, 0.2, 0.2]), abs=1e-6)


def test_the_pace_is_told_per_week_and_per_hundred_hours() -> None:
    state = told("shift_reach_error", "forward", 0.2, 1.5, "growing")
    (level,) = season_data.levels([state])

    # 1.3 % in 22 daily runs of 1.5 h
    assert state.moved.per_week == pytest.approx(7 * 1.3 / 22, rel=0.15)
    assert level.per_week == f"{state.moved.per_week:+.2g} %"
    assert level.per_100_hours is not None
    assert level.is_nearing


def test_levels_come_the_most_pressing_first() -> None:
    states = [
        judged(made_series(value + noisy(40, 0.08), engine_id=f"petrel/{name}"))
        for name, value in (("a", 0.1), ("b", 2.4), ("c", 1.3))
    ]

    assert [each.engine_id for each in season_data.levels(states)] == ["petrel/b", "petrel/c", "petrel/a"]


def test_what_happened_is_told_in_order_and_in_words() -> None:
    targets = made_series(noisy(30, 0.08), setting=[90.0] * 18 + [88.5] * 12)
    state = judged(targets)
    notes = [made_note(Kind.SERVICE, 4), made_note(Kind.CLEANED, 12, engine=None)]
    engine = Engine(
        boat_id="petrel",
        id="port",
        label="port",
        serial=None,
        shift_targets=None,
        service=Service(every_hours=100, last_hours=140),
        limits={},
    )
    found = happenings([targets], [state], notes, (STEP,), [engine])

    assert [(each.kind, each.who) for each in found] == [
        ("service", "petrel/port"),
        ("whole fleet", "whole fleet"),
        ("note", "petrel"),
        ("calibration", "petrel/port"),
        ("service", "petrel/port"),
    ]
    said = [each.what for each in found]
    assert said[1] == "5 of 6 engines on 4 boats moved by +3.0 % (+2.8 % to +3.2 %)"
    assert said[3:] == ["target 90.0 to 88.5 % of travel", "service at 140 h"]
    # 140 h is reached with the run of day 27: 100 h + 1.5 h a run
    assert found[4].at == datetime.fromtimestamp(FIRST_RUN.timestamp() + 27 * DAY_S, UTC)


def test_a_step_says_its_interval_and_its_count() -> None:
    assert step_says(STEP).startswith("5 of 6 engines on 4 boats moved by +3.0 %")
    assert TRIM.unit == "%"
