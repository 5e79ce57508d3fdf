"""What one engine did since its epoch began: how far it moved, like for like, in which pattern, and what follows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

import numpy as np

from pipeline.catalogue import Indicator
from pipeline.history import FloatArray, Series
from pipeline.season.epochs import Epoch, Reason
from pipeline.season.improvement import improvement
from pipeline.season.like_for_like import FEWEST_RUNS, LikeForLike, like_for_like
from pipeline.season.monitoring import NOW_RUNS, RUN_LENGTH, is_signalled, pooled
from pipeline.season.shares import SHARE_RUNS, share_shift
from pipeline.season.shares import newest as newest_share
from pipeline.season.smearing import smeared_step
from pipeline.season.together import CommonStep, common_offset
from pipeline.statistics.arrays import median
from pipeline.statistics.level import spread
from pipeline.statistics.pattern import SCATTER_RATIO, Pattern, pattern
from pipeline.statistics.projection import Crossing, robust_crossing
from pipeline.statistics.trend import theil_sen

PatternWord = Literal["constant", "growing", "step", "scattered", "new"]

CLEAR_JUMP: Final = 4.0
"""Spreads off the baseline from which newest runs that jumped are called new; less far, the jump led back to it."""

DAY_S: Final = 86400.0


@dataclass(frozen=True, eq=False)
class Movement:
    """One series' season. Values are in the indicator's unit; None is 'not known'.

    `shift` is the like-for-like level now less the baseline, `shift_error` its standard error; `is_signalled` tells
    whether the monitor stands above its limit now. `pattern` names the shape since `since`, `per_100_hours` and
    `per_week` its slope there; `confidence` is the pattern's share of the evidence. `baseline` is what the baseline
    expects at today's temperature and voltage. `values` (n,) are the epoch's readings, common movement taken out.
    """

    epoch: Epoch
    started_at: datetime
    series: Series
    values: FloatArray
    found: LikeForLike | None
    baseline: float | None
    baseline_n: int
    now: slice
    shift: float | None
    shift_error: float | None
    is_signalled: bool
    pattern: PatternWord
    shape: Pattern | None
    since: datetime | None
    per_100_hours: float | None
    per_week: float | None
    confidence: float | None

    @property
    def reason(self) -> Reason:
        """Why the epoch began."""
        return self.epoch.reason

    @property
    def resolution(self) -> float | None:
        """How coarsely the readings come; None while nothing is learned."""
        return None if self.found is None else self.found.resolution

    @property
    def is_learning(self) -> bool:
        """Too few runs since the epoch began to say whether anything moved."""
        return self.found is None or len(self.series) < FEWEST_RUNS + 1


@dataclass(frozen=True, eq=False)
class Compared:
    """A series, its current epoch, and that epoch against its own baseline, before anything common is taken out."""

    series: Series
    epoch: Epoch
    found: LikeForLike | None


def movement(
    compared: Compared, indicator: Indicator, steps: Sequence[CommonStep], usual_scale: float | None
) -> Movement:
    """Judge the newest epoch of a series; an improvement inside it starts the epoch anew."""
    series, epoch, found = compared.series, compared.epoch, compared.found
    values = series.value - common_offset(series.at_s, steps)
    if steps:
        found = like_for_like(series.pick(slice(epoch.start, None)), values[epoch.start :], indicator)
    better = improvement(found, values[epoch.start :], indicator, series.key.facet)
    if better is not None:
        epoch = Epoch(epoch.start + better, "improvement")
        found = like_for_like(series.pick(slice(epoch.start, None)), values[epoch.start :], indicator)
    return _judged(series.pick(slice(epoch.start, None)), values[epoch.start :], epoch, found, indicator, usual_scale)


def newest(values: FloatArray, n: FloatArray, scale: float, minimum_n: int) -> slice:
    """Which readings make the level now: the last five runs, fewer where they jumped and stayed there.

    One run counts as a jump by itself only if it rests on enough samples and stands ten spreads away; two runs if both
    stand six away. So a step is told the morning after, and one odd run decides nothing.
    """
    total = len(values)
    for count, sigmas in ((1, 10.0), (2, 6.0), (3, 6.0), (4, 6.0)):
        if total < count + 3:
            break
        before = values[max(0, total - count - NOW_RUNS) : total - count]
        off = values[-count:] - median(before)
        together = bool(np.all(np.abs(off) > sigmas * scale) and abs(np.sign(off).sum()) == count)
        if together and n[-count:].sum() >= minimum_n:
            return slice(total - count, total)
    return slice(max(0, total - NOW_RUNS), total)


def crossing(moved: Movement, limit: float, signed: FloatArray) -> Crossing | None:
    """When the growth reaches a limit, on engine hours; `signed` (n,) are the epoch's readings with worse upwards."""
    grown = growth(moved)
    if grown is None:
        return None
    hours = moved.series.hours[grown]
    return robust_crossing(hours, signed[grown], limit, bad="above", variance_factor=SEARCHED_ONSET)


def growth(moved: Movement) -> slice | None:
    """The readings since growth began; None where the series does not grow."""
    if moved.pattern != "growing" or moved.since is None:
        return None
    return slice(int(np.searchsorted(moved.series.at_s, moved.since.timestamp(), side="left")), None)


SEARCHED_ONSET: Final = 2.0
"""The onset of growth was searched for, which makes the slope after it look surer than it is (ours, by simulation)."""


@dataclass(frozen=True)
class _Standing:
    """Where the newest runs stand against the baseline; None where nothing is learned yet."""

    now: slice
    baseline: float | None
    shift: float | None
    error: float | None
    is_signalled: bool


def _of_levels(
    here: Series, values: FloatArray, found: LikeForLike | None, scale: float | None, indicator: Indicator
) -> _Standing:
    """The median of the newest runs, like for like, and the monitor of the runs after the baseline."""
    # only what can hold a boat must be told the morning after; the rest waits for five runs
    jump_scale = scale if scale and indicator.limits.hold is not None else math.inf
    now = newest(values if found is None else found.residual, here.n, jump_scale, indicator.minimum_n)
    shift, error = _shift(found, now, scale)
    return _Standing(
        now=now,
        baseline=None if found is None else median(values[now] - found.residual[now]),
        shift=shift,
        error=error,
        is_signalled=found is not None and is_signalled(found, scale, indicator),
    )


def _of_shares(here: Series) -> _Standing:
    """The share of the newest runs' tries, and the exact test against that of the first ones."""
    now, share = newest_share(here), share_shift(here)
    if share is None:
        return _Standing(now, baseline=None, shift=None, error=None, is_signalled=False)
    spent = share.chance <= SHARE_RUNS / RUN_LENGTH
    return _Standing(now, share.before.value, share.shift, share.error, is_signalled=spent)


def _judged(
    here: Series,
    values: FloatArray,
    epoch: Epoch,
    found: LikeForLike | None,
    indicator: Indicator,
    usual_scale: float | None,
) -> Movement:
    scale = pooled(found, usual_scale)
    at = _of_shares(here) if indicator.kind == "share" else _of_levels(here, values, found, scale, indicator)
    shape = (
        _shape(here, found, scale, indicator)
        if found is not None and _is_worth(at.shift, at.is_signalled, found)
        else None
    )
    word = _word(shape, at.shift, at.is_signalled)
    since = _since(here, shape)
    smeared = smeared_step(found.residual) if found is not None and indicator.looks_back and word == "growing" else None
    if smeared is not None:
        word, since = "step", here.moment(here.at_s[smeared])
    has_jumped = at.now.stop - at.now.start < min(NOW_RUNS, len(here))
    if word == "constant" and has_jumped and abs(at.shift or 0.0) > CLEAR_JUMP * (scale or math.inf):
        # a jump too young to have a shape is no constant
        word, since = "new", here.moment(here.at_s[at.now.start])
    slopes = _slopes(here, found, since, word)
    return Movement(
        epoch=epoch,
        started_at=here.moment(here.at_s[0]),
        series=here,
        values=values,
        found=found,
        baseline=at.baseline,
        baseline_n=0 if found is None else found.baseline_n,
        now=at.now,
        shift=at.shift,
        shift_error=at.error,
        is_signalled=at.is_signalled,
        pattern=word,
        shape=shape,
        since=since,
        per_100_hours=slopes[0],
        per_week=slopes[1],
        confidence=None if shape is None else shape.confidence,
    )


def _shift(found: LikeForLike | None, now: slice, scale: float | None) -> tuple[float | None, float | None]:
    if found is None or scale is None or now.start < FEWEST_RUNS - 1:
        return None, None
    residual = found.residual[now]
    error = median(found.error[now])
    return median(residual), math.hypot(1.2533 * scale / math.sqrt(residual.size), error)


def _is_worth(shift: float | None, signalled: bool, found: LikeForLike) -> bool:  # noqa: FBT001
    """Whether the shape is worth the computing: something moved, or scatters more than it did."""
    is_off = shift is not None and abs(shift) > 2 * found.scale
    return signalled or is_off or spread(found.residual) > SCATTER_RATIO * found.scale


def _shape(here: Series, found: LikeForLike, scale: float | None, indicator: Indicator) -> Pattern | None:
    return pattern(here.at_s / DAY_S, found.residual, usual_scale=scale, resolution=indicator.resolution)


def _word(shape: Pattern | None, shift: float | None, signalled: bool) -> PatternWord:  # noqa: FBT001
    if shape is None or shift is None:
        return "new" if shift is None else "constant"
    if shape.name == "constant" and signalled:
        lines = [fit for fit in shape.fits if fit.shape in {"line", "bend"}]
        steps = [fit for fit in shape.fits if fit.shape == "step"]
        better_line = min((fit.criterion for fit in lines), default=math.inf)
        return "step" if min((fit.criterion for fit in steps), default=math.inf) < better_line else "growing"
    return shape.name


def _since(here: Series, shape: Pattern | None) -> datetime | None:
    if shape is None or shape.since is None:
        return None
    return here.moment(shape.since * DAY_S)


def _slopes(
    here: Series, found: LikeForLike | None, since: datetime | None, word: PatternWord
) -> tuple[float | None, float | None]:
    """Like-for-like slope since growth began, per 100 engine hours and per week; None unless it grows."""
    if found is None or word != "growing":
        return None, None
    start = 0 if since is None else int(np.searchsorted(here.at_s, since.timestamp() - 1, side="left"))
    by_hour = theil_sen(here.hours[start:], found.residual[start:])
    by_day = theil_sen(here.at_s[start:] / DAY_S, found.residual[start:])
    return (
        None if by_hour is None else by_hour.slope * 100,
        None if by_day is None else by_day.slope * 7,
    )
