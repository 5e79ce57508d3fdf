"""Compared at like temperature and voltage: a cold month is no drift, and voltage explains what it slows."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from season_maker import FIRST_RUN, HOURS_A_RUN, judged, made_series, moved, noisy

from pipeline.catalogue import indicators
from pipeline.season.like_for_like import BASELINE_RUNS, FEWEST_RUNS, like_for_like

SLOPE_V = -0.08  # s per volt: simulated
SLOPE_C = -0.004  # s per °C: simulated


def test_fewer_than_five_runs_make_no_baseline() -> None:
    indicator = indicators()["shift_reach_error"]
    short, enough = (made_series(noisy(size, 0.1)) for size in (FEWEST_RUNS - 1, FEWEST_RUNS))

    assert like_for_like(short, short.value, indicator) is None
    found = like_for_like(enough, enough.value, indicator)
    assert found is not None
    assert found.baseline_n == FEWEST_RUNS


def test_the_baseline_is_that_of_the_first_runs_alone() -> None:
    indicator = indicators()["shift_reach_error"]
    values = np.r_[noisy(BASELINE_RUNS, 0.1), np.full(20, 5.0)]
    found = like_for_like(made_series(values), values, indicator)

    assert found is not None
    assert found.residual[BASELINE_RUNS:] == pytest.approx(5.0, abs=0.1)


def test_an_engine_that_grows_worse_from_its_first_run_is_measured_from_there() -> None:
    # 0.2 % a run over a noise of 0.05 %: twelve runs would make a baseline of 1.1 %, half of the fault within it
    growing = made_series(0.2 * np.arange(14) + noisy(14, 0.05))
    found = judged(growing).moved

    assert found.baseline == pytest.approx(0.4, abs=0.1)
    assert (found.pattern, found.baseline_n) == ("growing", FEWEST_RUNS)
    assert found.since is not None
    assert found.since - FIRST_RUN <= timedelta(days=3)
    assert found.per_100_hours == pytest.approx(100 * 0.2 / HOURS_A_RUN, rel=0.05)


def test_a_baseline_is_cut_short_for_growth_alone() -> None:
    quiet, wild = 1.4 + noisy(14, 0.05), noisy(14, 0.6, first=20)
    # as steady a climb, but of a tenth of what is watched: nothing that a technician would be told
    slight = 0.008 * np.arange(14) + noisy(14, 0.002)
    founds = [moved(made_series(values)) for values in (quiet, wild, slight)]

    assert [found.baseline_n for found in founds] == [BASELINE_RUNS] * 3
    assert "growing" not in {found.pattern for found in founds}


def test_chance_cuts_few_baselines_short() -> None:
    # at one in a thousand by chance, more than six of a thousand come once in ten thousand (Poisson, mean 1)
    rng = np.random.default_rng(5)
    found = [moved(made_series(rng.normal(0.0, 0.6, 20))).baseline_n for _ in range(1000)]

    assert found.count(FEWEST_RUNS) <= 6


def test_a_cold_month_is_no_drift() -> None:
    temp_c = 66 + noisy(50, 8.0)
    temp_c[25:] -= 18
    transit = 0.5 + SLOPE_C * (temp_c - 66) + noisy(50, 0.01, first=7)
    here = judged(made_series(transit, "shift_transit_time", temp_c=temp_c, battery_v=12.9))
    blind = judged(made_series(transit, "shift_transit_time"))

    assert not here.has_moved
    assert abs(here.moved.shift or 0.0) < 0.03
    # what temperature explains is 18 x 0.004 = 0.072 s, which a comparison without it takes for the actuator's
    assert blind.moved.shift == pytest.approx(0.072, abs=0.02)


def test_voltage_explains_slow_transits() -> None:
    battery_v = 12.8 + noisy(50, 0.25)
    battery_v[25:] -= 1.6
    transit = 0.5 + SLOPE_V * (battery_v - 12.8) + noisy(50, 0.01, first=7)
    here = judged(made_series(transit, "shift_transit_time", temp_c=66.0, battery_v=battery_v))
    blind = judged(made_series(transit, "shift_transit_time"))

    assert blind.has_moved
    assert not here.has_moved


def test_an_actuator_that_is_slower_at_like_voltage_is_found_beside_a_weak_battery() -> None:
    battery_v = 12.8 + noisy(50, 0.25)
    battery_v[25:] -= 0.8
    worn = np.where(np.arange(50) >= 25, 0.25, 0.0)
    transit = 0.5 + SLOPE_V * (battery_v - 12.8) + worn + noisy(50, 0.01, first=7)
    here = judged(made_series(transit, "shift_transit_time", temp_c=66.0, battery_v=battery_v))

    assert here.has_moved
    assert here.moved.shift == pytest.approx(0.25, abs=0.06)


def test_a_level_far_from_the_temperatures_of_the_baseline_is_less_sure() -> None:
    # all baseline runs at one temperature: the slope is the header's prior alone, which may be off
    temp_c = np.r_[np.full(25, 66.0), np.full(25, 40.0)]
    near = moved(made_series(0.5 + noisy(50, 0.01), "shift_transit_time", temp_c=66.0, battery_v=12.9))
    far = moved(made_series(0.5 + noisy(50, 0.01), "shift_transit_time", temp_c=temp_c, battery_v=12.9))

    assert near.shift_error is not None
    assert far.shift_error is not None
    # prior sd 0.002 s per °C x 26 °C = 0.052 s, against a hundredth without it
    assert far.shift_error > 0.05 > 5 * near.shift_error / 2


def test_a_covariate_that_was_never_logged_is_left_out() -> None:
    found = moved(made_series(0.5 + noisy(30, 0.01), "shift_transit_time", temp_c=66.0)).found

    assert found is not None
    assert found.expectation.slopes.size == 1
