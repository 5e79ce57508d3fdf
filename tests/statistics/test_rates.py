"""Intervals of rates and scores of predictions against their published values."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.rates import (
    asymmetric_score,
    is_alpha_lambda_accurate,
    prognostic_horizon,
    relative_accuracy,
    time_at,
    wilson,
)


@pytest.mark.parametrize(
    ("count", "n", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0000, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilsons_interval_is_that_of_newcombe(count: int, n: int, low: float, high: float) -> None:
    # Newcombe (1998), Statistics in Medicine 17, 857-872, Table I.
    found = wilson(count, n)
    assert (found.low, found.high) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))


def test_a_rate_of_nothing_is_open_and_an_impossible_count_is_refused() -> None:
    assert (wilson(0, 0).low, wilson(0, 0).high) == (None, None)
    with pytest.raises(ValueError, match="0 <= count <= n"):
        wilson(3, 2)


@given(st.integers(0, 50), st.integers(1, 50))
def test_wilsons_interval_holds_the_share_and_mirrors(count: int, extra: int) -> None:
    n = count + extra
    found, mirror = wilson(count, n), wilson(n - count, n)
    assert found.holds(count / n)
    assert found.low == pytest.approx(1 - mirror.high)


def test_the_asymmetric_score_punishes_late_more_than_early() -> None:
    # Saxena, Goebel, Simon & Eklund (2008), PHM challenge; values computed from the formula.
    found = asymmetric_score([-30, -13, -10, 0, 10, 13, 30])
    assert found.tolist() == pytest.approx([9.0512, 1.7183, 1.1581, 0, 1.7183, 2.6693, 19.0855], abs=5e-5)


def test_lambda_is_a_fraction_of_the_way_and_alpha_of_the_life_that_remains() -> None:
    assert time_at(0.5, 100, 300) == 200
    assert is_alpha_lambda_accurate(119, 100, alpha=0.2)
    assert not is_alpha_lambda_accurate(121, 100, alpha=0.2)
    assert relative_accuracy(80, 100) == pytest.approx(0.8)
    with pytest.raises(ValueError, match="positive"):
        relative_accuracy(1, 0)


def test_the_prognostic_horizon_starts_where_predictions_come_in_to_stay() -> None:
    # End 100, band 80 … 120: in at 20, out at 30, in for good from 40.
    assert prognostic_horizon([10, 20, 30, 40, 50], [150, 110, 130, 115, 105], 100) == 60
    assert prognostic_horizon([10, 20], [100, 100], 100) == 90
    assert prognostic_horizon([10, 20], [100, 150], 100) is None
    assert prognostic_horizon([10, 20], [100, math.nan], 100) is None
