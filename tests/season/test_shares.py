"""Shares of a few tries a run: added up, held against the baseline exactly, and quiet while luck can explain them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binomtest, fisher_exact
from season_maker import judged, made_series

from pipeline.history import Series
from pipeline.season.monitoring import RUN_LENGTH
from pipeline.season.shares import SHARE_RUNS, Share, added_up, newest, share_shift
from pipeline.states import State


def tries(counts: list[int], each: int = 3) -> Series:
    """Runs of three shifts each, so many of which stood still part-way."""
    return made_series(np.asarray(counts) / each, "shift_hesitation", "forward", n=float(each))


def state(counts: list[int]) -> State:
    return judged(tries(counts))


def test_the_share_now_is_that_of_all_tries_of_the_newest_runs_with_wilsons_interval() -> None:
    found = state([0] * 12 + [0, 1, 2, 1, 2, 1, 2, 2, 1, 2])
    low, high = binomtest(14, 30).proportion_ci(method="wilson")

    assert (found.value, found.low, found.high) == pytest.approx((14 / 30, low, high))
    assert (found.n, found.runs) == (30, 10)


def test_a_share_that_rose_clearly_is_watched_although_most_runs_read_a_third() -> None:
    found = state([0] * 12 + [1, 1, 1, 2, 1, 1, 2, 1, 2, 1])

    assert found.moved.baseline == 0.0
    assert found.moved.shift == pytest.approx(13 / 30)
    assert found.status == "watch"


def test_the_test_is_fishers_and_spends_the_budget_of_the_monitors() -> None:
    shift = share_shift(tries([0] * 11 + [1] + [1] * 10))

    assert shift is not None
    expected = fisher_exact([[10, 20], [1, 35]], alternative="greater").pvalue
    assert shift.chance == pytest.approx(expected)
    # ten of thirty against one of thirty-six is not yet beyond luck for a fleet's whole season
    assert shift.chance > SHARE_RUNS / RUN_LENGTH
    assert state([0] * 11 + [1] + [1] * 10).status == "ready"


def test_a_clear_rise_that_is_too_small_to_matter_is_not_watched() -> None:
    counts = np.asarray([0] * 12 + [4] * 10)
    found = judged(made_series(counts / 30, "shift_hesitation", "forward", n=30.0))

    assert found.moved.is_signalled
    assert found.moved.shift == pytest.approx(4 / 30)
    assert found.status == "ready"


def test_until_there_are_runs_beyond_the_baseline_nothing_has_moved() -> None:
    assert share_shift(tries([0] * 12)) is None
    assert newest(tries([0] * 12)) == slice(2, 12)
    assert newest(tries([0] * 13)) == slice(12, 13)
    assert newest(tries([0] * 40)) == slice(30, 40)
    # nine of twenty-one against none of fifteen may be luck (3 in 1,000), and the baseline is still being learned
    assert fisher_exact([[9, 12], [0, 15]], alternative="greater").pvalue == pytest.approx(0.0031, abs=1e-4)
    assert state([0] * 5 + [1, 1, 2, 1, 2, 1, 1]).status == "ready"


def test_a_rise_within_the_first_runs_is_told_and_makes_no_baseline() -> None:
    counts = [0] * 5 + [2, 1, 3, 2, 2, 1, 2]
    # thirteen of twenty-one against none of fifteen: no luck (1 in 10,000 by Fisher's exact test)
    assert fisher_exact([[13, 8], [0, 15]], alternative="greater").pvalue < SHARE_RUNS / RUN_LENGTH
    assert (state(counts).status, state(counts).moved.baseline) == ("watch", 0.0)
    assert state(counts + [2, 1] * 5).status == "watch"
    # wherever it begins: three runs of the first twelve, each with all its shifts, are no luck either
    later = share_shift(tries([0] * 9 + [3] * 3 + [2, 1, 2]))
    assert later is not None
    assert later.before == Share(0, 27)


def test_a_share_that_fell_is_no_finding() -> None:
    assert state([2] * 12 + [0] * 10).status == "ready"


def test_a_healthy_engine_that_hesitates_now_and_then_is_left_alone_for_a_whole_season() -> None:
    # one shift in twenty stands still; forty engines, sixty runs each, every run judged
    rng = np.random.default_rng(5)
    watched = 0
    for _ in range(40):
        counts = rng.binomial(3, 0.05, 60)
        for runs in range(13, 61):
            shift = share_shift(tries(counts[:runs].tolist()))
            watched += shift is not None and shift.shift >= 0.2 and shift.chance <= SHARE_RUNS / RUN_LENGTH
    assert watched == 0


def test_tries_are_added_up_as_whole_numbers() -> None:
    # a share of 1/3 stored in single precision still counts one
    series = made_series([np.float32(1 / 3)] * 3, "shift_hesitation", "forward", n=3.0)

    assert (added_up(series).count, added_up(series).tries) == (3, 9)
