"""The joint assignment against every possible one, counted out."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, permutations

import numpy as np
import pytest

from pipeline.proposal.assign import assigned, confidences


def _matchings(rows: int, columns: int) -> Iterator[list[tuple[int, int]]]:
    for size in range(min(rows, columns) + 1):
        for chosen in combinations(range(rows), size):
            for places in permutations(range(columns), size):
                yield list(zip(chosen, places, strict=True))


def _by_counting(log_odds: np.ndarray) -> tuple[np.ndarray, list[tuple[int, int]]]:
    """How often each pair stands in all matchings, each weighed by the product of its odds; and the likeliest one."""
    share, total, best = np.zeros(log_odds.shape), 0.0, (0.0, [])
    for matching in _matchings(*log_odds.shape):
        odds = float(np.exp(sum(log_odds[pair] for pair in matching)))
        total += odds
        for pair in matching:
            share[pair] += odds
        best = max(best, (odds, matching)) if odds > best[0] else best
    return share / total, best[1]


@pytest.mark.parametrize("seed", range(8))
def test_the_assignment_is_the_likeliest_of_all(seed: int) -> None:
    log_odds = np.random.default_rng(seed).normal(0, 3, (4, 5))
    assert assigned(log_odds) == _by_counting(log_odds)[1]


@pytest.mark.parametrize("shape", [(1, 1), (1, 4), (4, 1)])
def test_where_pairs_meet_in_one_place_only_the_belief_is_exact(shape: tuple[int, int]) -> None:
    log_odds = np.random.default_rng(3).normal(0, 3, shape)
    assert confidences(log_odds) == pytest.approx(_by_counting(log_odds)[0], abs=1e-6)


def test_among_many_the_belief_is_near_to_the_exact_one() -> None:
    rng = np.random.default_rng(4)
    off = [np.abs(confidences(each) - _by_counting(each)[0]).max() for each in rng.normal(-1, 3, (30, 4, 5))]
    assert np.median(off) < 0.05
    assert max(off) < 0.2


def test_two_columns_that_fit_equally_share_the_belief() -> None:
    assert confidences(np.array([[5.0, 5.0]])) == pytest.approx(np.array([[0.5, 0.5]]), abs=0.01)


def test_impossible_pairs_are_never_assigned() -> None:
    assert assigned(np.array([[-np.inf, 2.0], [-np.inf, 3.0]])) == [(1, 1)]
    assert confidences(np.full((2, 2), -np.inf)).max() == 0.0
