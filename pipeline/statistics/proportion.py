"""Counts out of a number of tries: the interval of a share, and the chance that one share is no higher than another."""

from __future__ import annotations

import math

import numpy as np
from scipy import special

from pipeline.statistics.arrays import CONFIDENCE, Interval


def wilson(count: float, tries: float, confidence: float = CONFIDENCE) -> Interval:
    """Wilson's score interval of a share (Wilson 1927; NIST/SEMATECH e-Handbook 7.2.4.1), also right near 0 and 1.

    Raises ValueError unless 0 <= count <= tries and tries > 0.
    """
    if not 0 <= count <= tries or tries <= 0:
        raise ValueError(f"expected 0 <= count <= tries, got {count} of {tries}")
    z = float(special.ndtri((1 + confidence) / 2))
    share, widening = count / tries, z**2 / tries
    middle = (share + widening / 2) / (1 + widening)
    half = z * math.sqrt(share * (1 - share) / tries + widening / (4 * tries)) / (1 + widening)
    return Interval(max(0.0, middle - half), min(1.0, middle + half), confidence)


def chance_of_rise(count: int, tries: int, count_before: int, tries_before: int) -> float:
    """Fisher's exact test, one-sided: the chance of at least `count` of all the counts falling to the later tries.

    1.0 where there are no tries on one side. Hypergeometric law with all margins given (Fisher 1935).
    """
    if not tries or not tries_before:
        return 1.0
    both = count + count_before
    seen = np.arange(count, min(both, tries) + 1)
    law = (
        _log_choose(tries, seen)
        + _log_choose(tries_before, both - seen)
        - _log_choose(tries + tries_before, np.asarray(both))
    )
    return min(1.0, float(np.exp(law).sum()))


def _log_choose(n: int, k: np.ndarray) -> np.ndarray:
    """Logarithm of n over k; minus infinity where k is no part of n."""
    inside = (k >= 0) & (k <= n)
    kept = np.where(inside, k, 0)
    found = special.gammaln(n + 1) - special.gammaln(kept + 1) - special.gammaln(n - kept + 1)
    return np.where(inside, found, -np.inf)
