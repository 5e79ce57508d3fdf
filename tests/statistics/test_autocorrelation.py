"""What neighbouring readings that resemble each other cost, against theory and simulation."""

import numpy as np
import pytest
from scipy.signal import lfilter

from pipeline.statistics.autocorrelation import autocorrelations, lag_one, trend_variance_factor, variance_inflation
from pipeline.statistics.trend import mann_kendall


def ar1(r: float, n: int, rng: np.random.Generator) -> np.ndarray:
    """An AR(1) series of unit variance, started in its own law."""
    shocks = rng.normal(size=n) * np.sqrt(1 - r * r)
    shocks[0] = rng.normal()
    return lfilter([1], [1, -r], shocks)


def test_autocorrelations_of_a_small_series_by_hand() -> None:
    # Deviations -1.5 -0.5 0.5 1.5, sum of squares 5: lag 1 (0.75 - 0.25 + 0.75) / 5, lag 2 (-0.75 - 0.75) / 5.
    assert autocorrelations([1, 2, 3, 4], 2).tolist() == pytest.approx([0.25, -0.3])
    assert autocorrelations([7, 7, 7], 1).tolist() == [0]


def test_lag_one_of_short_series_is_right_on_average() -> None:
    rng = np.random.default_rng(4)
    found = [lag_one(ar1(0.6, 40, rng)) for _ in range(500)]
    assert np.mean(found) == pytest.approx(0.6, abs=0.03)


def test_lag_one_claims_nothing_from_few_or_contrary_readings() -> None:
    assert lag_one([1, 2, 3, 4, 5, 6, 7, 8, 9]) == 0
    assert lag_one([1, -1] * 20) == 0


def test_variance_inflation_of_a_half_is_three() -> None:
    assert variance_inflation(0.5) == pytest.approx(3)


def test_independent_readings_need_no_allowance_most_of_the_time() -> None:
    rng = np.random.default_rng(7)
    factors = [trend_variance_factor(np.arange(60), rng.normal(size=60)) for _ in range(100)]
    assert np.median(factors) == 1
    assert min(factors) == 1


def test_the_allowance_brings_false_trends_in_autocorrelated_readings_near_their_nominal_rate() -> None:
    rng, t = np.random.default_rng(8), np.arange(100)
    series = [ar1(0.5, 100, rng) for _ in range(300)]
    plain = np.mean([mann_kendall(t, y).p < 0.05 for y in series])
    allowed = np.mean([mann_kendall(t, y, variance_factor=trend_variance_factor(t, y)).p < 0.05 for y in series])
    assert plain > 0.2
    assert allowed < 0.12


def test_too_few_readings_get_no_allowance() -> None:
    assert trend_variance_factor(range(9), range(9)) == 1
    assert trend_variance_factor([1] * 12, range(12)) == 1
