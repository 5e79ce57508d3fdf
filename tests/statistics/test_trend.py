"""Trend tests and slopes against the guidance's worked examples, with ties, and against counting every ordering."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from pipeline.statistics.trend import kendall_variance, mann_kendall, partial_mann_kendall, theil_sen


def numbers(printed: str) -> np.ndarray:
    return np.array(printed.split(), dtype=float)


# USEPA Unified Guidance (EPA 530/R-09-007, 2009), Examples 17-7 (sodium) and 17-6 (sulfate, with ties); z, p, slopes
# and intervals as printed by an environmental-statistics package that reproduces the guidance.
SODIUM_YEAR = np.array([89.6, 90.1, 90.8, 91.1, 92.1, 93.1, 94.1, 95.6, 96.1, 96.3])
SODIUM = np.array([56, 53, 51, 55, 52, 60, 62, 59, 61, 63.0])
SULFATE_DATE = numbers(
    """
    89.6 89.8 90.1 90.3 90.6 90.8 91.1 91.3 91.6 91.8 92.1 92.6 93.1 93.6 94.1 94.6 95.1 95.6 95.8 96.1 96.3
    96.6 96.8
    """
)
SULFATE = numbers(
    """
    480 450 490 520 485 510 510 530 510 560 560 540 590 550 600 700 570 610 650 620 830 720 590
    """
)
# Sen (1968), JASA 63, 1379-1389.
SEN_T, SEN_Y = np.array([1, 2, 3, 4, 10, 12, 18.0]), np.array([9, 15, 19, 20, 45, 55, 78.0])
# Rhine at Maxau 1965-2009: Pohlert, Non-Parametric Trend Tests and Change-Point Detection.
SEDIMENT = numbers(
    """
    37.384 31.282 26.419 28.828 32.882 37.573 27.342 29.858 35.493 28.904 25.693 16.970 28.901 20.252 19.268
    19.191 24.337 28.811 17.696 19.637 20.956 29.104 27.345 27.604 20.989 26.970 27.444 32.792 27.562 30.729
    33.145 25.779 25.288 24.408 28.384 17.973 16.096 17.268 11.890 13.770 21.469 23.099 16.444 15.773 13.874
    """
)
DISCHARGE = numbers(
    """
    1649.35 1585.27 1370.11 1520.90 1255.73 1808.34 864.11 959.31 1141.55 1216.23 1344.42 861.91 1402.92 1415.84
    1349.80 1419.10 1523.75 1535.47 1365.45 1228.25 1114.01 1339.92 1537.33 1448.26 1000.79 1095.21 1055.32
    1208.97 1174.01 1356.64 1565.47 1112.54 1163.92 1143.30 1723.83 1400.87 1632.99 1495.70 915.75 1062.42
    1048.98 1263.65 1286.67 1205.05 1112.39
    """
)
YEARS = np.arange(1965.0, 2010.0)

# Readings rounded so that they tie, at times that differ.
tied = st.lists(st.integers(0, 5), min_size=4, max_size=20).map(lambda ys: np.array(ys, dtype=float))


def test_sodium_trend_is_that_of_the_guidance() -> None:
    found = mann_kendall(SODIUM_YEAR, SODIUM)
    assert (found.s, found.variance) == (25, 125)
    assert found.z == pytest.approx(2.146625, abs=5e-7)
    assert found.p == pytest.approx(0.031823, abs=5e-7)
    assert found.tau == pytest.approx(0.55556, abs=5e-6)


def test_sodium_slope_is_that_of_the_guidance_on_real_dates_with_interpolated_ranks() -> None:
    found = theil_sen(SODIUM_YEAR, SODIUM)
    assert found is not None
    assert found.slope == pytest.approx(1.33333, abs=5e-6)
    assert found.intercept_median_point == pytest.approx(-65.96667, abs=5e-6)
    assert found.interval.low == pytest.approx(0.3992083, abs=5e-8)
    assert found.interval.high == pytest.approx(2.3333333, abs=5e-8)
    # Traps: SciPy rounds the ranks (0.454545); a slope on the sample index would be 1.142857.
    assert stats.theilslopes(SODIUM, SODIUM_YEAR).low_slope == pytest.approx(0.454545, abs=5e-7)
    assert theil_sen(np.arange(10), SODIUM).slope == pytest.approx(1.142857, abs=5e-7)


def test_sulfate_trend_subtracts_its_ties_from_the_variance() -> None:
    found = mann_kendall(SULFATE_DATE, SULFATE)
    assert (found.n, found.s, found.variance) == (23, 194, 1428)
    assert found.z == pytest.approx(5.107322, abs=5e-7)
    assert found.p == pytest.approx(3.2676e-07, abs=5e-12)
    # Traps: without the tie term the variance is 1433.67; SciPy's tau-b is 0.77449.
    assert kendall_variance((1,) * 23, (1,) * 23) == pytest.approx(1433.67, abs=5e-3)
    assert found.tau == pytest.approx(0.7667984, abs=5e-8)
    assert stats.kendalltau(SULFATE_DATE, SULFATE).statistic == pytest.approx(0.77449, abs=5e-6)


def test_sulfate_slope_is_that_of_the_guidance() -> None:
    found = theil_sen(SULFATE_DATE, SULFATE)
    assert found is not None
    assert found.slope == pytest.approx(26.66667, abs=5e-6)
    assert found.intercept_median_point == pytest.approx(-1909.33333, abs=5e-6)
    assert found.interval.low == pytest.approx(20, abs=5e-6)
    assert found.interval.high == pytest.approx(35.71182, abs=5e-6)


def test_sens_own_example_gives_his_slope_interval_and_both_intercepts() -> None:
    # His interval, with the slip in its slope list corrected, is 26/7 … 35/8: ranks 4 and 18 of 21. He calls it 93 %,
    # counting orderings with |S| < 13; by Hollander & Wolfe's count (|S| <= 13) these ranks hold 1 - 2 x 0.0151 = 97 %.
    found = theil_sen(SEN_T, SEN_Y, confidence=0.95)
    assert found is not None
    assert found.slope == pytest.approx(4)
    assert (found.interval.low, found.interval.high) == (pytest.approx(26 / 7), pytest.approx(35 / 8))
    assert found.interval.confidence == pytest.approx(0.970, abs=5e-4)
    assert (found.intercept_median_point, found.intercept_median_residual) == (pytest.approx(4), pytest.approx(6))


def test_the_exact_interval_of_sens_data_at_93_percent_is_one_rank_tighter_than_his() -> None:
    found = theil_sen(SEN_T, SEN_Y, confidence=0.93)
    assert found is not None
    assert (found.interval.low, found.interval.high) == (pytest.approx(15 / 4), pytest.approx(46 / 11))
    assert found.interval.confidence == pytest.approx(0.931, abs=5e-4)


def test_cloud_seeding_trend_is_that_of_hollander_wolfe_and_chicken() -> None:
    # Example 9.1: C = -6, one-sided p = 0.117, slope -0.05625.
    y = [1.26, 1.27, 1.12, 1.16, 1.03]
    found = mann_kendall(range(1, 6), y)
    assert (found.s, found.is_exact) == (-6, True)
    assert found.p / 2 == pytest.approx(0.117, abs=5e-4)
    assert theil_sen(range(1, 6), y).slope == pytest.approx(-0.05625, abs=5e-6)


def test_exact_p_of_nine_pairs_is_that_of_hollander_and_wolfe() -> None:
    # Hollander & Wolfe (1973) p. 185: 26 concordant pairs, S = 16, tau 0.4444, exact p = 0.1194.
    x = [44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1]
    y = [2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8]
    found = mann_kendall(x, y, exact_up_to=9)
    assert found.s == 16
    assert found.tau == pytest.approx(0.4444, abs=5e-5)
    assert found.p == pytest.approx(0.1194, abs=5e-5)


def test_nile_trend_and_slope(nile: np.ndarray) -> None:
    # Regression values computed independently of this code from the published series.
    years = np.arange(1871, 1971)
    found, line = mann_kendall(years, nile), theil_sen(years, nile)
    assert line is not None
    assert (found.s, round(found.variance, 2), round(found.z, 4)) == (-1387, 112728.33, -4.1281)
    assert found.p == pytest.approx(3.66e-05, abs=5e-8)
    assert line.slope == pytest.approx(-2.6, abs=5e-4)
    # The listed interval -3.628 … -1.429 comes with rounded ranks, ours lies between neighbouring slopes: allow 1e-3.
    assert (line.interval.low, line.interval.high) == (pytest.approx(-3.628, abs=1e-3), pytest.approx(-1.429, abs=1e-3))


def test_sediment_trend_given_discharge_is_that_of_pohlert() -> None:
    found = partial_mann_kendall(YEARS, SEDIMENT, DISCHARGE)
    assert found.s == pytest.approx(-350.6576, abs=5e-5)
    assert found.variance == pytest.approx(9503.29, abs=5e-3)
    assert found.z == pytest.approx(-3.5970, abs=5e-5)
    assert found.p == pytest.approx(0.000322, abs=5e-7)


def test_sediment_and_discharge_alone_are_those_of_pohlert() -> None:
    sediment, discharge = mann_kendall(YEARS, SEDIMENT), mann_kendall(YEARS, DISCHARGE)
    assert (sediment.s, sediment.variance, round(sediment.z, 4)) == (-394, 10450, -3.8445)
    assert (discharge.s, round(discharge.z, 4)) == (-144, -1.3989)


def test_a_partial_trend_without_covariates_is_the_plain_one() -> None:
    found = partial_mann_kendall(SULFATE_DATE, SULFATE)
    assert (found.s, found.variance) == (194, pytest.approx(1428))


def test_a_trend_that_the_covariate_fully_explains_is_none() -> None:
    found = partial_mann_kendall(YEARS, DISCHARGE, DISCHARGE * 2 + 1)
    assert (found.z, found.p) == (0, 1)


def test_a_covariate_that_never_varies_explains_nothing() -> None:
    assert partial_mann_kendall(YEARS, SEDIMENT, np.ones(45)).s == -394


def every_ordering(t: np.ndarray, y: np.ndarray) -> list[float]:
    """S of every ordering of the readings, by the definition and nothing else."""
    return [
        sum(np.sign(t[j] - t[i]) * np.sign(p[j] - p[i]) for i in range(t.size) for j in range(i + 1, t.size))
        for p in itertools.permutations(y)
    ]


@pytest.mark.parametrize(
    ("t", "y"),
    [
        ([1, 2, 3, 4, 5], [2, 2, 3, 5, 5]),
        ([1, 2, 3, 4, 5, 6], [7, 7, 7, 1, 2, 9]),
        ([1, 1, 2, 3, 4], [5, 1, 2, 8, 9]),
        ([1, 1, 2, 3, 3, 4], [2, 2, 3, 3, 4, 5]),
        ([1, 2, 3, 4], [1, 1, 1, 1]),
        ([4, 3, 2, 1], [1, 2, 4, 3]),
    ],
)
def test_exact_p_and_variance_are_those_of_every_ordering_ties_included(t: list[float], y: list[float]) -> None:
    times, values = np.array(t, dtype=float), np.array(y, dtype=float)
    counted = np.array(every_ordering(times, values))
    found = mann_kendall(times, values)
    assert found.is_exact
    assert found.p == pytest.approx(np.mean(np.abs(counted) >= abs(found.s)))
    assert found.variance == pytest.approx(np.mean(counted**2))


def test_the_interval_of_five_readings_spans_all_slopes_and_states_its_confidence() -> None:
    # P(S = 10) = 1/120 for five readings: the widest interval reaches 1 - 2/120; four readings cannot reach 95 %.
    five = theil_sen([1, 2, 3, 4, 5], [0, 2, 1, 4, 9.0])
    assert five is not None
    assert (five.interval.low, five.interval.high) == (-1, 5)
    assert five.interval.confidence == pytest.approx(1 - 2 / 120)
    four = theil_sen([1, 2, 3, 4], [0, 2, 1, 4.0])
    assert four is not None
    assert (four.interval.low, four.interval.high) == (None, None)


def test_no_line_without_two_different_times() -> None:
    assert theil_sen([3, 3, 3], [1, 2, 3]) is None
    assert theil_sen([3], [1]) is None
    assert mann_kendall([1], [1]).p == 1


def test_missing_readings_are_left_out_with_their_times() -> None:
    t, y = np.append(SODIUM_YEAR, [97, math.nan]), np.append(SODIUM, [math.nan, 99])
    assert theil_sen(t, y) == theil_sen(SODIUM_YEAR, SODIUM)
    assert mann_kendall(t, y) == mann_kendall(SODIUM_YEAR, SODIUM)


def test_an_allowance_for_autocorrelation_widens_everything_and_moves_nothing() -> None:
    plain, wide = theil_sen(SULFATE_DATE, SULFATE), theil_sen(SULFATE_DATE, SULFATE, variance_factor=3)
    assert plain is not None
    assert wide is not None
    assert wide.slope == plain.slope
    assert (wide.interval.low or 0) < (plain.interval.low or 0) < (plain.interval.high or 0) < (wide.interval.high or 0)
    assert mann_kendall(SULFATE_DATE, SULFATE, variance_factor=3).variance == pytest.approx(3 * 1428)


@given(tied, st.integers(-9, 9), st.sampled_from([0.25, 2.0, 8.0]))
def test_trend_ignores_order_shift_and_scale(y: np.ndarray, shift: int, factor: float) -> None:
    t = np.cumsum(1 + np.arange(y.size) % 3).astype(float)
    order = np.random.default_rng(y.size).permutation(y.size)
    plain, moved = mann_kendall(t, y), mann_kendall(t[order] + 7, (factor * y + shift)[order])
    assert (moved.s, moved.variance, moved.p) == (plain.s, plain.variance, plain.p)
    line, other = theil_sen(t, y), theil_sen(t[order] + 7, (factor * y + shift)[order])
    assert line is not None
    assert other is not None
    assert other.slope == pytest.approx(factor * line.slope)


@given(tied)
def test_turning_the_readings_over_turns_the_trend_over(y: np.ndarray) -> None:
    t = np.arange(y.size, dtype=float)
    up, down = mann_kendall(t, y), mann_kendall(t, -y)
    assert (down.s, down.z, down.p) == (-up.s, pytest.approx(-up.z), pytest.approx(up.p))


@given(st.floats(-5, 5), st.floats(-100, 100), st.integers(3, 30), st.integers(0, 4))
def test_a_line_is_found_exactly_through_a_third_of_wild_readings(
    slope: float, start: float, n: int, seed: int
) -> None:
    assume(n >= 3)
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0, 100, n))
    y = start + slope * t
    wild = rng.permutation(n)[: n // 5]
    y[wild] += 1000
    line = theil_sen(t, y)
    assert line is not None
    assert line.slope == pytest.approx(slope, abs=1e-7)
