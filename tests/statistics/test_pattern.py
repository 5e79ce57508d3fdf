"""Constant, growing, step or scattered: exact on clean series, seldom wrong on noisy ones, unmoved by wild readings."""

from collections import Counter
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.pattern import Pattern, pattern, without_spikes


def found(t: np.ndarray, y: np.ndarray, **options: float) -> Pattern:
    result = pattern(t, y, **options)
    assert result is not None
    return result


def names(truth: np.ndarray, runs: int, seed: int) -> Counter[str]:
    """How often each name is given to the truth plus unit noise."""
    rng, t = np.random.default_rng(seed), np.arange(truth.size)
    return Counter(found(t, truth + rng.normal(size=truth.size)).name for _ in range(runs))


def test_the_nile_is_a_step_after_1898(nile: np.ndarray) -> None:
    # Cobb (1978), Biometrika 65, 243-251.
    step = found(np.arange(1871, 1971), nile)
    assert (step.name, step.last_before, step.first_after, step.since) == ("step", 27, 28, 1899)
    # Least squares has -247.78; Huber's fit lies within a third of its standard error (28).
    assert step.change == pytest.approx(-247.78, abs=10)
    assert step.margin > 10
    assert step.confidence > 0.99


@pytest.mark.parametrize(
    ("name", "first_after", "within"), [("quality_control_1", 146, 3), ("quality_control_2", 97, 0)]
)
def test_steps_marked_by_people_are_named_steps(
    marked_series: Callable[[str], np.ndarray], name: str, first_after: int, within: int
) -> None:
    values = marked_series(name)
    step = found(np.arange(values.size), values)
    assert step.name == "step"
    assert step.first_after is not None
    assert abs(step.first_after - first_after) <= within


def test_a_series_in_which_people_marked_nothing_is_constant(marked_series: Callable[[str], np.ndarray]) -> None:
    values = marked_series("quality_control_5")
    assert found(np.arange(values.size), values).name == "constant"


@given(st.integers(4, 20), st.integers(4, 20), st.integers(1, 9), st.floats(-50, 50))
def test_a_clean_step_is_named_and_placed_exactly(before: int, after: int, size: int, start: float) -> None:
    t = np.arange(before + after) * 3.0
    step = found(t, start + np.repeat([0.0, size], [before, after]))
    assert (step.name, step.last_before, step.first_after) == ("step", before - 1, before)
    assert step.since == t[before]
    assert (step.change, step.level) == (pytest.approx(size), pytest.approx(start + size))


@given(st.integers(8, 40), st.floats(0.1, 5), st.floats(-50, 50))
def test_a_clean_line_is_growing_from_the_start(n: int, slope: float, start: float) -> None:
    t = 100 + np.arange(n) * 2.0
    line = found(t, start + slope * (t - 100))
    assert (line.name, line.since, line.slope) == ("growing", 100, pytest.approx(slope))
    assert line.level == pytest.approx(start + slope * (t[-1] - 100))


def test_a_clean_bend_is_growing_from_where_it_bends() -> None:
    t = np.arange(30.0)
    bend = found(t, 5 + 0.5 * np.maximum(0, t - 12))
    assert (bend.name, bend.since, bend.slope) == ("growing", 12, pytest.approx(0.5))
    assert bend.change == pytest.approx(0.5 * 17)


@pytest.mark.parametrize("value", [0.0, 5.1, -1e6])
def test_equal_readings_are_constant(value: float) -> None:
    flat = found(np.arange(12), np.full(12, value))
    assert (flat.name, flat.change, flat.since, flat.first_after) == ("constant", 0, None, None)


@pytest.mark.parametrize(("n", "at_most"), [(8, 0.03), (15, 0.02), (60, 0.01)])
def test_constant_readings_are_seldom_called_anything_else(n: int, at_most: float) -> None:
    called = names(np.zeros(n), 400, n)
    assert 1 - called["constant"] / 400 <= at_most


def test_heavy_tails_and_rounding_do_not_make_patterns() -> None:
    rng, t = np.random.default_rng(6), np.arange(30)
    wild = [found(t, rng.standard_t(2, size=30)).name for _ in range(200)]
    rounded = [found(t, np.round(rng.normal(size=30)), resolution=1.0).name for _ in range(200)]
    assert Counter(wild)["constant"] >= 196
    assert Counter(rounded)["constant"] >= 196


def test_step_and_growth_are_told_apart_at_four_sigma() -> None:
    t = np.arange(40) / 40
    assert names(np.where(t >= 0.6, 4.0, 0), 100, 1)["step"] >= 95
    assert names(4 * t, 100, 2)["growing"] >= 90


def test_one_wild_reading_neither_makes_a_step_nor_hides_one() -> None:
    rng, t = np.random.default_rng(9), np.arange(30)
    quiet = rng.normal(size=30)
    spiked, stepped = quiet.copy(), quiet + np.where(t >= 18, 6.0, 0)
    spiked[29] = spiked[4] = 80
    stepped[10] = 80
    assert found(t, spiked).name == "constant"
    step = found(t, stepped)
    assert (step.name, step.first_after) == ("step", 18)


def test_readings_far_more_scattered_than_usual_are_scattered() -> None:
    rng, t = np.random.default_rng(10), np.arange(25)
    y = rng.normal(size=25)
    assert found(t, y, usual_scale=1.0).name == "constant"
    assert found(t, 4 * y, usual_scale=1.0).name == "scattered"
    assert found(t, 4 * y).name == "constant"


def test_readings_that_resemble_their_neighbours_prove_less() -> None:
    rng, t = np.random.default_rng(11), np.arange(40)
    y = rng.normal(size=40) + np.where(t >= 20, 3.0, 0)
    assert found(t, y).name == "step"
    assert found(t, y, variance_factor=8).name == "constant"


def test_too_few_readings_have_no_pattern() -> None:
    assert pattern(range(5), [1, 1, 1, 9, 9]) is None
    assert pattern([1, 2, 3, 4, 5, 6], [1, 2, np.nan, 3, 3, 2]) is None


def test_readings_all_at_one_time_can_only_be_constant() -> None:
    assert found(np.ones(9), np.arange(9)).name == "constant"


def test_the_order_readings_come_in_does_not_matter(nile: np.ndarray) -> None:
    t = np.arange(100.0)
    order = np.random.default_rng(0).permutation(100)
    assert found(t[order], nile[order]) == found(t, nile)


def test_spikes_go_and_steps_stay() -> None:
    y = np.repeat([0.0, 10.0], 10) + np.tile([0.1, -0.1], 10)
    spiked = y.copy()
    spiked[5] += 100
    assert np.abs(without_spikes(spiked) - y).max() < 1
    assert np.abs(without_spikes(y) - y).max() < 0.5
