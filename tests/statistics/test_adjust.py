"""Like for like: what a baseline learns from its covariates, and how honestly it says where it knows nothing."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.adjust import Expectation, SlopePrior, adjust, learn_expectation
from pipeline.statistics.regression import least_squares

# A baseline with no noise: integral 2 % at 60 degrees, falling 0.05 % a degree.
TEMPERATURE = np.linspace(40, 80, 21)
INTEGRAL = 2 - 0.05 * (TEMPERATURE - 60)


def learned(*arguments: object, **options: object) -> Expectation:
    found = learn_expectation(*arguments, **options)
    assert found is not None
    return found


def test_a_clean_slope_is_learned_exactly_and_a_cold_morning_is_no_drift() -> None:
    expectation = learned(INTEGRAL, [TEMPERATURE])
    cold = adjust(expectation, [2 + 0.05 * 15], [[45.0]])
    assert expectation.slopes[0] == pytest.approx(-0.05)
    assert cold.residual[0] == pytest.approx(0, abs=1e-9)
    assert not cold.is_outside[0]


def test_a_real_drift_stays_after_adjustment_whatever_the_temperature() -> None:
    expectation = learned(INTEGRAL, [TEMPERATURE])
    later = np.array([42.0, 60, 78])
    drifted = adjust(expectation, 2 - 0.05 * (later - 60) + 1.5, [later])
    assert drifted.residual.tolist() == pytest.approx([1.5] * 3)


def test_two_covariates_are_taken_out_together() -> None:
    rng = np.random.default_rng(1)
    oil, volts = rng.uniform(10, 80, 60), rng.uniform(11.8, 14.2, 60)
    transit = 0.6 - 0.001 * oil - 0.05 * (volts - 13) + rng.normal(0, 0.005, 60)
    expectation = learned(transit, [oil, volts])
    plain = least_squares(np.column_stack([np.ones(60), oil, volts]), transit)
    assert expectation.slopes.tolist() == pytest.approx(plain.coefficients[1:].tolist(), abs=3 * plain.errors[1:].max())
    assert expectation.scale == pytest.approx(0.005, rel=0.3)


def test_the_error_is_that_of_least_squares_on_clean_normal_readings() -> None:
    # Prediction error of a straight line: s sqrt(1/n + (x - mean)² / Sxx), any regression text.
    rng = np.random.default_rng(5)
    x = np.linspace(0, 10, 200)
    expectation = learned(1 + x + rng.normal(size=200), [x])
    sxx = np.sum((x - 5) ** 2)
    for at in (5.0, 10.0, 30.0):
        claimed = adjust(expectation, [0.0], [[at]]).error[0]
        assert claimed == pytest.approx(expectation.scale * math.sqrt(1 / 200 + (at - 5) ** 2 / sxx), rel=0.1)


def test_beyond_the_baselines_range_the_error_grows_and_the_flag_is_up() -> None:
    rng = np.random.default_rng(2)
    expectation = learned(INTEGRAL + rng.normal(0, 0.3, 21), [TEMPERATURE])
    asked = adjust(expectation, [0.0] * 4, [[60.0, 82.0, 95.0, 5.0]])
    # 82 is within a tenth of the range (4 degrees) of the top.
    assert asked.is_outside.tolist() == [False, False, True, True]
    assert asked.error[3] > asked.error[2] > asked.error[0]
    assert (asked.total_error > asked.error).all()


def test_a_baseline_at_one_temperature_says_it_knows_nothing_of_another() -> None:
    rng = np.random.default_rng(3)
    expectation = learned(rng.normal(size=15), [np.full(15, 60.0)])
    same, other = adjust(expectation, [1.0, 1.0], [[60.0, 20.0]]).error
    assert not expectation.is_learned[0]
    assert same < 1
    assert other == math.inf


def test_a_narrow_baseline_keeps_the_prior_slope_and_its_doubt() -> None:
    rng = np.random.default_rng(4)
    prior = SlopePrior(-0.05, 0.02)
    narrow = 60 + rng.uniform(-0.5, 0.5, 15)
    expectation = learned(2 + rng.normal(0, 0.3, 15), [narrow], priors=[prior])
    assert expectation.slopes[0] == pytest.approx(-0.05, abs=0.005)
    cold = adjust(expectation, [4.0], [[20.0]])
    assert cold.residual[0] == pytest.approx(0, abs=0.4)
    # 40 degrees away with a slope known to 0.02: 0.8 and the level's own error.
    assert cold.error[0] == pytest.approx(0.8, abs=0.05)
    assert cold.is_outside[0]


def test_a_wide_baseline_overrules_the_prior() -> None:
    rng = np.random.default_rng(6)
    expectation = learned(INTEGRAL + rng.normal(0, 0.1, 21), [TEMPERATURE], priors=[SlopePrior(0.3, 0.05)])
    assert expectation.slopes[0] == pytest.approx(-0.05, abs=0.01)


def test_a_single_reading_with_a_prior_is_a_baseline_and_none_is_not() -> None:
    expectation = learned([2.0], [[60.0]], priors=[SlopePrior(-0.05, 0.01)], resolution=0.1)
    assert adjust(expectation, [2.5], [[50.0]]).residual[0] == pytest.approx(0)
    assert learn_expectation([math.nan], [[60.0]]) is None


def test_wild_baseline_readings_do_not_bend_the_slope() -> None:
    rng = np.random.default_rng(7)
    y = INTEGRAL + rng.normal(0, 0.1, 21)
    y[[0, 1, 20]] = 30
    assert learned(y, [TEMPERATURE]).slopes[0] == pytest.approx(-0.05, abs=0.02)


def test_a_missing_covariate_stands_at_the_mean_and_costs_precision() -> None:
    rng = np.random.default_rng(8)
    expectation = learned(INTEGRAL + rng.normal(0, 0.1, 21), [TEMPERATURE])
    known, missing = (adjust(expectation, [2.0], [[at]]) for at in (60.0, math.nan))
    assert missing.residual[0] == pytest.approx(known.residual[0])
    assert missing.error[0] ** 2 - known.error[0] ** 2 == pytest.approx(
        (expectation.slopes[0] * TEMPERATURE.std()) ** 2
    )
    assert not missing.is_outside[0]


def test_a_covariate_never_logged_is_left_out() -> None:
    expectation = learned(INTEGRAL, [TEMPERATURE, np.full(21, math.nan)])
    asked = adjust(expectation, [2.0], [[60.0], [math.nan]])
    assert asked.residual[0] == pytest.approx(0, abs=1e-9)
    assert math.isfinite(asked.error[0])


def test_without_covariates_the_residual_is_from_the_robust_level() -> None:
    expectation = learned([1.0, 2, 3, 4, 90])
    assert expectation.level == pytest.approx(3, abs=0.7)
    assert adjust(expectation, [math.nan, 3.0]).residual[1] == pytest.approx(3 - expectation.level)
    assert math.isnan(adjust(expectation, [math.nan]).residual[0])


def test_another_number_of_covariates_is_a_programming_error() -> None:
    with pytest.raises(ValueError, match="expected 1 covariates"):
        adjust(learned(INTEGRAL, [TEMPERATURE]), [1.0])


def test_standardised_residuals_of_fresh_readings_are_standard() -> None:
    rng = np.random.default_rng(12)
    scores = []
    for _ in range(200):
        x = rng.uniform(0, 1, 25)
        expectation = learned(x + rng.normal(size=25), [x])
        fresh = rng.uniform(-0.5, 1.5, 10)
        new = adjust(expectation, fresh + rng.normal(size=10), [fresh])
        scores.append(new.residual / new.total_error)
    # The robust scale of 25 readings errs by about a fifth, which fattens the tails a little.
    assert np.std(scores) == pytest.approx(1.07, abs=0.07)


@given(st.floats(-2, 2), st.floats(-40, 40), st.integers(-100, 100), st.integers(6, 25))
def test_the_residual_does_not_depend_on_where_the_scales_have_their_zero(
    slope: float, start: float, shift: int, n: int
) -> None:
    x = np.linspace(0, 30, n)
    y = start + slope * x + np.resize([0.3, -0.2, 0.1, -0.4, 0.2], n)
    here = adjust(learned(y, [x]), y, [x])
    there = adjust(learned(y + shift, [x - shift]), y + shift, [x - shift])
    assert here.residual == pytest.approx(there.residual, abs=1e-6)
    assert here.error == pytest.approx(there.error, abs=1e-6)
