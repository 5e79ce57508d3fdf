"""Faults of the record that only the past shows: each from hand-made runs, and a sound past that must show none."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
from season_maker import DAY_S, FIRST_RUN, made_series, noisy

from pipeline.doubts import with_doubts
from pipeline.history import FloatArray, History, Runs, Series

RUNS = 30
HOURS_A_RUN = 1.5
NOW = datetime(2026, 6, 1, tzinfo=UTC)


def runs(**levels: FloatArray) -> Runs:
    """One run a day, an hour and a half each; the levels given, the counter going on by itself."""
    start_s = FIRST_RUN.timestamp() + DAY_S * np.arange(RUNS)
    first = 400 + HOURS_A_RUN * np.arange(RUNS)
    counter = {"first_hours": first, "last_hours": first + HOURS_A_RUN}
    names = np.asarray([f"run-{place:03}" for place in range(RUNS)], dtype=object)
    return Runs(names, names, start_s, start_s + HOURS_A_RUN * 3600, first, {**counter, **levels})


def told(
    series: dict[str, tuple[Series, ...]] | None = None, **engines: Runs
) -> dict[tuple[str, str], tuple[int, str]]:
    """By engine and channel, in how many runs it is doubted and why."""
    known = {f"petrel/{engine}": each for engine, each in engines.items()}
    given = {engine_id: (series or {}).get(engine_id, ()) for engine_id in known}
    found = with_doubts(History(NOW, given, {}, known)).series
    return {
        (engine_id.partition("/")[2], each.key.facet): (len(each), each.remark or "")
        for engine_id, group in found.items()
        for each in group
        if each.key.indicator == "signal"
    }


def stepped(before: float, after: float, last: int) -> FloatArray:
    """A level that steps for the last runs, with run-to-run noise of 1 %."""
    return np.where(np.arange(RUNS) < RUNS - last, before, after) * (1 + 0.01 * noisy(RUNS, 1.0))


def counter(jump_h: float, last: int) -> dict[str, FloatArray]:
    first = 400 + HOURS_A_RUN * np.arange(RUNS) + np.where(np.arange(RUNS) >= RUNS - last, jump_h, 0.0)
    return {"first_hours": first, "last_hours": first + HOURS_A_RUN}


def thermometers(oil_off_c: FloatArray) -> dict[str, FloatArray]:
    """All three at the night's temperature in the morning, the coolant's 4 °C higher as the log begins late."""
    night_c = 15 + noisy(RUNS, 5.0)
    return {
        "oil_first_c": night_c + oil_off_c,
        "coolant_first_c": night_c + 4,
        "air_first_c": night_c,
    }


def test_a_sound_past_shows_nothing() -> None:
    sound = runs(
        oil_high_c=stepped(85, 85, 1),
        oil_pressure_high_kpa=stepped(470, 470, 1),
        trim_swept_pct=stepped(5, 5, 1),
        **thermometers(np.zeros(RUNS)),
    )

    assert told(port=sound, starboard=runs()) == {}


def test_pounds_per_square_inch_are_told_by_what_was_read_before_on_the_first_morning_and_for_good() -> None:
    # 470 kPa are 68.2 psi (1 psi = 6.894757 kPa, NIST SP 811)
    for last in (1, 8, 15):
        found = told(main=runs(oil_pressure_high_kpa=stepped(470, 68.2, last)))
        assert found[("main", "oil_pressure")][0] == last
        assert found[("main", "oil_pressure")][1].startswith("wrong unit")


def test_a_pressure_that_is_lost_is_no_unit() -> None:
    assert told(main=runs(oil_pressure_high_kpa=stepped(470, 250, 5))) == {}
    assert told(main=runs(oil_pressure_high_kpa=stepped(470, 25, 5))) == {}


def test_degrees_fahrenheit_are_told_and_short_trips_before_a_long_one_are_not() -> None:
    assert ("main", "oil_temp") in told(main=runs(oil_high_c=stepped(85, 185, 2)))
    assert told(main=runs(oil_high_c=stepped(30, 86, 2))) == {}


def test_a_counter_that_jumps_is_a_data_finding_in_that_run_alone() -> None:
    for jump_h in (300.0, -100.0):
        (count, remark) = told(main=runs(**counter(jump_h, 5)))[("main", "engine_hours")]
        assert count == 1
        assert remark.startswith("impossible")


def test_a_thermometer_that_strays_is_told_on_the_second_morning_and_not_on_the_first() -> None:
    once, twice = (np.where(np.arange(RUNS) >= RUNS - count, 18.0, 0.0) for count in (1, 2))

    assert told(main=runs(**thermometers(once))) == {}
    (count, remark) = told(main=runs(**thermometers(twice)))[("main", "oil_temp")]
    assert count == 1
    assert remark.startswith("offset: reads +18")


def test_an_engine_still_warm_from_a_trip_whose_log_was_lost_accuses_no_thermometer() -> None:
    warm = np.where(np.arange(RUNS) >= RUNS - 3, 45.0, 0.0)
    cold = thermometers(warm)

    assert told(main=runs(**{**cold, "coolant_first_c": cold["coolant_first_c"] + warm})) == {}


def test_a_thermometer_that_strays_little_by_little_drifts() -> None:
    (_, remark) = told(main=runs(**thermometers(np.maximum(np.arange(RUNS) - 15, 0) * 1.5)))[("main", "oil_temp")]

    assert remark.startswith("drift")


def test_engines_filed_under_each_other_are_told_by_their_hours_and_a_lone_jump_blames_no_sibling() -> None:
    one, other = counter(0.0, 1)["first_hours"], counter(0.0, 1)["first_hours"] + 40
    place = np.arange(RUNS) >= RUNS - 3
    port, starboard = np.where(place, other, one), np.where(place, one, other)
    hours = [{"first_hours": each, "last_hours": each + HOURS_A_RUN} for each in (port, starboard)]
    found = told(port=runs(**hours[0]), starboard=runs(**hours[1]))
    assert {key: remark.split(":")[0] for key, (_, remark) in found.items()} == {
        ("port", "engine_hours"): "other engine",
        ("starboard", "engine_hours"): "other engine",
    }

    far = {"first_hours": other, "last_hours": other + HOURS_A_RUN}
    alone = told(port=runs(**counter(-100.0, 3)), starboard=runs(**far))
    assert [(key, remark.split(":")[0]) for key, (_, remark) in alone.items()] == [
        (("port", "engine_hours"), "impossible")
    ]


def habits(engine: str, forward_pct: float, neutral_pct: float) -> tuple[Series, ...]:
    return tuple(
        made_series(noisy(RUNS, 0.1), "shift_reach_error", gear, engine_id=f"petrel/{engine}", setting=settled)
        for gear, settled in (("forward", forward_pct), ("neutral", neutral_pct))
    )


def exchange(one: tuple[Series, ...], other: tuple[Series, ...], last: int) -> dict[str, tuple[Series, ...]]:
    """The last runs of each under the other."""

    def mixed(mine: Series, its: Series) -> Series:
        return mine.pick(slice(0, RUNS - last)).joined(its.pick(slice(RUNS - last, None)))

    return {
        "petrel/port": tuple(mixed(mine, its) for mine, its in zip(one, other, strict=True)),
        "petrel/starboard": tuple(mixed(its, mine) for mine, its in zip(one, other, strict=True)),
    }


def uncounted() -> Runs:
    return runs(first_hours=np.full(RUNS, np.nan), last_hours=np.full(RUNS, np.nan))


def test_without_a_counter_engines_are_told_by_where_their_shifts_settle() -> None:
    port, starboard = habits("port", 90.0, 50.0), habits("starboard", 86.0, 53.0)
    found = told(exchange(port, starboard, 3), port=uncounted(), starboard=uncounted())

    assert {key: count for key, (count, _) in found.items()} == {
        ("port", "shift_position"): 3,
        ("starboard", "shift_position"): 3,
    }


def test_many_habits_that_differ_a_little_tell_engines_apart_and_two_do_not() -> None:
    # 0.9 % of travel is three of the least spreads: 2 x 9 is too little, 4 x 9 is enough
    port = habits("port", 90.0, 50.0)
    starboard = habits("starboard", 90.9, 50.9)
    lone = exchange(port, starboard, 3)
    more = {
        engine: tuple(
            made_series(level + noisy(RUNS, 0.1), "idle_integral", gear, engine_id=f"petrel/{engine}")
            for gear in ("forward", "neutral")
        )
        for engine, level in (("port", 0.0), ("starboard", 2.1))
    }
    many = exchange((*port, *more["port"]), (*starboard, *more["starboard"]), 3)

    assert told(lone, port=uncounted(), starboard=uncounted()) == {}
    found = told(many, port=uncounted(), starboard=uncounted())
    assert {key: count for key, (count, _) in found.items()} == {
        ("port", "shift_position"): 3,
        ("starboard", "shift_position"): 3,
    }


def test_a_new_target_on_one_engine_makes_it_no_other_engine() -> None:
    port, starboard = habits("port", 90.0, 50.0), habits("starboard", 86.0, 53.0)
    like_the_other = exchange(port, starboard, 3)["petrel/port"]

    series = {"petrel/port": like_the_other, "petrel/starboard": starboard}
    assert told(series, port=uncounted(), starboard=uncounted()) == {}


def test_what_rests_on_a_doubted_channel_is_withheld_and_the_rest_is_kept() -> None:
    pressure, battery = (
        made_series(100 + noisy(RUNS, 1.0), name, "", engine_id="petrel/main")
        for name in ("oil_pressure_hot", "battery_idle")
    )
    record = runs(oil_pressure_high_kpa=stepped(470, 68.2, 4))
    history = History(NOW, {"petrel/main": (pressure, battery)}, {}, {"petrel/main": record})
    kept = {each.key.indicator: len(each) for each in with_doubts(history).series["petrel/main"]}

    assert kept == {"oil_pressure_hot": RUNS - 4, "battery_idle": RUNS, "signal": 4}
