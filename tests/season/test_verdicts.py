"""Findings: every field of the contract filled or honestly None, from diagnoses, gaps and the fleet's steps."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from season_maker import DAY_S, FIRST_RUN, judged, made_series, noisy, told

from pipeline import verdicts
from pipeline.catalogue import indicators
from pipeline.diagnosis import Diagnosis, diagnose
from pipeline.diagnosis import Engine as Patient
from pipeline.evidence import Gap
from pipeline.findings import Finding, as_json
from pipeline.history import EngineRecord, History, Runs
from pipeline.occurrences import Occurrence
from pipeline.register import Engine
from pipeline.season.together import CommonStep
from pipeline.states import State

PORT = Engine(id="port", boat_id="petrel", label="port", serial=None, shift_targets=None, service=None, limits={})

# The fields of a finding in the contract's example of `check --json`, in its order.
CONTRACT = (
    *("engine", "indicator", "facet", "status", "value", "unit", "watch", "hold", "baseline", "pattern", "since"),
    *("per_100_hours", "hours_to_hold", "hours_to_hold_low", "hours_to_hold_high", "confidence", "cause", "says", "do"),
    "evidence",
)


def history(runs: int = 40) -> History:
    start_s = FIRST_RUN.timestamp() + DAY_S * np.arange(runs)
    logs = np.asarray([f"petrel/2026-{place:03}.csv" for place in range(runs)], dtype=object)
    names = np.asarray([f"run-{place:03}" for place in range(runs)], dtype=object)
    record = Runs(names, logs, start_s, start_s + 3600, 100 + 1.5 * np.arange(runs))
    return History(FIRST_RUN + timedelta(days=runs), {}, {}, {"petrel/port": record})


def only(states: list[State], occurrences: tuple[Occurrence, ...] = ()) -> Diagnosis:
    (diagnosis,) = diagnose(Patient(states, occurrences, ()))
    return diagnosis


def finding(states: list[State], occurrences: tuple[Occurrence, ...] = ()) -> Finding:
    return verdicts.from_diagnosis(PORT, only(states, occurrences), history())


def reach(shape: str, forward: float) -> list[State]:
    others = [told("shift_reach_error", gear, 0.0, 0.0, "constant") for gear in ("reverse", "neutral")]
    return [*others, told("shift_reach_error", "forward", 0.0, forward, shape)]


def test_a_finding_has_every_field_of_the_contract_and_the_evidence_its_own() -> None:
    given = as_json(finding(reach("growing", -1.7)))

    assert [key for key in CONTRACT if key not in given] == []
    assert set(given["evidence"]) == {"n", "runs", "logs"}


def test_growth_towards_the_hold_limit_fills_every_number() -> None:
    given = as_json(finding(reach("growing", -1.7)))

    assert (given["engine"], given["indicator"], given["facet"]) == ("port", "shift_reach_error", "forward")
    assert (given["status"], given["pattern"], given["cause"]) == ("watch", "growing", "end_stop_wear")
    assert (given["watch"], given["hold"], given["unit"]) == (1.0, 2.0, "% of travel")
    assert given["value"] == pytest.approx(-1.7, abs=0.15)
    assert given["baseline"] == pytest.approx(0.0, abs=0.1)
    assert given["since"].startswith("2026-03")
    # -1.7 in 22 runs of 1.5 h: -5.2 per 100 h; the limit of 2.0 is 0.3 further on, if it goes on as it did
    assert given["per_100_hours"] == pytest.approx(-5.2, rel=0.15)
    assert 0 < given["hours_to_hold"] < 20
    assert given["hours_to_hold_low"] <= given["hours_to_hold"]
    assert given["hours_to_hold_high"] is None or given["hours_to_hold_high"] >= given["hours_to_hold"]
    assert 0 < given["confidence"] <= 1
    assert given["says"].startswith("Wear at one gear's end.")
    assert "Do not move the target" in given["do"]


def test_the_evidence_names_the_runs_of_the_level_and_their_logs() -> None:
    evidence = finding(reach("growing", -1.7)).evidence

    # the level of one gear rests on the last five runs of six shifts
    assert (evidence.n, evidence.runs) == (30, 5)
    assert evidence.logs == tuple(f"petrel/2026-{place:03}.csv" for place in range(35, 40))


def test_at_the_hold_limit_no_hours_are_left() -> None:
    given = as_json(finding(reach("growing", -2.6)))

    assert given["status"] == "hold"
    assert [given[f"hours_to_hold{end}"] for end in ("", "_low", "_high")] == [0, 0, 0]


def test_what_does_not_grow_has_no_pace_and_no_hours() -> None:
    given = as_json(finding(reach("constant", -1.4)))

    assert (given["pattern"], given["cause"]) == ("constant", "unit_mismatch")
    assert [given[key] for key in ("per_100_hours", "hours_to_hold", "days_to_hold")] == [None, None, None]


def test_a_limit_that_nobody_set_is_none_and_so_are_the_hours_to_it() -> None:
    given = as_json(finding([told("shift_transit_time", "forward", 0.5, 0.8, "growing")]))

    assert given["cause"] == "actuator_wear"
    assert [given[key] for key in ("watch", "hold", "hours_to_hold")] == [None, None, None]
    assert given["baseline"] == pytest.approx(0.5, abs=0.05)


def test_an_engine_with_few_runs_says_new_and_claims_no_baseline() -> None:
    given = as_json(finding([judged(made_series(-1.6 + noisy(4, 0.08)))]))

    assert (given["pattern"], given["baseline"], given["since"]) == ("new", None, None)
    assert given["status"] == "watch"


def test_a_cause_is_less_sure_on_fewer_runs() -> None:
    values = noisy(32, 0.08)
    values[-1] = -2.3
    one = judged(made_series(values, setting=90.0))
    five = told("shift_reach_error", "forward", 0.0, -1.7, "step", setting=90.0)

    assert (one.runs, five.runs) == (1, 5)
    # one run of the four that would be full evidence: 0.7 + 0.3 / 4 of the rule's own certainty
    assert finding([one]).confidence == pytest.approx(only([one]).certainty * 0.775, abs=0.006)
    assert finding([five]).confidence == pytest.approx(only([five]).certainty, abs=0.006)


def test_a_stall_is_counted_and_held() -> None:
    series = made_series(np.r_[np.zeros(5), 2.0], "stall", "forward")
    at = datetime.fromtimestamp(float(series.at_s[-1]), UTC)
    stall = Occurrence(series, indicators()["stall"], 2.0, ("run-005",), at, 1, None)
    given = as_json(finding([], (stall,)))

    assert (given["status"], given["cause"], given["indicator"], given["facet"]) == (
        "hold", "idle_margin", "stall", "forward",
    )  # fmt: skip
    assert (given["value"], given["hold"], given["evidence"]["n"]) == (2.0, 1.0, 2)
    assert given["evidence"]["logs"] == ["petrel/2026-005.csv"]
    assert "2 stalls in forward" in given["says"]


def test_a_gap_is_unchecked_with_its_age_and_no_cause() -> None:
    last = FIRST_RUN
    record = EngineRecord("petrel/port", last, 3, ("rpm",), 3, last, 12.0)
    old = as_json(verdicts.from_gap(PORT, Gap("petrel/port", "age", 8.0, record), 3.0))
    unseen = as_json(verdicts.from_gap(PORT, Gap("petrel/port", "shift reverse", 1.0, record), 3.0))
    never = as_json(verdicts.from_gap(PORT, Gap("petrel/port", "age", None, None), 3.0))

    assert [each["status"] for each in (old, unseen, never)] == ["unchecked"] * 3
    assert (old["value"], old["unit"], old["cause"]) == (8.0, "days", None)
    assert (unseen["value"], never["value"]) == (None, None)
    assert "8.0 days old" in old["says"]
    assert "a shift into reverse" in unseen["says"]
    assert never["says"] == "No log of this engine has ever been read."


def step(indicator: str, facet: str, day: int, size: float) -> CommonStep:
    return CommonStep(indicator, facet, FIRST_RUN.timestamp() + day * DAY_S, size, 11, 12, 6, 0.1)


def test_a_step_of_the_fleet_is_told_once_without_boat_and_engine() -> None:
    steps = [step("idle_fuel_trim", "cold", 30, 2.4), step("idle_fuel_trim", "hot", 31, 3.1)]
    (found,) = verdicts.fleet_findings(steps, history())
    given = as_json(found, fleet_wide=True)

    assert (given["cause"], given["pattern"], given["status"]) == ("fuel_delivery", "step", "watch")
    assert given["engines"] == 11
    assert "engine" not in given
    assert (given["value"], given["since"]) == (3.1, (FIRST_RUN + timedelta(days=30)).date().isoformat())
    assert [key for key in CONTRACT if key not in given and key != "engine"] == []


def test_days_are_those_of_the_fleet_wherever_it_is() -> None:
    # runs at 22:00 UTC are at 11:00 of the next day in Auckland, UTC+13 up to 5 April 2026, then UTC+12 (tz database)
    auckland, later_s = ZoneInfo("Pacific/Auckland"), 14 * 3600
    series = made_series(0.2 + 1.5 * (np.arange(40) >= 24) + noisy(40, 0.08))
    given = as_json(finding([judged(replace(series, zone=auckland, at_s=series.at_s + later_s))]))
    common = step("idle_fuel_trim", "hot", 30, 3.1)
    common = replace(common, zone=auckland, at_s=common.at_s + later_s)

    assert given["since"] == "2026-03-27"
    assert given["latest_at"] == "2026-04-11T10:00:00+12:00"
    assert "27 Mar" in given["says"]
    assert as_json(verdicts.fleet_findings([common], history())[0], fleet_wide=True)["since"] == "2026-04-02"


def test_weather_is_what_moves_a_fleet_in_something_else_than_fuelling() -> None:
    (found,) = verdicts.fleet_findings([step("idle_integral", "neutral", 30, -2.0)], history())

    assert found.cause == "weather"


def test_an_old_step_of_the_fleet_is_history_and_distant_ones_are_two() -> None:
    steps = [step("idle_fuel_trim", "hot", day, 3.0) for day in (2, 20, 38)]

    assert [found.since for found in verdicts.fleet_findings(steps, history())] == [
        FIRST_RUN + timedelta(days=20),
        FIRST_RUN + timedelta(days=38),
    ]
