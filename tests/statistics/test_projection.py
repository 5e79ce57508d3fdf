"""Crossing times against published degradation data and the guidance's regression example; open ends stay open."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import theilslopes

from pipeline.statistics.projection import (
    least_squares_crossing,
    observed_crossing,
    pseudo_failure_time,
    robust_band,
    robust_crossing,
)
from pipeline.statistics.rates import relative_accuracy, time_at
from pipeline.statistics.regression import least_squares


def numbers(printed: str) -> np.ndarray:
    return np.array(printed.split(), dtype=float)


# USEPA Unified Guidance (2009), Example 17-5: chloride, ppm, by day since 1970.
CHLORIDE_DAY = numbers(
    """
    11764 11821 11921 12095 12201 12282 12376 12467 12534 12628 12731 12838 12948 13018 13073 13187 13265 13370 13447
    """
)
CHLORIDE = numbers("11.5 12.6 13.8 12.3 12.8 13.2 14.1 13.3 13.1 13.2 15.3 15.0 15.2 15.8 16.1 15.1 16.4 17.7 17.7")

# Laser degradation, % increase of operating current every 250 h; Meeker & Escobar (1998), Statistical Methods for
# Reliability Data, Table C.17. First the unit, then its readings from 0 to 4000 h.
LASERS = {
    int(row[0]): row[1:]
    for row in numbers(
        """
        101 0 .4741 .9255 2.1147 2.7168 3.511 4.3415 4.9076 5.4782
            5.9925 6.7224 7.1303 8.0006 8.9193 9.494 9.8675 10.9446
        102 0 .7078 1.2175 1.8955 2.2954 2.865 3.7454 4.4192 4.9894
            5.5148 6.0668 6.6385 7.1615 7.7778 8.4242 8.9092 9.2834
        103 0 .7074 1.1651 1.7253 1.9888 2.5325 2.9695 3.2977 3.9354
            4.1613 4.4459 4.889 5.2696 5.6913 6.0216 6.4485 6.8849
        104 0 .3634 .6161 1.3597 1.9525 2.2995 2.9468 3.3871 3.7863
            4.1116 4.5013 4.7209 4.9766 5.2812 5.615 5.9503 6.1438
        105 0 .2707 .6144 1.1093 1.773 2.0625 2.5835 2.9863 3.3765
            4.0491 4.626 5.237 5.6191 6.0449 6.3167 7.0952 7.5941
        106 0 .3584 1.3922 1.9541 2.8617 3.4552 3.8117 4.533 5.3541
            5.9217 6.7078 7.7027 8.6053 9.1477 9.951 10.4857 11.0096
        107 0 .3637 .9237 1.2098 1.4591 1.9323 2.3862 2.6799 2.9397
            3.4183 4.0857 4.5843 4.8402 5.1145 5.5691 6.114 7.1723
        108 0 .458 1.0678 1.4163 1.7659 2.1061 2.3969 2.78 3.0187
            3.289 3.7542 4.1595 4.7575 5.1597 5.4591 5.8085 6.245
        109 0 .5098 .9308 1.5713 1.9576 2.5871 3.2892 3.6075 4.1148
            4.5964 4.913 5.3408 5.8418 6.3961 6.8441 7.2037 7.8848
        110 0 .4136 1.488 2.381 2.995 3.835 4.501 5.251 6.256
            7.051 7.803 8.321 8.93 9.554 10.45 11.28 12.21
        111 0 .4435 .9978 1.5738 1.9584 2.5093 2.8436 3.4682 4.007
            4.5124 4.8018 5.2042 5.6556 6.1951 6.5405 6.9626 7.4238
        112 0 .3864 .7988 1.3521 1.741 2.979 3.5871 4.0315 4.4393
            4.7906 5.2205 5.4848 5.9639 6.2276 6.9877 7.3671 7.8841
        113 0 .3034 .7448 1.5225 1.8548 2.3897 2.9473 3.5104 3.9207
            5.0316 5.4708 5.8362 6.4962 6.9372 7.3883 7.8472 8.087
        114 0 .438 .6979 1.0515 1.3526 1.7998 2.5514 2.8274 3.3908
            3.7159 4.0906 4.8296 5.4145 5.759 6.1419 6.5086 6.8823
        115 0 .5056 .8349 1.2864 1.5191 1.9148 2.2697 2.7763 3.4153
            3.7814 4.1053 4.3754 4.6295 5.3831 5.8391 6.1618 6.6247
        """
    ).reshape(15, 18)
}
HOURS = np.arange(0, 4001, 250.0)
PSEUDO_FAILURES = [3702, 4194, 5847, 6172, 5301, 3592, 6051, 6538, 5110, 3306, 5326, 4995, 4721, 5689, 6102]


@pytest.mark.parametrize(("unit", "published"), [*zip(LASERS, PSEUDO_FAILURES, strict=True)])
def test_pseudo_failure_times_of_the_lasers_are_those_published(unit: int, published: int) -> None:
    assert pseudo_failure_time(HOURS, LASERS[unit], 10) == pytest.approx(published, abs=0.5)


def test_three_lasers_were_seen_to_cross_and_the_others_were_not() -> None:
    # Linear interpolation between readings: 3780.8, 3522.9, 3374.4 h.
    crossings = {unit: observed_crossing(HOURS, y, 10) for unit, y in LASERS.items()}
    seen = {unit: at for unit, at in crossings.items() if at is not None}
    assert seen == {
        101: pytest.approx(3780.8, abs=0.05),
        106: pytest.approx(3522.9, abs=0.05),
        110: pytest.approx(3374.4, abs=0.05),
    }


@pytest.mark.parametrize(("unit", "hours"), [(101, 3707.0), (110, 3307.6), (103, 5621.4)])
def test_a_line_through_the_origin_is_another_model_with_another_answer(unit: int, hours: float) -> None:
    slope = least_squares(HOURS[:, None], LASERS[unit]).coefficients[0]
    assert 10 / slope == pytest.approx(hours, abs=0.05)


@pytest.mark.parametrize(
    ("unit", "fraction", "predicted", "accuracy"),
    [
        (101, 0.5, 3456.0, 0.840),
        (106, 0.5, 3759.2, 0.867),
        (110, 0.5, 3238.8, 0.928),
        (101, 0.75, 3695.3, 0.917),
        (106, 0.75, 3745.4, 0.782),
        (110, 0.75, 3202.2, 0.803),
    ],
)
def test_relative_accuracy_of_the_lasers_that_crossed(
    unit: int, fraction: float, predicted: float, accuracy: float
) -> None:
    # Saxena et al. (2010): lambda is a fraction of the way from the first prediction (0 h) to the end of life.
    end = observed_crossing(HOURS, LASERS[unit], 10)
    assert end is not None
    known = time_at(fraction, 0, end) >= HOURS
    now = HOURS[known][-1]
    found = pseudo_failure_time(HOURS[known], LASERS[unit][known], 10)
    assert found == pytest.approx(predicted, abs=0.05)
    assert relative_accuracy(found - now, end - now) == pytest.approx(accuracy, abs=5e-4)


def test_chloride_line_is_that_of_the_guidance() -> None:
    found = least_squares(np.column_stack([np.ones(19), CHLORIDE_DAY]), CHLORIDE)
    assert found.coefficients.tolist() == [pytest.approx(-24.667125, abs=5e-7), pytest.approx(0.003095753, abs=5e-10)]
    assert found.errors.tolist() == [pytest.approx(4.228586, abs=5e-7), pytest.approx(0.000334533, abs=5e-10)]
    assert found.coefficients[1] / found.errors[1] == pytest.approx(9.253952, abs=5e-7)
    assert found.residual_sd == pytest.approx(0.75019, abs=5e-6)


def test_chloride_reaches_twenty_with_fiellers_interval_and_its_long_upper_tail() -> None:
    found = least_squares_crossing(CHLORIDE_DAY, CHLORIDE, 20)
    assert (found.outlook, found.at) == ("crosses", pytest.approx(14428.5, abs=0.05))
    assert found.interval.low == pytest.approx(14078.1, abs=0.05)
    assert found.interval.high == pytest.approx(14976.2, abs=0.05)
    assert found.g == pytest.approx(0.05198, abs=5e-6)
    # Trap: the symmetric approximation ± 426.5 days hides that the late side is longer than the early one.
    assert found.interval.high - found.at > 1.5 * (found.at - found.interval.low)


def test_the_robust_crossing_of_chloride_lies_inside_the_least_squares_interval() -> None:
    found = robust_crossing(CHLORIDE_DAY, CHLORIDE, 20)
    assert found.at is not None
    assert found.interval.low is not None
    assert found.interval.high is not None
    assert 14078.1 < found.at < 14976.2
    assert found.interval.low < found.at < found.interval.high


def test_a_wild_reading_moves_the_robust_crossing_little() -> None:
    wild = CHLORIDE.copy()
    wild[15] = 150
    plain, robust = (robust_crossing(CHLORIDE_DAY, y, 20).at for y in (CHLORIDE, wild))
    assert robust == pytest.approx(plain, abs=150)


def test_a_slope_that_is_not_established_has_no_time_and_no_latest() -> None:
    rng = np.random.default_rng(3)
    t, y = np.arange(20.0), rng.normal(size=20)
    for crossing in (least_squares_crossing, robust_crossing):
        found = crossing(t, y, 6)
        assert found.g is not None
        assert found.g >= 1
        assert (found.outlook, found.at, found.interval.high) == ("open", None, None)
        assert found.interval.low is not None
        assert found.interval.low > 19


def test_a_limit_below_is_approached_from_above() -> None:
    t = np.arange(10.0)
    noise = np.tile([0.05, -0.05], 5)
    found = robust_crossing(t, 14 - 0.1 * t + noise, 12, bad="below")
    assert (found.outlook, found.at) == ("crosses", pytest.approx(20, abs=1.5))
    assert robust_crossing(t, 14 - 0.1 * t + noise, 12, bad="above").outlook == "reached"


def test_a_limit_already_passed_is_reached_and_one_left_behind_is_moving_away() -> None:
    t = np.arange(12.0)
    noise = np.tile([0.05, -0.05], 6)
    passed, away = robust_crossing(t, t + noise, 7), robust_crossing(t, -t + noise, 7)
    assert (passed.outlook, passed.at) == ("reached", pytest.approx(7, abs=0.2))
    assert (away.outlook, away.at) == ("moving away", None)


def test_a_constant_excess_since_the_first_reading_is_reached_without_a_time() -> None:
    found = robust_crossing(np.arange(10), [2.5, 2.4, 2.6, 2.5, 2.5, 2.4, 2.6, 2.5, 2.4, 2.6], 2)
    assert (found.outlook, found.at) == ("reached", None)


def test_few_readings_are_too_few_or_open() -> None:
    assert least_squares_crossing([1, 2], [1, 2], 5).outlook == "too few"
    assert robust_crossing([1, 1, 1], [1, 2, 3], 5).outlook == "too few"
    four = robust_crossing([1, 2, 3, 4], [1, 2, 3, 4.5], 9)
    assert (four.outlook, four.at, four.interval.low, four.interval.high) == ("open", None, None, None)


def test_a_level_line_never_fails() -> None:
    assert pseudo_failure_time([1, 2, 3], [4, 4, 4], 5) is None
    assert pseudo_failure_time([1, 1], [4, 5], 5) is None


def test_an_observed_crossing_at_the_first_reading_is_that_time() -> None:
    assert observed_crossing([3, 4], [10, 11], 10) == 3
    assert observed_crossing([3, 4, 5], [10, 8, 6], 7) == pytest.approx(4.5)
    assert observed_crossing([], [], 7) is None
    assert observed_crossing([1, 2, math.nan], [1, 2, 9], 7) is None


def test_fiellers_interval_covers_the_true_crossing_as_often_as_it_says() -> None:
    rng, t = np.random.default_rng(4), np.arange(25.0)
    held = [least_squares_crossing(t, 0.2 * t + rng.normal(size=25), 8).interval.holds(40.0) for _ in range(300)]
    robust = [robust_crossing(t, 0.2 * t + rng.normal(size=25), 8).interval.holds(40.0) for _ in range(300)]
    # Three standard errors of 300 trials at 95 % are 0.038.
    assert np.mean(held) == pytest.approx(0.95, abs=0.038)
    assert 0.90 < np.mean(robust) < 0.99


@given(st.floats(0.05, 5), st.floats(-50, 50), st.integers(6, 30), st.floats(1, 100))
def test_a_clean_line_crosses_exactly_where_it_should(slope: float, start: float, n: int, ahead: float) -> None:
    t = np.arange(n, dtype=float)
    at = n - 1 + ahead
    for crossing in (least_squares_crossing, robust_crossing):
        assert crossing(t, start + slope * t, start + slope * at).at == pytest.approx(at, rel=1e-6)


def test_the_band_touches_the_limit_where_the_interval_of_the_crossing_ends() -> None:
    ahead = robust_crossing(CHLORIDE_DAY, CHLORIDE, 20.0)
    ends = np.array([ahead.interval.low, ahead.interval.high], dtype=float)
    band = robust_band(CHLORIDE_DAY, CHLORIDE, ends)

    assert band is not None
    assert (band.high[0], band.low[1]) == (pytest.approx(20.0), pytest.approx(20.0))


def test_the_middle_of_the_band_is_the_line_that_scipy_draws() -> None:
    # scipy.stats.theilslopes with method "joint" takes the median residual as intercept, as the band does
    line = theilslopes(CHLORIDE, CHLORIDE_DAY, method="joint")
    at = np.linspace(12000, 15000, 7)
    band = robust_band(CHLORIDE_DAY, CHLORIDE, at)

    assert band is not None
    assert band.middle == pytest.approx(line.intercept + line.slope * at)
    assert (band.low < band.middle).all()


def test_two_readings_have_no_band() -> None:
    assert robust_band([1.0, 2.0], [1.0, 2.0], np.array([3.0])) is None


def test_too_few_readings_leave_the_band_open() -> None:
    band = robust_band([1.0, 2.0, 3.0], [1.0, 2.0, 3.5], np.array([4.0]))

    assert band is not None
    assert np.isinf([band.low[0], band.high[0]]).all()
