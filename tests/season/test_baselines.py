"""What a baseline expects as a curve, and then against now in words, from made series with known truth."""

from __future__ import annotations

import numpy as np
import pytest
from season_maker import NOISE, judged, made_series

from pipeline import baselines, needs
from pipeline.states import State
from pipeline.statistics.adjust import adjust


def _slowing(runs: int = 30) -> State:
    """Transits that fall by 2 ms a degree, with hardly any noise, over 10 to 60 C."""
    temp_c = 35 + 25 * np.sin(np.arange(runs) * 1.7)
    values = 0.5 - 0.002 * (temp_c - 35) + 0.002 * NOISE[:runs]
    return judged(made_series(values, "shift_transit_time", temp_c=temp_c))


def test_the_curve_is_what_the_baseline_expects_at_each_temperature() -> None:
    state = _slowing()
    line = baselines.expected_line(state, "temp_c")
    assert line["at"].iloc[[0, -1]].tolist() == pytest.approx(
        [state.moved.series.temp_c.min(), state.moved.series.temp_c.max()]
    )
    assert np.diff(line["expected"]).max() < 0  # colder is slower
    assert ((line["low"] < line["expected"]) & (line["expected"] < line["high"])).all()
    found = state.moved.found
    assert found is not None
    middle = adjust(found.expectation, np.zeros(1), [np.asarray([line["at"][20]])])
    assert line["expected"][20] == pytest.approx(middle.expected[0])


def test_nine_readings_in_ten_of_a_healthy_engine_lie_in_the_band() -> None:
    state = _slowing(60)
    line, series = baselines.expected_line(state, "temp_c"), state.moved.series
    low, high = (np.interp(series.temp_c, line["at"], line[side]) for side in ("low", "high"))
    inside = np.mean((series.value >= low) & (series.value <= high))
    assert 0.8 <= inside <= 1.0


def test_a_covariate_that_was_never_logged_has_no_curve() -> None:
    assert baselines.expected_line(_slowing(), "battery_v").empty
    assert baselines.expected_line(judged(made_series([0.1] * 3)), "temp_c").empty


def test_then_and_now_come_with_their_counts_and_the_change_with_its_error() -> None:
    values = np.concatenate([np.full(12, 0.1), np.full(12, -1.4)]) + 0.02 * NOISE[:24]
    state = judged(made_series(values))
    told = baselines.then_now(state)
    assert told.then.endswith("(12 runs)")
    assert told.now.endswith("(30 shifts in 5 runs)")
    assert float(told.now.split(" ")[0].replace("−", "-")) == pytest.approx(-1.4, abs=0.02)
    change, error = told.change.split(" ± ")
    assert float(change.replace("−", "-")) == pytest.approx(-1.5, abs=0.03)
    assert float(error.removesuffix(" %")) < 0.1
    assert told.since_s < told.baseline_to_s < told.now_from_s


def test_an_engine_that_is_still_learned_says_so() -> None:
    told = baselines.then_now(judged(made_series([0.1, 0.2, 0.1])))
    assert (told.then, told.change) == ("too few runs yet", "not known yet")


def test_a_movement_is_watched_on_the_bad_sides_alone() -> None:
    # one-sided: 50 rpm above its baseline; the header's drift size
    dip = judged(made_series(30 + NOISE[:20], "engagement_dip"))
    (above,) = baselines.watched(dip).watched_from
    assert above - (dip.moved.baseline or 0.0) == pytest.approx(50.0)
    # wanted in the middle: 25 rpm on either side
    error = judged(made_series(NOISE[:20], "idle_speed_error", "neutral"))
    low, high = baselines.watched(error).watched_from
    assert high - low == pytest.approx(50.0)
    assert baselines.watched(judged(made_series([30.0] * 3, "engagement_dip"))).watched_from == ()


def test_levels_are_told_from_one_end_of_the_travel_to_the_other() -> None:
    states = [judged(made_series(0.1 + 0.02 * NOISE[:15], facet=gear)) for gear in ("forward", "neutral", "reverse")]
    said = baselines.levels_say(baselines.of_engine(states, "petrel/port", "shift_reach_error"))
    assert said.index("Reverse:") < said.index("Neutral:") < said.index("Forward:")
    assert said.count("(30 shifts in 5 runs)") == 3
    assert baselines.levels_say(()) == "No level yet: too few runs with a reading."


@pytest.mark.parametrize(
    ("indicator", "held", "expected"),
    [
        ("engagement_dip", ("rpm", "gear"), ("rpm target",)),
        ("engagement_dip", ("rpm", "rpm_target", "shift_target"), ()),
        ("off_idle_lean", ("rpm",), ("lambda", "lambda target")),
        ("idle_integral", ("rpm", "idle_integral"), ("coolant temp or oil temp",)),
        ("an indicator without needs", (), ()),
    ],
)
def test_what_an_indicator_lacks_is_told_by_channel(
    indicator: str, held: tuple[str, ...], expected: tuple[str, ...]
) -> None:
    assert needs.lacking(indicator, held) == expected


def test_an_empty_picture_says_which_channel_no_log_holds_else_what_was_not_seen() -> None:
    assert needs.why_empty("off_idle_lean", ("rpm",), "no lift") == (
        "No log of this engine holds lambda nor lambda target."
    )
    assert needs.why_empty("off_idle_lean", ("rpm", "lambda", "lambda_target"), "no lift") == "no lift"
