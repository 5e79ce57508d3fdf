"""Change points against published analyses, and the p of a searched step against simulation."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.change import (
    best_segments,
    buishand_range,
    least_squares_step,
    pettitt,
    standard_normal_homogeneity,
)


def numbers(printed: str) -> np.ndarray:
    return np.array(printed.split(), dtype=float)


# Page (1955), the 40 values Pettitt (1979), Applied Statistics 28, 126-135, analyses.
PAGE = numbers(
    """
    -1.05 .96 1.22 .58 -.98 -.03 -1.54 -.71 -.35 .66 .44 .91 -.02 -1.42 1.26 -1.02 -.81 1.66 1.05 .97
    2.14 1.22 -.24 1.6 .72 -.12 .44 .03 .66 .56 1.37 1.66 .1 .8 1.29 .49 -.07 1.18 3.29 1.84
    """
)

quarters = st.lists(st.integers(-20, 20).map(lambda n: n / 4), min_size=6, max_size=20).map(np.array)


def test_pages_data_change_after_observation_17_as_pettitt_found() -> None:
    # K = 232, p = 2 exp(-6 K² / (T³ + T²)) = 0.01456, printed 0.014.
    found = pettitt(PAGE)
    assert (found.statistic, found.last_before, found.first_after) == (232, 17 - 1, 17)
    assert found.p == pytest.approx(0.01456, abs=5e-6)


def test_the_nile_changes_after_1898_whatever_the_test(nile: np.ndarray) -> None:
    # Cobb (1978); Zeileis et al. (2003). "28" is the last observation of the old level: 1898, index 27.
    for found in (pettitt(nile), standard_normal_homogeneity(nile), buishand_range(nile), least_squares_step(nile)):
        assert found is not None
        assert (found.last_before, found.first_after) == (27, 28)


def test_the_nile_statistics(nile: np.ndarray) -> None:
    # Computed elsewhere from the published definitions: K = 1617, p about 3.6e-07; 43.22; R / sqrt(n) = 2.9666.
    assert pettitt(nile).statistic == 1617
    assert pettitt(nile).p == pytest.approx(3.6e-07, abs=5e-9)
    assert standard_normal_homogeneity(nile).statistic == pytest.approx(43.22, abs=5e-3)
    assert buishand_range(nile).statistic == pytest.approx(2.9666, abs=5e-5)


def test_the_nile_step_is_that_of_the_structural_change_package(nile: np.ndarray) -> None:
    found = least_squares_step(nile, shortest=15)
    assert found is not None
    assert found.mean_before == pytest.approx(1097.75, abs=5e-3)
    assert found.mean_after == pytest.approx(849.97, abs=5e-3)
    assert found.mean_after - found.mean_before == pytest.approx(-247.78, abs=5e-3)
    assert found.f == pytest.approx(75.93, abs=5e-3)
    assert found.p < 1e-9


def test_the_nile_residual_sums_for_none_to_five_steps_are_those_printed(nile: np.ndarray) -> None:
    printed = [2835157, 1597457, 1552924, 1538097, 1507888, 1659994]
    cuts = [best_segments(nile, steps=steps, shortest=15) for steps in range(6)]
    assert [cut.residual_ss for cut in cuts if cut] == pytest.approx(printed, abs=0.5)
    # BIC 1318 and 1270, with two parameters a segment.
    for cut, bic in zip(cuts, (1318, 1270), strict=False):
        assert cut is not None
        fit = 100 * (math.log(cut.residual_ss / 100) + math.log(2 * math.pi) + 1)
        assert fit + math.log(100) * 2 * (len(cut.starts) + 1) == pytest.approx(bic, abs=0.5)


@pytest.mark.parametrize("n", [12, 40])
def test_the_p_of_a_searched_step_is_near_its_nominal_rate_and_not_below(n: int) -> None:
    rng = np.random.default_rng(n)
    found = np.array([least_squares_step(row).p for row in rng.normal(size=(3000, n))])
    # Three standard errors of 3000 trials: 0.012 at 5 %, 0.0055 at 1 %.
    assert 0.015 < np.mean(found < 0.05) < 0.062
    assert 0.001 < np.mean(found < 0.01) < 0.0155


def test_an_allowance_for_autocorrelation_raises_p() -> None:
    plain, allowed = least_squares_step(PAGE), least_squares_step(PAGE, variance_factor=3)
    assert plain is not None
    assert allowed is not None
    assert plain.p < allowed.p
    assert plain.f == allowed.f


@pytest.mark.parametrize(
    ("name", "first_after", "within"), [("quality_control_1", 146, 3), ("quality_control_2", 97, 0)]
)
def test_steps_marked_by_people_are_found(
    marked_series: Callable[[str], np.ndarray], name: str, first_after: int, within: int
) -> None:
    # Turing Change Point Dataset: simulated control charts with known change points.
    found = least_squares_step(marked_series(name))
    assert found is not None
    assert abs(found.first_after - first_after) <= within
    assert found.p < 1e-6


def test_no_step_is_claimed_where_people_marked_none(marked_series: Callable[[str], np.ndarray]) -> None:
    values = marked_series("quality_control_5")
    step = least_squares_step(values)
    assert step is not None
    assert step.p > 0.5
    assert pettitt(values).p > 0.5


def test_equal_readings_have_no_change() -> None:
    flat = least_squares_step([3.0] * 8)
    assert flat is not None
    assert (flat.f, flat.p) == (0, 1)
    assert pettitt([3.0] * 8).p == 1
    assert standard_normal_homogeneity([3.0] * 8).statistic == 0
    assert buishand_range([3.0] * 8).statistic == 0


def test_a_clean_step_is_certain() -> None:
    found = least_squares_step([1, 1, 1, 4, 4, 4, 4.0])
    assert found is not None
    assert (found.last_before, found.f, found.p, found.residual_ss) == (2, math.inf, 0, 0)


def test_too_few_readings_are_said_so() -> None:
    with pytest.raises(ValueError, match="two readings"):
        pettitt([1.0])
    assert least_squares_step([1, 2]) is None
    assert least_squares_step([1, 2, 3, 4, 5], shortest=3) is None
    assert best_segments([1, 2, 3], steps=1, shortest=2) is None


@given(quarters, st.integers(1, 3))
def test_the_best_cut_is_that_of_trying_them_all(x: np.ndarray, shortest: int) -> None:
    found = best_segments(x, steps=1, shortest=shortest)
    places = range(shortest, x.size - shortest + 1)
    sums = [sum(part.size * part.var() for part in np.split(x, [place])) for place in places]
    if found is None:
        assert not sums
    else:
        assert found.residual_ss == pytest.approx(min(sums), abs=1e-9)


@given(quarters, st.integers(-40, 40), st.sampled_from([0.5, 4.0]))
def test_a_change_moves_and_stretches_with_the_readings(x: np.ndarray, shift: int, factor: float) -> None:
    for test in (pettitt, standard_normal_homogeneity, buishand_range):
        assert test(x * factor + shift).statistic == pytest.approx(test(x).statistic, abs=1e-9)


@given(st.integers(2, 12), st.integers(2, 12), st.integers(1, 9))
def test_a_step_without_noise_is_found_exactly(before: int, after: int, size: int) -> None:
    x = np.repeat([0.0, size], [before, after])
    step, cut = least_squares_step(x), best_segments(x, steps=1, shortest=1)
    assert step is not None
    assert cut is not None
    assert (step.last_before, step.first_after, cut.starts) == (before - 1, before, (before,))
    assert pettitt(x).first_after == before
