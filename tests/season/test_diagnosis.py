"""Each cause from a hand-made set of states: what the trade would conclude, and what it must not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime

import numpy as np
import pytest
from season_maker import judged, made_series, noisy, told

from pipeline.catalogue import Limits, indicators
from pipeline.causes import CAUSES
from pipeline.diagnosis import Diagnosis, Engine, diagnose
from pipeline.occurrences import Occurrence
from pipeline.states import State

GEARS = ("reverse", "neutral", "forward")
TARGETS = {"reverse": 12.0, "neutral": 50.0, "forward": 90.0}
LOW_FORWARD = {"reverse": 90.0, "neutral": 50.0, "forward": 12.0}


def reach(shape: str, *, targets: dict[str, float] = TARGETS, **off: float) -> list[State]:
    """Reach errors of three gears: 0 at first, then `off`."""
    return [told("shift_reach_error", gear, 0.0, off.get(gear, 0.0), shape, setting=targets[gear]) for gear in GEARS]


def integrals(**off: float) -> list[State]:
    """Idle integrals of three gears in the middle of their bands, then `off` away from there."""
    middle = {"neutral": -1.5, "forward": 1.5, "reverse": 1.5}
    return [
        told("idle_integral", gear, middle[gear], middle[gear] + off.get(gear, 0.0), "growing", temp_c=66.0)
        for gear in GEARS
    ]


def trim(change: float, engine_id: str = "petrel/port") -> State:
    return told("idle_fuel_trim", "hot", 0.5, 0.5 + change, "growing", temp_c=66.0, engine_id=engine_id)


def re_set(indicator: str, gear: str, after: float, target: tuple[float, float]) -> State:
    """A reading that stepped with its setting and stands beyond its limit since."""
    values = np.r_[noisy(24, 0.08), after + noisy(16, 0.08)]
    return judged(made_series(values, indicator, gear, setting=np.r_[np.full(24, target[0]), np.full(16, target[1])]))


def slowed(*, battery_v: object = 12.9, temp_c: object = 66.0, more: float = 0.0, **slope: float) -> list[State]:
    """Transits that follow voltage (s/V) or temperature (s/°C), and are slower by `more` in the second half."""
    volts = np.broadcast_to(np.asarray(battery_v, dtype=float), (50,))
    degrees = np.broadcast_to(np.asarray(temp_c, dtype=float), (50,))
    values = 0.5 + slope.get("per_v", 0.0) * (volts - 12.9) + slope.get("per_c", 0.0) * (degrees - 66)
    values = values + np.where(np.arange(50) >= 25, more, 0.0) + noisy(50, 0.01, first=7)
    return [judged(made_series(values, "shift_transit_time", "forward", temp_c=degrees, battery_v=volts))]


WEAK_V = np.r_[12.9 + noisy(25, 0.25), 11.3 + noisy(25, 0.25, first=25)]
COLD_C = np.r_[66 + noisy(25, 8.0), 26 + noisy(25, 4.0, first=25)]


def happened(indicator: str, facet: str, count: float, remark: str | None = None) -> Occurrence:
    series = made_series([count], indicator, facet)
    at = datetime.fromtimestamp(float(series.at_s[0]), UTC)
    return Occurrence(series, indicators()[indicator], count, ("run-000",), at, 0, remark)


def found(
    states: Sequence[State], occurrences: Sequence[Occurrence] = (), siblings: Sequence[State] = ()
) -> list[Diagnosis]:
    return list(diagnose(Engine(states, occurrences, siblings)))


def battery(after: float) -> list[State]:
    values = np.r_[13.0 + noisy(24, 0.08), after + noisy(16, 0.08)]
    return [judged(made_series(values, "battery_idle", ""), limits=Limits(watch=12.6, hold=12.0))]


Case = Callable[[], list[Diagnosis]]

CASES: dict[str, Case] = {
    "end_stop_wear": lambda: found(reach("growing", forward=-1.8)),
    "lost_travel": lambda: found(reach("growing", reverse=1.6, forward=-1.7)),
    "sensor_mounting": lambda: found(reach("step", reverse=1.6, neutral=1.5, forward=1.6)),
    "unit_mismatch": lambda: found(reach("constant", forward=-1.4)),
    "linkage_play": lambda: found([told("shift_scatter", gear, 0.15, 0.9) for gear in GEARS]),
    "calibration_change": lambda: found([re_set("shift_reach_error", "forward", -1.6, (90.0, 92.0))]),
    "sensor_fault": lambda: found([], [happened("signal", "shift_position", 1.0, "flat")]),
    "wrong_unit": lambda: found([], [happened("signal", "oil_temp", 1.0, "wrong unit: ordinary in degF")]),
    "swapped_channels": lambda: found([], [happened("signal", "shift_position", 1.0, "swapped: in 6 of 6 shifts")]),
    "swapped_engines": lambda: found([], [happened("signal", "engine_hours", 1.0, "other engine: its hours")]),
    "actuator_wear": lambda: found(slowed(more=0.3)),
    "weak_battery": lambda: found(battery(12.3)),
    "cold_grease": lambda: found(slowed(temp_c=COLD_C, per_c=-0.006)),
    "dog_contact": lambda: found([told("shift_hesitation", "forward", 0.02, 0.6)]),
    "throttle_body": lambda: found(integrals(reverse=8.0, neutral=8.0, forward=8.0)),
    "air_leak": lambda: found([*integrals(reverse=-9.0, neutral=-9.0, forward=-9.0), trim(6.0)]),
    "propeller_load": lambda: found(integrals(reverse=8.0, forward=8.5)),
    "temperature_axis": lambda: found([told("idle_integral_slope", "neutral", 0.1, -0.9)]),
    "engagement_load": lambda: found([told("engagement_dip", "forward", 60.0, 150.0)]),
    "idle_margin": lambda: found([], [happened("stall", "forward", 1.0)]),
    "fuel_supply": lambda: found([trim(7.0)], siblings=[trim(0.0, "petrel/starboard")]),
    "fuel_delivery": lambda: found([trim(7.0)], siblings=[trim(6.5, "petrel/starboard")]),
    "cooling": lambda: found([told("coolant_hot", "", 68.0, 82.0)]),
    "lubrication": lambda: found([told("oil_pressure_hot", "", 250.0, 170.0, temp_c=66.0)]),
    "unknown": lambda: found([told("off_idle_lean", "", 0.02, 0.12)]),
}


@pytest.mark.parametrize("cause", CASES)
def test_the_cause_is_found_alone(cause: str) -> None:
    causes = [each.cause for each in CASES[cause]()]

    assert causes == [cause]


def test_every_cause_on_the_list_is_found_here_or_across_the_fleet() -> None:
    assert set(CAUSES) - set(CASES) == {"weather"}


def test_the_list_holds_the_words_of_the_contract_and_a_few_documented_ones_of_ours() -> None:
    contract = (
        "end_stop_wear lost_travel sensor_mounting sensor_fault linkage_play unit_mismatch actuator_wear weak_battery "
        "cold_grease dog_contact throttle_body air_leak propeller_load temperature_axis engagement_load idle_margin "
        "fuel_supply fuel_delivery weather calibration_change wrong_unit unknown"
    )

    assert set(CAUSES) - set(contract.split()) == {"cooling", "lubrication", "swapped_channels", "swapped_engines"}
    assert set(contract.split()) - set(CAUSES) == set()
    assert all(each.title and each.shows and each.do for each in CAUSES.values())


def test_a_healthy_engine_has_no_diagnosis() -> None:
    quiet = [*reach("constant"), *integrals(), trim(0.0), told("shift_scatter", "forward", 0.15, 0.15, "constant")]

    assert found(quiet) == []


def test_lost_travel_is_told_where_forward_lies_at_the_low_end() -> None:
    short = found(reach("growing", targets=LOW_FORWARD, reverse=-1.7, forward=1.6))
    assert [each.cause for each in short] == ["lost_travel"]

    # beyond both targets is no lost travel, whichever end is forward
    for targets, sign in ((TARGETS, 1), (LOW_FORWARD, -1)):
        far = found(reach("growing", targets=targets, reverse=-1.7 * sign, forward=1.6 * sign))
        assert "lost_travel" not in [each.cause for each in far]


def test_an_error_that_was_there_from_the_start_and_one_that_grows_are_two_things() -> None:
    grown = found(reach("growing", forward=-1.8))[0]
    fixed = found(reach("constant", forward=-1.8))[0]

    assert (grown.cause, fixed.cause) == ("end_stop_wear", "unit_mismatch")
    assert CAUSES[fixed.cause].runs_engine


def test_voltage_takes_the_blame_for_the_slow_transits_that_it_explains() -> None:
    (diagnosis,) = found([*slowed(battery_v=WEAK_V, per_v=-0.12), *battery(12.3)])

    assert diagnosis.cause == "weak_battery"
    assert diagnosis.rather_than == "actuator_wear"
    assert any("voltage explains" in said for said in diagnosis.because)


def test_a_worn_actuator_is_not_excused_by_a_weak_battery() -> None:
    causes = [each.cause for each in found([*slowed(battery_v=12.9, more=0.3), *battery(12.3)])]

    assert causes == ["weak_battery", "actuator_wear"]


def test_a_faulty_sensor_makes_no_older_finding_lighter() -> None:
    """What rested on the sensor in the faulty runs was withheld before, so what still stands rests on sound ones."""
    sensor, worn = found(reach("growing", forward=-2.5), [happened("signal", "shift_position", 0.4, "spiking")])

    assert (sensor.cause, sensor.status, sensor.symptoms) == ("sensor_fault", "watch", ())
    assert (worn.cause, worn.status) == ("end_stop_wear", "hold")


def test_an_air_leak_without_a_trim_is_less_sure() -> None:
    falling = integrals(reverse=-9.0, neutral=-9.0, forward=-9.0)
    alone, seen = found(falling)[0], found([*falling, trim(6.0)])[0]

    assert alone.cause == seen.cause == "air_leak"
    assert alone.certainty < seen.certainty


def test_one_gear_alone_accuses_no_sensor_mounting() -> None:
    (diagnosis,) = found([told("shift_reach_error", "forward", 0.0, -1.6, "step", setting=90.0)])

    assert diagnosis.cause == "end_stop_wear"


def test_cold_is_not_blamed_for_what_voltage_explains() -> None:
    causes = [each.cause for each in found(slowed(battery_v=WEAK_V, temp_c=66.0, per_v=-0.12))]

    assert causes == ["weak_battery"]


def test_a_stall_holds_whatever_else_stands() -> None:
    diagnosis = CASES["idle_margin"]()[0]

    assert diagnosis.status == "hold"


def test_a_troubled_engine_has_each_cause_and_each_symptom_once() -> None:
    states = [
        *reach("growing", reverse=1.6, forward=-2.4),
        *integrals(reverse=8.0, neutral=8.0, forward=8.0),
        *slowed(more=0.3),
        *battery(11.9),
        trim(7.0),
        told("shift_scatter", "forward", 0.15, 0.9),
        told("coolant_hot", "", 68.0, 82.0),
        told("off_idle_lean", "", 0.02, 0.12),
    ]
    diagnoses = found(states, [happened("stall", "forward", 1.0)])
    causes = [each.cause for each in diagnoses]
    explained = [state.key for each in diagnoses for state in each.symptoms]

    assert len(causes) == len(set(causes))
    assert len(explained) == len(set(explained))
    unsaid = {state.key.indicator for state in states if state.status != "ready" and state.key not in explained}
    # the spread of a gear that drifts is the drift's, which has its own finding
    assert unsaid == {"shift_scatter"}


def test_certainties_are_shares_and_each_says_why() -> None:
    for cause, case in CASES.items():
        for diagnosis in case():
            assert 0.0 < diagnosis.certainty < 1.0, cause
            assert diagnosis.cause in CAUSES
            assert diagnosis.rather_than is None or diagnosis.rather_than in CAUSES
            assert diagnosis.rather_than != diagnosis.cause


@pytest.mark.parametrize(
    ("beside", "cause", "rather"),
    [
        ([trim(2.4)], "fuel_supply", "air_leak"),
        ([trim(2.4), *integrals(reverse=-2.5, neutral=-2.5, forward=-2.5)], "air_leak", "fuel_supply"),
        ([trim(0.0)], "unknown", None),
        ([], "unknown", None),
    ],
)
def test_a_lean_swing_is_named_by_what_has_begun_to_move_beside_it(
    beside: list[State], cause: str, rather: str | None
) -> None:
    (only,) = found([told("off_idle_lean", "", 0.02, 0.12, "growing"), *beside])

    assert (only.cause, only.rather_than, only.symptoms[0].key.indicator) == (cause, rather, "off_idle_lean")


def test_a_hot_engine_is_held_against_its_sibling_in_the_same_water() -> None:
    hot = told("coolant_hot", "", 68.0, 82.0)
    together, alone = (
        found([hot], siblings=[told("coolant_hot", "", 68.0, after, engine_id="petrel/starboard")])[0]
        for after in (81.0, 68.0)
    )

    assert together.because == (
        "the other engine of this boat moved with it: look first at how hard and how warm both ran",
    )
    assert alone.because == ("the other engine of this boat did not move with it",)
    assert (together.cause, alone.cause) == ("cooling", "cooling")
