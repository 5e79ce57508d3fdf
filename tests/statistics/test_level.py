"""Robust level and spread against published examples, and what they do with few, tied or missing readings."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.level import (
    MAD_TO_SIGMA,
    MODIFIED_Z_LIMIT,
    SMALL_SAMPLE_MAD,
    CentreScale,
    hodges_lehmann,
    huber_proposal_2,
    level_now,
    median_and_mad,
    modified_z,
    moving_range_sigma,
    scaled_mad,
    signed_rank_law,
    spread,
    weighted_median,
)


def numbers(printed: str) -> np.ndarray:
    return np.array(printed.split(), dtype=float)


# Copper in wholemeal flour: Analytical Methods Committee (1989), Analyst 114, 1693-1702.
COPPER = numbers(
    """
    2.2 2.2 2.4 2.4 2.5 2.7 2.8 2.9 3.03 3.03 3.10 3.37 3.4 3.4 3.4 3.5 3.6 3.7 3.7 3.7 3.7 3.77 5.28 28.95
    """
)
# Depression scores: Hollander & Wolfe (1973), signed-rank example.
DEPRESSION = np.array([1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30]) - np.array(
    [0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29]
)
# NIST/SEMATECH e-Handbook 6.3.2.2, individuals chart.
FLOW = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])

values = st.lists(st.integers(-1000, 1000).map(lambda n: n / 8), min_size=6, max_size=25).map(np.array)


def test_copper_median_and_scaled_mad_are_those_of_venables_and_ripley() -> None:
    found = median_and_mad(COPPER)
    assert found.centre == pytest.approx(3.385, abs=5e-4)
    assert found.scale == pytest.approx(0.526, abs=5e-4)


def test_copper_huber_proposal_2_is_that_of_venables_and_ripley() -> None:
    found = huber_proposal_2(COPPER, k=1.5)
    # The iteration ends at 3.205498; the book stopped a little earlier and prints 3.206.
    assert found.centre == pytest.approx(3.206, abs=6e-4)
    assert found.scale == pytest.approx(0.674, abs=5e-4)


def test_the_mad_constant_is_one_over_the_upper_quartile_of_the_unit_normal() -> None:
    assert pytest.approx(1.4826022, abs=5e-8) == MAD_TO_SIGMA


def test_hodges_lehmann_of_the_depression_scores_is_that_of_hollander_and_wolfe() -> None:
    found = hodges_lehmann(-DEPRESSION)
    assert -found.value == pytest.approx(0.46, abs=5e-3)
    assert (-found.interval.high, -found.interval.low) == (
        pytest.approx(0.010, abs=5e-4),
        pytest.approx(0.786, abs=5e-4),
    )
    assert found.interval.confidence == pytest.approx(0.961, abs=5e-4)


def test_signed_rank_law_gives_hollander_and_wolfes_tail_of_the_depression_scores() -> None:
    # V = 40, one-sided p = 0.01953.
    assert signed_rank_law(9)[40:].sum() == pytest.approx(0.01953, abs=5e-6)


def test_sigma_from_moving_ranges_is_that_of_the_nist_individuals_chart() -> None:
    # Mean moving range 1.8778; limits 50.81 ± 3 MR / 1.128 = 55.8041, 45.8159.
    sigma = moving_range_sigma(FLOW)
    assert sigma * 1.128 == pytest.approx(1.8778, abs=5e-5)
    # The page rounds the range before it divides, so allow 1e-4.
    assert FLOW.mean() + 3 * sigma == pytest.approx(55.8041, abs=1e-4)
    assert FLOW.mean() - 3 * sigma == pytest.approx(45.8159, abs=1e-4)


def test_modified_z_flags_only_the_wild_value_of_the_nist_grubbs_data() -> None:
    # NIST e-Handbook 1.3.5.17.1; 29.96 computed by Iglewicz & Hoaglin's rule.
    scores = modified_z([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])
    assert scores[-1] == pytest.approx(29.96, abs=5e-3)
    assert (np.abs(scores) > MODIFIED_Z_LIMIT).tolist() == [False] * 7 + [True]


def test_modified_z_of_mostly_equal_readings_still_sees_the_odd_one() -> None:
    assert modified_z([5, 5, 5, 5, 5, 5, 5, 9])[-1] > MODIFIED_Z_LIMIT
    assert modified_z([5.0, 5.0, math.nan])[:2].tolist() == [0, 0]


@pytest.mark.parametrize("n", [*SMALL_SAMPLE_MAD, 15])
def test_small_sample_mad_is_right_on_average(n: int) -> None:
    # The factors are from memory (Croux & Rousseeuw 1992): held here against 20,000 simulated samples.
    samples = np.random.default_rng(n).normal(size=(20_000, n))
    raw = np.median(np.abs(samples - np.median(samples, axis=1, keepdims=True)), axis=1).mean() * MAD_TO_SIGMA
    factor = scaled_mad(samples[0], unbiased=True) / scaled_mad(samples[0])
    assert factor * raw == pytest.approx(1, abs=0.02)


def test_spread_of_rounded_readings_is_never_zero_when_the_resolution_is_known() -> None:
    assert spread([4.0] * 9, resolution=0.5) == pytest.approx(0.5 / math.sqrt(12))
    assert spread([4.0] * 9) == 0
    assert spread([4.0] * 8 + [4.9]) > 0


def test_level_of_one_or_two_readings_is_open() -> None:
    for readings in ([3.1], [3.1, 3.4]):
        found = level_now(readings)
        assert (found.method, found.interval.low, found.interval.high) == ("open", None, None)
        assert found.value == pytest.approx(np.mean(readings))


def test_level_of_nothing_is_not_a_number() -> None:
    found = level_now([math.nan, math.nan])
    assert math.isnan(found.value)
    assert found.n == 0


def test_level_of_one_reading_with_a_known_spread_is_that_reading_plus_or_minus_student() -> None:
    # Student's t for 97.5 % with 20 degrees of freedom is 2.086 (any printed table).
    found = level_now([7.0], usual=CentreScale(5.0, 0.5, 21))
    assert found.method == "usual spread"
    assert found.interval.high == pytest.approx(7 + 2.086 * 0.5, abs=5e-4)


def test_level_of_three_readings_is_students_interval() -> None:
    # mean 2, sd 1, t(2) = 4.303: half width 4.303 / sqrt(3) = 2.484.
    found = level_now([1.0, 2.0, 3.0])
    assert (found.method, found.value) == ("student", 2)
    assert (found.interval.low, found.interval.high) == (
        pytest.approx(-0.484, abs=1e-3),
        pytest.approx(4.484, abs=1e-3),
    )


def test_level_of_six_readings_needs_no_law_and_says_what_confidence_it_reached() -> None:
    found = level_now([1, 2, 3, 4, 5, 6.5])
    assert found.method == "signed rank"
    assert found.interval.confidence == pytest.approx(1 - 2 / 2**6)
    assert (found.interval.low, found.interval.high) == (1, 6.5)


@pytest.mark.parametrize("n", [2, 3, 4, 5, 6, 9, 20])
def test_the_interval_of_a_level_covers_the_truth_as_often_as_it_says(n: int) -> None:
    rng = np.random.default_rng(n)
    usual = CentreScale(0.0, 1.0, 1000)
    held = [level_now(rng.normal(size=n), usual=usual).interval.holds(0.0) for _ in range(1000)]
    # Three standard errors of 1000 trials at 95 % are 0.021.
    assert np.mean(held) > 0.95 - 0.021


def test_autocorrelation_widens_the_interval_and_leaves_the_value() -> None:
    plain, wide = level_now(COPPER), level_now(COPPER, inflation=2.0)
    assert wide.value == plain.value
    assert plain.interval.high is not None
    assert wide.interval.high == pytest.approx(plain.value + 2 * (plain.interval.high - plain.value))


def test_weighted_median_with_equal_weights_is_the_median() -> None:
    assert weighted_median([4, 1, 3, 2], [0.3] * 4) == 2.5
    assert weighted_median([3, 1, 2], [7, 7, 7]) == 2


def test_weighted_median_counts_a_reading_as_often_as_it_weighs() -> None:
    # The same as the median of 1, 1, 1, 5, 9.
    assert weighted_median([1, 5, 9], [3, 1, 1]) == 1
    assert weighted_median([1, 5, 9], [1, 0, 1]) == 5
    assert math.isnan(weighted_median([math.nan], [1]))
    with pytest.raises(ValueError, match="negative"):
        weighted_median([1], [-1])


@given(values, st.integers(-64, 64), st.sampled_from([0.5, 2.0, 4.0]), st.randoms(use_true_random=False))
def test_levels_move_and_stretch_with_the_readings_and_ignore_their_order(
    x: np.ndarray, shift: int, factor: float, random: object
) -> None:
    order = np.random.default_rng(x.size).permutation(x.size)
    for level in (median_and_mad, huber_proposal_2):
        before, after = level(x), level((x * factor + shift)[order])
        assert after.centre == pytest.approx(before.centre * factor + shift, abs=1e-5)
        assert after.scale == pytest.approx(before.scale * factor, abs=1e-5)
    before_level, after_level = hodges_lehmann(x), hodges_lehmann((x * factor + shift)[order])
    assert after_level.value == pytest.approx(before_level.value * factor + shift)
    assert before_level.interval.holds(before_level.value)
