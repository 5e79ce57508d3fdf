"""Shares: Wilson's interval and Fisher's exact test, against SciPy and counted cases."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, fisher_exact

from pipeline.statistics.proportion import chance_of_rise, wilson


@given(st.integers(1, 60), st.data())
def test_the_interval_is_wilsons_as_scipy_gives_it(tries: int, data: st.DataObject) -> None:
    count = data.draw(st.integers(0, tries))
    expected = binomtest(count, tries).proportion_ci(confidence_level=0.95, method="wilson")

    assert (wilson(count, tries).low, wilson(count, tries).high) == pytest.approx((expected.low, expected.high))


def test_none_of_none_has_no_share() -> None:
    with pytest.raises(ValueError, match="0 of 0"):
        wilson(0, 0)
    with pytest.raises(ValueError, match="4 of 3"):
        wilson(4, 3)


@given(st.integers(1, 40), st.integers(1, 40), st.data())
def test_the_chance_of_a_rise_is_fishers_as_scipy_gives_it(tries: int, before: int, data: st.DataObject) -> None:
    count, count_before = data.draw(st.integers(0, tries)), data.draw(st.integers(0, before))
    table = [[count, tries - count], [count_before, before - count_before]]

    assert chance_of_rise(count, tries, count_before, before) == pytest.approx(
        fisher_exact(table, alternative="greater").pvalue
    )


def test_the_lady_who_tasted_eight_cups() -> None:
    # Fisher, The Design of Experiments (1935): all four right of four by luck, one in seventy
    assert chance_of_rise(4, 4, 0, 4) == pytest.approx(1 / 70)


def test_without_tries_on_one_side_nothing_rose() -> None:
    assert chance_of_rise(0, 0, 1, 30) == chance_of_rise(3, 9, 0, 0) == 1.0
