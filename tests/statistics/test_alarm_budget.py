"""The false-alarm budget: its arithmetic, and limits for estimated baselines held against simulation."""

import numpy as np
import pytest
from scipy.signal import lfilter

from pipeline.statistics.alarm_budget import (
    allowance,
    cusum_for_budget,
    expected_false_alarms,
    false_alarm_rate,
    run_for_budget,
)
from pipeline.statistics.run_length import cusum_limit, two_sided_cusum_arl


def simulated_rate(x: np.ndarray, k: float, h: float) -> float:
    """Alarms a reading of two-sided CUSUMs over the rows of x, put back to zero after each alarm."""
    up, down, alarms = np.zeros(len(x)), np.zeros(len(x)), 0
    for column in x.T:
        up, down = np.maximum(0, up + column - k), np.maximum(0, down - column - k)
        beyond = (up > h) | (down > h)
        alarms += int(beyond.sum())
        up[beyond] = down[beyond] = 0
    return alarms / x.size


def test_a_season_of_twelve_engines_at_k_half_h_five_has_about_twenty_false_alarms() -> None:
    # 12 engines x 8 indicators x 100 engine-days / 465.4 = 20.6.
    assert expected_false_alarms(12 * 8 * 100, two_sided_cusum_arl(0.5, 5)) == pytest.approx(20.6, abs=0.05)


def test_the_run_for_a_budget_spends_just_that_budget() -> None:
    assert expected_false_alarms(9600, run_for_budget(9600, 2)) == pytest.approx(2)
    with pytest.raises(ValueError, match="positive"):
        run_for_budget(9600, 0)


def test_a_baseline_of_endless_readings_is_the_textbook_case() -> None:
    assert false_alarm_rate(0.5, 5, 10**9, 1e9) == pytest.approx(1 / 465.44, rel=1e-4)
    design = cusum_for_budget(500, baseline_n=10**6, k=0.5)
    assert design is not None
    # Sizes are rounded down to 1000 at most, which leaves a little allowance.
    assert cusum_limit(500) < design.h < cusum_limit(500) + 0.3


@pytest.mark.parametrize("n", [10, 30])
def test_an_estimated_baseline_keeps_its_budget_in_simulation(n: int) -> None:
    design = cusum_for_budget(100, baseline_n=n)
    assert design is not None
    rng = np.random.default_rng(n)
    baseline, season = rng.normal(size=(3000, n)), rng.normal(size=(3000, 600))
    standard = (season - baseline.mean(axis=1, keepdims=True)) / baseline.std(axis=1, ddof=1, keepdims=True)
    found = simulated_rate(standard, design.k, design.h)
    # Ended seasons hide part of a run, so the simulated rate is a little lower.
    assert design.rate == pytest.approx(1 / 100)
    assert found == pytest.approx(1 / 100, rel=0.12)


def test_the_textbook_limit_breaks_the_budget_on_a_short_baseline() -> None:
    assert false_alarm_rate(0.5, cusum_limit(100), 10, 9) > 3 / 100


@pytest.mark.parametrize("r", [0.3, 0.5])
def test_autocorrelated_residuals_keep_their_budget_within_a_factor(r: float) -> None:
    design = cusum_for_budget(100, baseline_n=1000, lag_one=r, k=0.5)
    assert design is not None
    rng = np.random.default_rng(5)
    season = lfilter([np.sqrt(1 - r * r)], [1, -r], rng.normal(size=(2000, 700)), axis=1)[:, 100:]
    found = simulated_rate(season, design.k, design.h)
    assert 1 / 130 < found < 1 / 95
    assert simulated_rate(season, 0.5, cusum_limit(100)) > 1.5 / 100


def test_no_monitor_on_fewer_than_five_readings() -> None:
    assert cusum_for_budget(500, baseline_n=4) is None
    assert cusum_for_budget(5000, baseline_n=5, k=0.5) is None


def test_shorter_baselines_get_wider_limits_and_larger_allowances() -> None:
    designs = [cusum_for_budget(300, baseline_n=n) for n in (8, 12, 20, 30)]
    limits = [(design.h, design.k) for design in designs if design]
    assert limits == sorted(limits, reverse=True)
    assert len(limits) == 4
    assert allowance(9) == pytest.approx(0.5 + 0.5)


def test_a_spread_pooled_over_many_engines_narrows_the_limit() -> None:
    alone, pooled = cusum_for_budget(300, baseline_n=10), cusum_for_budget(300, baseline_n=10, spread_df=100)
    assert alone is not None
    assert pooled is not None
    assert pooled.h < alone.h
