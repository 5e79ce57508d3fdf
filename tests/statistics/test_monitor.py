"""CUSUM and EWMA against the handbook's worked examples, and against the recursion written out."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.monitor import cusum, ewma


def numbers(printed: str) -> np.ndarray:
    return np.array(printed.split(), dtype=float)


# NIST/SEMATECH e-Handbook 6.3.2.3: 20 group means, target 325, sigma of a mean 0.635.
GROUPS = numbers(
    """
    324.925 324.675 324.725 324.350 325.350 325.225 324.125 324.525 325.225 324.600 324.625 325.150 328.325
    327.250 327.825 328.500 326.675 327.775 326.875 328.350
    """
)
UPPER = numbers("0 0 0 0 0.03 0 0 0 0 0 0 0 3.01 4.94 7.45 10.63 11.99 14.44 16.00 19.04")
LOWER = numbers("0 0.01 0 0.33 0 0 0.56 0.72 0.17 0.25 0.31 0 0 0 0 0 0 0 0 0")
# Montgomery, Introduction to Statistical Quality Control, 20 values N(10, 1) and 10 values N(11, 1).
MONTGOMERY = numbers(
    """
    9.45 7.99 9.29 11.66 12.16 10.18 8.04 11.46 9.20 10.34 9.03 11.47 10.51 9.40 10.08 9.37 10.62 10.31 8.52
    10.84 10.90 9.33 12.29 11.50 10.60 11.08 10.38 11.62 11.31 10.52
    """
)
# NIST/SEMATECH e-Handbook 6.3.2.4.
EWMA_X = numbers(
    """
    52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1
    """
)
EWMA_Z = numbers(
    """
    50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23
    51.94 51.99
    """
)

readings = st.lists(st.integers(-40, 40).map(lambda n: n / 8), min_size=1, max_size=40).map(np.array)


def test_nist_cusum_table_comes_out_to_two_decimals() -> None:
    found = cusum(GROUPS, target=325, sigma=0.635, k=0.5, h=4.1959 / 0.635)
    # 14.445 prints 14.44 and 19.035 prints 19.04: allow the rounding tie.
    assert np.abs(found.upper - UPPER).max() <= 0.0050001
    assert np.abs(found.lower - LOWER).max() <= 0.0050001


def test_nist_cusum_signals_at_group_14_and_the_shift_began_after_group_12() -> None:
    found = cusum(GROUPS, target=325, sigma=0.635, k=0.5, h=4.1959 / 0.635)
    assert (found.signal, found.side) == (14 - 1, "up")
    assert (found.last_before, found.run) == (12 - 1, 2)
    assert found.new_mean == pytest.approx(325 + 0.3175 + 4.94 / 2, abs=5e-3)
    assert np.flatnonzero(found.upper > found.limit).tolist() == [*range(13, 20)]


def test_nist_decision_limit_follows_from_its_design_formula() -> None:
    # h = 2 ln(1 / (alpha / 2)) k with alpha = 0.0027 prints 4.1959; it is the limit the example above uses.
    assert 2 * math.log(2 / 0.0027) * 0.3175 == pytest.approx(4.1959, abs=5e-5)


def test_montgomery_cusum_signals_at_observation_29() -> None:
    # Table 9.2: C+ = 5.28 at 29, N+ = 7, shift between 22 and 23, new mean 11.25; C+ at 30 = 5.30.
    found = cusum(MONTGOMERY, target=10, sigma=1, k=0.5, h=5)
    assert (found.signal, found.side, found.run, found.last_before) == (28, "up", 7, 21)
    assert found.upper[28:].tolist() == pytest.approx([5.28, 5.30], abs=5e-3)
    assert found.new_mean == pytest.approx(11.25, abs=5e-3)


def test_montgomery_ewma_signals_at_observation_29() -> None:
    # Section 9.2, weight 0.1, L = 2.7: limits 10.27/9.73, 10.36/9.64, steady 10.62/9.38.
    found = ewma(MONTGOMERY, target=10, sigma=1, weight=0.1, width=2.7)
    assert found.z[:2].tolist() == pytest.approx([9.945, 9.7495], abs=5e-5)
    assert found.high[:2].tolist() == pytest.approx([10.27, 10.36], abs=5e-3)
    assert found.low[:2].tolist() == pytest.approx([9.73, 9.64], abs=5e-3)
    steady = ewma(MONTGOMERY, target=10, sigma=1, weight=0.1, width=2.7, is_steady=True)
    assert (steady.high[0], steady.low[0]) == (pytest.approx(10.62, abs=5e-3), pytest.approx(9.38, abs=5e-3))
    assert (found.signal, found.side) == (28, "up")
    assert found.z[28] == pytest.approx(10.6468, abs=5e-5)


def test_nist_ewma_values_and_steady_limits_come_out_and_nothing_signals() -> None:
    found = ewma(EWMA_X, target=50, sigma=2.0539, weight=0.3, width=3, is_steady=True)
    assert np.abs(found.z - EWMA_Z).max() <= 0.0050001
    # The page rounds sqrt(0.3 / 1.7) to 0.4201, so allow 1e-4.
    assert found.high[0] == pytest.approx(52.5884, abs=1e-4)
    assert found.low[0] == pytest.approx(47.4115, abs=1e-4)
    assert found.signal is None


def test_exact_ewma_limits_of_the_nist_example_widen_from_the_first_reading() -> None:
    # Computed from the printed formula: 51.8485/48.1515, 52.2564/47.7436, 52.4314/47.5686.
    found = ewma(EWMA_X, target=50, sigma=2.0539, weight=0.3, width=3)
    assert found.high[:3].tolist() == pytest.approx([51.8485, 52.2564, 52.4314], abs=5e-5)
    assert found.low[:3].tolist() == pytest.approx([48.1515, 47.7436, 47.5686], abs=5e-5)


def test_a_missing_reading_holds_both_monitors() -> None:
    gap = np.insert(MONTGOMERY, 25, math.nan)
    plain, held = (cusum(x, target=10, sigma=1, k=0.5, h=5) for x in (MONTGOMERY, gap))
    assert held.upper[25] == held.upper[24]
    assert np.delete(held.upper, 25) == pytest.approx(plain.upper)
    assert (held.signal, held.run, held.new_mean) == (29, plain.run, pytest.approx(plain.new_mean))
    smooth = ewma(gap, target=10, sigma=1, weight=0.1, width=2.7)
    assert smooth.z[25] == smooth.z[24]
    assert smooth.signal == 29


def test_a_drop_is_signalled_on_the_lower_side_with_a_lower_mean() -> None:
    found = cusum([0, 0, -3, -3, -3], target=0, sigma=1, k=0.5, h=4)
    assert (found.signal, found.side, found.last_before) == (3, "down", 1)
    assert found.new_mean == pytest.approx(-3)


def test_a_head_start_signals_a_shift_that_is_there_from_the_first_reading_sooner() -> None:
    plain = cusum([1.5] * 9, target=0, sigma=1, k=0.5, h=4)
    ahead = cusum([1.5] * 9, target=0, sigma=1, k=0.5, h=4, head_start=2)
    assert (plain.signal, ahead.signal, ahead.last_before) == (4, 2, -1)


def test_a_spread_that_is_not_positive_is_refused() -> None:
    with pytest.raises(ValueError, match="sigma"):
        cusum([1], target=0, sigma=0, k=0.5, h=5)
    with pytest.raises(ValueError, match="weight"):
        ewma([1], target=0, sigma=1, weight=0, width=3)


@given(readings, st.sampled_from([0.0, 2.0]))
def test_the_cusum_is_its_recursion(x: np.ndarray, head_start: float) -> None:
    found = cusum(x, target=0.5, sigma=2, k=0.25, h=2, head_start=head_start)
    up = down = head_start * 2
    for at, value in enumerate(x):
        up, down = max(0, up + value - 0.5 - 0.5), max(0, down + 0.5 - value - 0.5)
        assert (found.upper[at], found.lower[at]) == (pytest.approx(up), pytest.approx(down))


@given(readings)
def test_turning_the_readings_over_swaps_the_sums(x: np.ndarray) -> None:
    one, other = (cusum(v, target=0, sigma=1, k=0.5, h=4) for v in (x, -x))
    assert one.upper == pytest.approx(other.lower)
    assert one.signal == other.signal
