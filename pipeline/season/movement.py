"""What one engine did since its epoch began: how far it moved, like for like, in which pattern, and what follows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.catalogue import Indicator
from pipeline.history import FloatArray, Series
from pipeline.season.epochs import Epoch, Reason
from pipeline.season.like_for_like import FEWEST_RUNS, LikeForLike, like_for_like, worth_telling
from pipeline.season.shares import SHARE_RUNS, share_shift
from pipeline.season.shares import newest as newest_share
from pipeline.season.together import CommonStep, common_offset
from pipeline.statistics.alarm_budget import CusumDesign, cusum_for_budget
from pipeline.statistics.arrays import median
from pipeline.statistics.level import spread
from pipeline.statistics.monitor import cusum
from pipeline.statistics.pattern import SCATTER_RATIO, Pattern, pattern
from pipeline.statistics.projection import Crossing, robust_crossing
from pipeline.statistics.trend import theil_sen

PatternWord = Literal["constant", "growing", "step", "scattered", "new"]

NOW_RUNS: Final = 5
"""Runs that make the level now."""

CLEAR_JUMP: Final = 4.0
"""Spreads off the baseline from which newest runs that jumped are called new; less far, the jump led back to it."""

RUN_LENGTH: Final = 40_000.0
"""Readings between false signals of one monitor, in control. About 30 monitors an engine read about 1.3 runs a day, so
one false signal in about 1,000 engine-days: the budget of false watches. A signal alone is no finding yet; the movement
must also reach the size in the indicator's header."""

POOLED: Final = 8.0
"""Degrees of freedom that the fleet's usual spread counts for beside the engine's own baseline."""

DAY_S: Final = 86400.0

IntArray = NDArray[np.intp]


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
    better = _improvement(found, values[epoch.start :], indicator, series.key.facet)
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


def _judged(
    here: Series,
    values: FloatArray,
    epoch: Epoch,
    found: LikeForLike | None,
    indicator: Indicator,
    usual_scale: float | None,
) -> Movement:
    scale = _pooled(found, usual_scale)
    # only what can hold a boat must be told the morning after; the rest waits for five runs
    jump_scale = scale if scale and indicator.limits.hold is not None else math.inf
    now = newest(values if found is None else found.residual, here.n, jump_scale, indicator.minimum_n)
    shift, error = _shift(found, now, scale)
    signalled = found is not None and _is_signalled(found, scale, indicator)
    baseline = None if found is None else median(values[now] - found.residual[now])
    if indicator.kind == "share":
        share = share_shift(here)
        now = newest_share(len(here))
        shift, error = (None, None) if share is None else (share.shift, share.error)
        signalled = share is not None and share.chance <= SHARE_RUNS / RUN_LENGTH
        baseline = None if share is None else share.before.value
    shape = _shape(here, found, scale, indicator) if found is not None and _is_worth(shift, signalled, found) else None
    word = _word(shape, shift, signalled)
    since = _since(here, shape)
    smeared = (
        _smeared_step(found.residual) if found is not None and indicator.looks_back and word == "growing" else None
    )
    if smeared is not None:
        word, since = "step", here.moment(here.at_s[smeared])
    has_jumped = now.stop - now.start < min(NOW_RUNS, len(here))
    if word == "constant" and has_jumped and abs(shift or 0.0) > CLEAR_JUMP * (scale or math.inf):
        # a jump too young to have a shape is no constant
        word, since = "new", here.moment(here.at_s[now.start])
    slopes = _slopes(here, found, since, word)
    return Movement(
        epoch=epoch,
        started_at=here.moment(here.at_s[0]),
        series=here,
        values=values,
        found=found,
        baseline=baseline,
        baseline_n=0 if found is None else found.baseline_n,
        now=now,
        shift=shift,
        shift_error=error,
        is_signalled=signalled,
        pattern=word,
        shape=shape,
        since=since,
        per_100_hours=slopes[0],
        per_week=slopes[1],
        confidence=None if shape is None else shape.confidence,
    )


def _pooled(found: LikeForLike | None, usual_scale: float | None) -> float | None:
    """The engine's own spread and the fleet's usual one, weighed by how much each rests on."""
    if found is None:
        return usual_scale
    if usual_scale is None:
        return found.scale
    own = max(1.0, found.baseline_n - 1.0)
    return math.sqrt((own * found.scale**2 + POOLED * usual_scale**2) / (own + POOLED))


def _shift(found: LikeForLike | None, now: slice, scale: float | None) -> tuple[float | None, float | None]:
    if found is None or scale is None or now.start < FEWEST_RUNS - 1:
        return None, None
    residual = found.residual[now]
    error = median(found.error[now])
    return median(residual), math.hypot(1.2533 * scale / math.sqrt(residual.size), error)


def _is_signalled(found: LikeForLike, scale: float | None, indicator: Indicator) -> bool:
    """Whether the monitor of the runs after the baseline stands above its limit now."""
    later = slice(found.baseline_n, None)
    residual = found.residual[later]
    if scale is None or not residual.size:
        return False
    total = np.hypot(found.error[later], scale)
    standardised = np.where(np.isfinite(total), residual / np.where(np.isfinite(total), total, 1.0), 0.0)
    if indicator.looks_back:
        # readings that share their runs make no independent sum: the level itself must stand out
        return bool(abs(np.median(standardised[-NOW_RUNS:])) > _SIGMAS_SHARED)
    design = monitor_design(found.baseline_n)
    if design is None:
        return False
    run = cusum(np.clip(standardised, -_CLIP, _CLIP), target=0.0, sigma=1.0, k=design.k, h=design.h)
    return bool(max(run.upper[-1], run.lower[-1]) > run.limit)


def monitor_design(baseline_n: int) -> CusumDesign | None:
    """The monitor on a baseline of so many runs that keeps to the budget; None where that is too short for one."""
    return cusum_for_budget(RUN_LENGTH, baseline_n=baseline_n, spread_df=baseline_n - 1 + POOLED, lag_one=LAG_ONE)


LAG_ONE: Final = 0.2
"""Resemblance of neighbouring runs that the monitors allow for; twelve runs are too few to measure it on each."""

_SIGMAS_SHARED: Final = 5.0
_CLIP: Final = 8.0
"""One wild run counts for no more than this many spreads."""


def _is_worth(shift: float | None, signalled: bool, found: LikeForLike) -> bool:  # noqa: FBT001
    """Whether the shape is worth the computing: something moved, or scatters more than it did."""
    is_off = shift is not None and abs(shift) > 2 * found.scale
    return signalled or is_off or spread(found.residual) > SCATTER_RATIO * found.scale


def _shape(here: Series, found: LikeForLike, scale: float | None, indicator: Indicator) -> Pattern | None:
    return pattern(here.at_s / DAY_S, found.residual, usual_scale=scale, resolution=indicator.resolution)


LOOK_BACK_RUNS: Final = 10


def _smeared_step(values: FloatArray) -> int | None:
    """Index where a step began that ten-run readings smear into a ramp, if that fits better than any bend.

    Both pictures have three numbers, so the residual sums of squares can be compared.
    """
    places = np.arange(FEWEST_RUNS, len(values) - 2)
    if not places.size:
        return None
    since = np.arange(len(values))[None, :] - places[:, None] + 1
    bends = np.maximum(since, 0.0)
    ramps = np.minimum(bends / LOOK_BACK_RUNS, 1.0)
    ramp_left, bend_left = _left(ramps, values), _left(bends, values)
    return int(places[np.argmin(ramp_left)]) if ramp_left.min() <= CLEARLY_LESS * bend_left.min() else None


CLEARLY_LESS: Final = 0.75
"""Growth that ended looks much like a smeared step, so a step must leave clearly less than growth leaves."""


def _left(pictures: FloatArray, values: FloatArray) -> FloatArray:
    """Residual sum of squares of values (n,) on a level and each picture (m, n), shape (m,)."""
    off = pictures - pictures.mean(axis=1, keepdims=True)
    deviation = values - values.mean()
    explained = (off @ deviation) ** 2 / np.maximum((off**2).sum(axis=1), 1e-12)
    return np.asarray(deviation @ deviation - explained)


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


def _improvement(found: LikeForLike | None, values: FloatArray, indicator: Indicator, facet: str) -> int | None:
    """Index of the first reading after the last clear step for the better; None where there is none.

    Getting better is no finding: a repair, a re-set target or a corrected table starts the comparison anew. Clear is:
    five runs before against up to five after, at least three, further apart than half of what would be watched and
    than five standard errors.
    """
    if found is None or len(values) < 2 * _EITHER_SIDE:
        return None
    away = _badness(found, indicator, facet)
    if float(np.max(away)) < worth_telling(indicator, found.expectation.level):
        return None
    gain, error = _gains(away, found.scale)
    least = max(worth_telling(indicator, found.expectation.level) / 2, 4 * found.scale)
    clear = np.flatnonzero(gain > np.maximum(least, 5 * error))
    if not clear.size:
        return None
    # of the last group of neighbouring candidates the one that stands out most from its own scatter
    last = clear[clear >= clear[-1] - NOW_RUNS]
    return int(last[np.argmax(gain[last] / error[last])]) + _EITHER_SIDE


_EITHER_SIDE: Final = 3


def _gains(away: FloatArray, scale: float) -> tuple[FloatArray, FloatArray]:
    """How much better the runs from each place on are than those before it, and the standard error of that.

    Both (n - 5,), the first for a change at index 3: up to five runs on either side, at least three.
    """
    places = np.arange(_EITHER_SIDE, len(away) - _EITHER_SIDE + 1)
    before = _mean_and_spread(away, np.maximum(0, places - NOW_RUNS), places)
    after = _mean_and_spread(away, places, np.minimum(len(away), places + NOW_RUNS))
    spread = np.maximum(scale, np.maximum(before[1], after[1]))
    counts = 1 / (places - np.maximum(0, places - NOW_RUNS)) + 1 / (np.minimum(len(away), places + NOW_RUNS) - places)
    return before[0] - after[0], spread * np.sqrt(counts)


def _mean_and_spread(values: FloatArray, low: IntArray, high: IntArray) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of values[low:high] for many stretches at once, from running sums."""
    level = values - values.mean()
    sums = np.concatenate([[0.0], np.cumsum(level)])
    squares = np.concatenate([[0.0], np.cumsum(level**2)])
    count = high - low
    mean = (sums[high] - sums[low]) / count
    variance = (squares[high] - squares[low] - count * mean**2) / np.maximum(count - 1, 1)
    return mean + values.mean(), np.sqrt(np.maximum(variance, 0.0))


def _badness(found: LikeForLike, indicator: Indicator, facet: str) -> FloatArray:
    """How bad each reading is, upwards, at the baseline's own temperature and voltage: how far beyond what is wanted.

    So an error that was there from commissioning on and was put right starts anew too.
    """
    if indicator.worse == "higher":
        return found.residual
    if indicator.worse == "lower":
        return -found.residual
    if indicator.judged.against == "baseline":
        return np.abs(found.residual)
    low, high = indicator.wanted.get(facet, (0.0, 0.0))
    like = found.expectation.level + found.residual
    return np.asarray(np.maximum(np.maximum(low - like, like - high), 0.0))
