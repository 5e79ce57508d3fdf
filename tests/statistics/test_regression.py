"""Least squares against NIST's certified values, and the robust fit with and without a prior."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.regression import huber_fit, least_squares
from pipeline.statistics.trend import theil_sen


def numbers(printed: str) -> np.ndarray:
    return np.array(printed.split(), dtype=float)


# NIST Statistical Reference Datasets, Norris (lower difficulty).
NORRIS_Y = numbers(
    """
    0.1 338.8 118.1 888.0 9.2 228.1 668.5 998.5 449.1 778.9 559.2 0.3 0.1 778.1 668.8 339.3 448.9 10.8 557.7 228.3
    998.0 888.8 119.6 0.3 0.6 557.6 339.3 888.0 998.5 778.9 10.2 117.6 228.9 668.4 449.2 0.2
    """
)
NORRIS_X = numbers(
    """
    0.2 337.4 118.2 884.6 10.1 226.5 666.3 996.3 448.6 777.0 558.2 0.4 0.6 775.5 666.9 338.0 447.5 11.6 556.0 228.1
    995.8 887.6 120.2 0.3 0.3 556.8 339.1 887.2 999.0 779.0 11.1 118.3 229.2 669.1 448.9 0.5
    """
)
# NIST Statistical Reference Datasets, Longley (higher difficulty): employed, deflator, GNP, unemployed, armed forces,
# population, year.
LONGLEY = numbers(
    """
    60323  83.0 234289 2356 1590 107608 1947   61122  88.5 259426 2325 1456 108632 1948
    60171  88.2 258054 3682 1616 109773 1949   61187  89.5 284599 3351 1650 110929 1950
    63221  96.2 328975 2099 3099 112075 1951   63639  98.1 346999 1932 3594 113270 1952
    64989  99.0 365385 1870 3547 115094 1953   63761 100.0 363112 3578 3350 116219 1954
    66019 101.2 397469 2904 3048 117388 1955   67857 104.6 419180 2822 2857 118734 1956
    68169 108.4 442769 2936 2798 120445 1957   66513 110.8 444546 4681 2637 121950 1958
    68655 112.6 482704 3813 2552 123366 1959   69564 114.2 502601 3931 2514 125368 1960
    69331 115.7 518173 4806 2572 127852 1961   70551 116.9 554894 4007 2827 130081 1962
    """
).reshape(16, 7)
LONGLEY_VALUES = [
    -3482258.63459582,
    15.0618722713733,
    -0.0358191792925910,
    -2.02022980381683,
    -1.03322686717359,
    -0.0511041056535807,
    1829.15146461355,
]
LONGLEY_ERRORS = [
    890420.383607373,
    84.9149257747669,
    0.0334910077722432,
    0.488399681651699,
    0.214274163161675,
    0.226073200069370,
    455.478499142212,
]


def on_constant(*columns: np.ndarray) -> np.ndarray:
    return np.column_stack([np.ones(columns[0].size), *columns])


def test_norris_is_certified() -> None:
    found = least_squares(on_constant(NORRIS_X), NORRIS_Y)
    assert found.coefficients.tolist() == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-11)
    assert found.errors.tolist() == pytest.approx([0.232818234301152, 0.000429796848199937], rel=1e-11)
    assert found.residual_sd == pytest.approx(0.884796396144373, rel=1e-11)
    assert found.r_squared == pytest.approx(0.999993745883712, rel=1e-13)
    assert found.model_ss == pytest.approx(4255954.13232369, rel=1e-12)
    assert found.residual_ss == pytest.approx(26.6173985294224, rel=1e-11)
    assert (found.f, found.df) == (pytest.approx(5436385.54079785, rel=1e-11), 34)


def test_longley_is_certified_to_eight_digits() -> None:
    found = least_squares(on_constant(*LONGLEY[:, 1:].T), LONGLEY[:, 0])
    assert found.coefficients.tolist() == pytest.approx(LONGLEY_VALUES, rel=1e-8)
    assert found.errors.tolist() == pytest.approx(LONGLEY_ERRORS, rel=1e-8)
    assert found.residual_sd == pytest.approx(304.854073561965, rel=1e-9)
    assert found.r_squared == pytest.approx(0.995479004577296, rel=1e-11)
    assert (found.f, found.df) == (pytest.approx(330.285339234588, rel=1e-9), 9)


def test_theil_sen_on_norris_lies_beside_least_squares() -> None:
    # Computed elsewhere: slope 1.0021968, 95 % 1.0011153 … 1.0030534 (the interval with rounded ranks: allow 1e-5).
    found = theil_sen(NORRIS_X, NORRIS_Y)
    assert found is not None
    assert found.slope == pytest.approx(1.0021968, abs=5e-8)
    assert (found.interval.low, found.interval.high) == (
        pytest.approx(1.0011153, abs=1e-5),
        pytest.approx(1.0030534, abs=1e-5),
    )


def test_columns_that_repeat_each_other_and_too_few_readings_are_refused() -> None:
    with pytest.raises(np.linalg.LinAlgError, match="repeats"):
        least_squares(on_constant(NORRIS_X, 2 * NORRIS_X + 1), NORRIS_Y)
    with pytest.raises(ValueError, match="more than"):
        least_squares(on_constant(np.arange(2.0)), [1, 2])


def unknown(p: int) -> dict[str, np.ndarray]:
    return {"prior": np.zeros(p), "prior_sd": np.full(p, math.inf)}


def test_a_robust_line_ignores_the_wild_readings_least_squares_follows() -> None:
    t = np.arange(20.0)
    y = 1 + 2 * t + np.tile([0.1, -0.1], 10)
    y[[3, 12, 17]] += 500
    found = huber_fit(on_constant(t), y, **unknown(2))
    assert found.coefficients[1] == pytest.approx(2, abs=0.05)
    assert found.weights[[3, 12, 17]].max() < 0.01
    assert least_squares(on_constant(t), y).coefficients[1] > 4


def test_the_robust_fit_is_as_precise_as_it_says() -> None:
    rng, t = np.random.default_rng(2), np.linspace(-1, 1, 30)
    fits = [huber_fit(on_constant(t), rng.normal(size=30), **unknown(2)) for _ in range(300)]
    slopes = np.array([fit.coefficients[1] for fit in fits])
    claimed = np.mean([math.sqrt(fit.covariance[1, 1]) for fit in fits])
    assert slopes.std() == pytest.approx(claimed, rel=0.12)


def test_a_prior_rules_where_the_readings_say_nothing_and_yields_where_they_say_much() -> None:
    rng = np.random.default_rng(3)
    prior = {"prior": np.array([0, 5.0]), "prior_sd": np.array([math.inf, 0.1])}
    narrow, wide = rng.uniform(-0.01, 0.01, 40), rng.uniform(-100, 100, 40)
    for x, slope in ((narrow, 5.0), (wide, 2.0)):
        found = huber_fit(on_constant(x), 2 * x + rng.normal(size=40), **prior)
        assert found.coefficients[1] == pytest.approx(slope, abs=0.05)


@given(st.floats(-3, 3), st.floats(-50, 50), st.integers(4, 20))
def test_an_exact_line_is_found_exactly(slope: float, start: float, n: int) -> None:
    t = np.arange(n, dtype=float)
    y = start + slope * t
    assert least_squares(on_constant(t), y).coefficients.tolist() == pytest.approx([start, slope], abs=1e-9)
    assert huber_fit(on_constant(t), y, **unknown(2)).coefficients.tolist() == pytest.approx([start, slope], abs=1e-8)
