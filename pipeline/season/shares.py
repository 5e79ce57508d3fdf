"""Readings that are shares of a few tries a run: too coarse for a median, so tries are added up over several runs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from pipeline.history import Series
from pipeline.season.like_for_like import BASELINE_RUNS, FEWEST_RUNS, MOVING_P
from pipeline.statistics.proportion import chance_of_rise

SHARE_RUNS: Final = 10
"""Runs whose tries are added up for the share now; about thirty tries (common practice, no published source)."""


@dataclass(frozen=True)
class Share:
    """A count out of tries, added up over runs."""

    count: int
    tries: int

    @property
    def value(self) -> float:
        """The share, 0 to 1; NaN without tries."""
        return self.count / self.tries if self.tries else math.nan


@dataclass(frozen=True)
class ShareShift:
    """The share of the newest runs against that of the first ones.

    `shift` is now less before, `error` its standard error by the binomial law, `chance` that of so many by luck alone.
    """

    now: slice
    before: Share
    after: Share
    baseline_n: int
    shift: float
    error: float
    chance: float


def newest(here: Series) -> slice:
    """Which runs make the share now: the last ones, those of the baseline left out once it is complete."""
    runs, baseline = len(here), baseline_runs(here)
    first = baseline if runs > baseline else 0
    return slice(max(first, runs - SHARE_RUNS), runs)


def baseline_runs(here: Series) -> int:
    """How many of the first runs make the baseline: fewer where the share rose within them beyond luck.

    Else the baseline of an engine that began to hesitate in its second week would hold the fault.
    """
    places = range(FEWEST_RUNS, BASELINE_RUNS)
    chances = [_rise_at(here, place) for place in places]
    # the place was searched for, so each look has its part of the chance that is allowed
    rose = min(chances) * len(chances) <= MOVING_P
    return places[chances.index(min(chances))] if rose else BASELINE_RUNS


def _rise_at(here: Series, place: int) -> float:
    """The chance that the first runs from a place on count so many more than those before it by luck."""
    first, rest = added_up(here.pick(slice(0, place))), added_up(here.pick(slice(place, BASELINE_RUNS)))
    return chance_of_rise(rest.count, rest.tries, first.count, first.tries)


def added_up(series: Series) -> Share:
    """All tries of a stretch and how many of them counted; a reading is a share of its own `n` tries."""
    return Share(round(float(series.value @ series.n)), round(float(series.n.sum())))


def share_shift(here: Series) -> ShareShift | None:
    """How far the share has moved since the first runs; None until there are runs beyond them."""
    baseline = baseline_runs(here)
    if len(here) <= baseline:
        return None
    now = newest(here)
    before, after = added_up(here.pick(slice(0, baseline))), added_up(here.pick(now))
    if not before.tries or not after.tries:
        return None
    error = math.sqrt(sum(_variance(each) for each in (before, after)))
    # few tries tell little: a short baseline is held against all that came after it
    later = after if baseline == BASELINE_RUNS else added_up(here.pick(slice(baseline, None)))
    chance = chance_of_rise(later.count, later.tries, before.count, before.tries)
    return ShareShift(now, before, after, baseline, after.value - before.value, error, chance)


def _variance(found: Share) -> float:
    """Of the share, by the binomial law; two tries of either kind are added, so that none of none is not sure."""
    share = (found.count + 2) / (found.tries + 4)
    return float(np.divide(share * (1 - share), found.tries + 4))
