"""What one engine did: its pattern, since when, how fast; and which runs make the level now."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from season_maker import FIRST_RUN, HOURS_A_RUN, judged, made_note, made_series, moved, noisy, told

from pipeline.logbook import Kind
from pipeline.season.monitoring import NOW_RUNS
from pipeline.season.movement import crossing, newest
from pipeline.states import signed_badness


def test_few_runs_are_new_and_nothing_is_said_of_movement() -> None:
    found = moved(made_series(noisy(4, 0.1)))

    assert (found.pattern, found.shift, found.baseline, found.is_learning) == ("new", None, None, True)


def test_a_quiet_engine_is_constant() -> None:
    state = judged(made_series(0.2 + noisy(40, 0.08)))

    assert (state.status, state.moved.pattern, state.moved.reason) == ("ready", "constant", "commissioning")
    assert state.moved.shift == pytest.approx(0.0, abs=0.15)
    assert not state.moved.is_signalled


def test_a_mismatch_from_the_first_day_on_is_constant_and_stands_at_its_limit() -> None:
    state = told("shift_reach_error", "forward", 0.0, 1.4, "constant")

    assert (state.status, state.moved.pattern, state.is_beyond_limit) == ("watch", "constant", True)
    assert not state.has_moved


def test_growth_is_named_with_its_beginning_and_its_pace() -> None:
    # grows from run 15 on, 1.6 in 22 runs of 1.5 h: 1.6 / 33 h = 4.85 per 100 h; 1.6 / 22 days = 0.51 a week
    state = told("shift_reach_error", "forward", 0.2, 1.8, "growing")
    found = state.moved

    assert (state.status, found.pattern) == ("watch", "growing")
    assert found.since is not None
    assert abs(found.since - FIRST_RUN - timedelta(days=15)) <= timedelta(days=4)
    assert found.per_100_hours == pytest.approx(100 * 1.6 / (22 * HOURS_A_RUN), rel=0.15)
    assert found.per_week == pytest.approx(7 * 1.6 / 22, rel=0.15)


def test_a_step_is_named_with_its_day() -> None:
    state = told("shift_reach_error", "forward", 0.2, 1.5, "step")
    found = state.moved

    assert (state.status, found.pattern, found.per_100_hours) == ("watch", "step", None)
    assert found.since == FIRST_RUN + timedelta(days=24)
    assert found.shift == pytest.approx(1.3, abs=0.15)


def test_a_step_is_told_the_morning_after() -> None:
    values = 0.2 + noisy(31, 0.08)
    values[-1] = 2.3
    state = judged(made_series(values))

    assert (state.status, state.value) == ("hold", pytest.approx(2.3))


def test_readings_that_scatter_more_than_they_did_are_scattered() -> None:
    values = np.r_[noisy(14, 0.08), np.tile([1.0, -1.2, 0.1, -0.9, 1.1, -0.2, 0.8, -1.0], 4)]
    found = moved(made_series(values))

    assert found.pattern == "scattered"


def test_an_improvement_starts_anew() -> None:
    # the integral stood 8 beyond its band and was brought back
    values = np.r_[11 + noisy(20, 0.3), 1.5 + noisy(8, 0.3)]
    state = judged(made_series(values, "idle_integral", "forward", temp_c=66.0))

    assert (state.moved.reason, state.moved.epoch.start, state.status) == ("improvement", 20, "ready")
    assert state.moved.started_at == FIRST_RUN + timedelta(days=20)


def test_an_improvement_is_the_baseline_for_what_comes_after_it() -> None:
    # bad from commissioning on, put right, and then worse again by what is watched (4 %) yet short of the limit
    values = np.r_[11 + noisy(20, 0.3), 1.5 + noisy(16, 0.3), 7.0 + noisy(10, 0.3)]
    state = judged(made_series(values, "idle_integral", "forward", temp_c=66.0))

    assert (state.status, state.has_moved, state.is_beyond_limit) == ("watch", True, False)
    assert state.moved.shift == pytest.approx(5.5, abs=0.4)


def test_drift_towards_what_is_wanted_is_no_finding() -> None:
    towards = judged(made_series(1.4 - 0.03 * np.arange(40) + noisy(40, 0.08)))
    assert not towards.has_moved


def test_a_re_set_target_and_a_note_give_the_reason_of_the_epoch() -> None:
    values = np.r_[1.5 + noisy(20, 0.08), noisy(12, 0.08)]
    target = np.r_[np.full(20, 90.0), np.full(12, 88.5)]

    assert judged(made_series(values, setting=target)).moved.reason == "calibration"
    assert judged(made_series(values), [made_note(Kind.REPLACED, day=19)]).moved.reason == "note"


# newest(): readings before, readings last, samples in each, and how many make the level.
@pytest.mark.parametrize(
    ("last", "n", "expected"),
    [
        ([0.0], 6, NOW_RUNS),
        ([0.9], 6, NOW_RUNS),  # nine spreads: one run by itself needs ten
        ([1.1], 6, 1),
        ([1.1], 2, NOW_RUNS),  # too few samples in it
        ([1.1, 0.0], 6, NOW_RUNS),  # one odd run decides nothing
        ([0.7, 0.8], 6, 2),
        ([0.7, -0.8], 6, NOW_RUNS),  # not the same way
        ([0.7, 0.8, 0.7], 6, 2),  # two are enough to stand out, so a second jump is not hidden behind a first
        ([0.7, 0.8, 2.0], 6, 1),
        ([0.7, 0.8, 0.7, 0.8, 0.7], 6, 3),  # the five before the last three are still mostly old
        ([0.7, 0.8, 0.7, 0.8, 0.7, 0.8, 0.7, 0.8], 6, NOW_RUNS),
        ([0.5, 0.5], 6, NOW_RUNS),  # five spreads: two runs need six
    ],
)
def test_the_level_now_is_made_of_the_last_five_runs_or_of_those_after_a_jump(
    last: list[float], n: float, expected: int
) -> None:
    values = np.r_[np.zeros(20), last]
    found = newest(values, np.full(values.size, float(n)), scale=0.1, minimum_n=3)

    assert (found.stop - found.start, found.stop) == (expected, values.size)


def test_a_short_series_is_its_own_level() -> None:
    assert newest(np.zeros(3), np.full(3, 6.0), 0.1, 3) == slice(0, 3)


def test_a_jump_that_is_not_known_from_noise_is_none() -> None:
    values = np.r_[np.zeros(20), 50.0]

    assert newest(values, np.full(21, 6.0), math.inf, 3) == slice(16, 21)


def test_growth_reaches_the_limit_when_its_line_says() -> None:
    state = told("shift_reach_error", "forward", 0.2, 1.5, "growing")
    signed, limit = signed_badness(state)
    ahead = crossing(state.moved, limit, signed)

    assert ahead is not None
    # The line of the truth, 0.2 + 1.3 (run - 15) / 22 but level from run 37 on, meets 2.0 at run 45.5.
    assert ahead.at == pytest.approx(100 + HOURS_A_RUN * 45.5, abs=8)
    assert ahead.interval.low is not None
    assert ahead.interval.low < (ahead.at or 0.0)


def test_what_does_not_grow_reaches_no_limit() -> None:
    state = told("shift_reach_error", "forward", 0.2, 1.5, "step")

    assert crossing(state.moved, *reversed(signed_badness(state))) is None


def test_more_of_the_same_readings_changes_no_verdict() -> None:
    series = made_series(0.2 + noisy(40, 0.08))
    shifted = replace(series, at_s=series.at_s + 1e6, hours=series.hours + 500)

    assert judged(series).value == judged(shifted).value
    assert judged(series).moved.shift == judged(shifted).moved.shift
