"""More scatter is seen whatever the level does, and few readings claim nothing."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.statistics.scatter import spread_change


def test_three_times_the_scatter_is_seen_and_a_new_level_is_not() -> None:
    rng = np.random.default_rng(1)
    before, now = rng.normal(size=200), 50 + 3 * rng.normal(size=200)
    found = spread_change(before, now)
    assert found.ratio == pytest.approx(3, rel=0.25)
    assert found.p < 0.001
    assert found.p == pytest.approx(stats.levene(before, now, center="median").pvalue)
    assert spread_change(before, before + 50).ratio == pytest.approx(1)


def test_fewer_than_three_readings_on_a_side_say_nothing() -> None:
    found = spread_change([1, 2, math.nan], [1, 2, 3, 4])
    assert (math.isnan(found.ratio), math.isnan(found.p), found.n_before, found.n_now) == (True, True, 2, 4)


def test_rounded_readings_that_never_moved_are_as_scattered_as_their_rounding() -> None:
    found = spread_change([4.0] * 8, [4.0, 4.0, 4.0, 4.5, 4.5], resolution=0.5)
    assert 1 <= found.ratio < 4
    assert spread_change([4.0] * 8, [4.0] * 8).ratio == 1
    assert spread_change([4.0] * 8, [4.0, 5.0, 6.0]).ratio == math.inf
