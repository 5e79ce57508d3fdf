"""When a straight line reaches a limit, with an interval that stays open where the slope is not established."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from scipy import special

from pipeline.statistics.arrays import CONFIDENCE, FloatArray, Interval, complete, median
from pipeline.statistics.level import spread
from pipeline.statistics.regression import least_squares
from pipeline.statistics.trend import theil_sen

if TYPE_CHECKING:
    from numpy.typing import ArrayLike


MEDIAN_VARIANCE: Final = math.pi / 2
"""Variance of a median over that of a mean, normal readings (asymptotic)."""

Outlook = Literal["reached", "crosses", "open", "moving away", "too few"]
BadSide = Literal["above", "below"]


@dataclass(frozen=True)
class Crossing:
    """Where the line reaches the limit, in the unit of time of the readings.

    `outlook`: 'crosses' has a time ahead and a closed interval. 'open': the slope is not established (g >= 1), so there
    is no time, at most the soonest plausible one (`interval.low`) and no latest. 'reached': the fitted line is at or
    beyond the limit now; `at` is when, None if the slope cannot tell. 'moving away' and 'too few': no time at all.
    g is Fieller's, the squared ratio of the slope's half interval to the slope; None where there is no line.
    """

    at: float | None
    interval: Interval
    g: float | None
    slope: float | None
    outlook: Outlook


@dataclass(frozen=True)
class _Line:
    """A line about its pivot, where level and slope are uncorrelated, with the quantile its interval takes."""

    pivot: float
    level: float
    slope: float
    level_variance: float
    slope_variance: float
    quantile: float


def least_squares_crossing(
    t: ArrayLike, y: ArrayLike, limit: float, *, bad: BadSide = "above", confidence: float = CONFIDENCE
) -> Crossing:
    """Time at which the least-squares line of y on t, both (n,), reaches the limit, with Fieller's interval.

    USEPA Unified Guidance (2009) ch. 17 for the line; Fieller (1954). NaN pairs are left out. `bad` is the side of
    the limit to stay away from; 'now' is the latest time.
    """
    times, values = complete(t, y)
    if times.size < 3 or not np.ptp(times):
        return _none("too few", confidence)
    pivot = float(times.mean())
    fit = least_squares(np.column_stack([np.ones(times.size), times - pivot]), values)
    quantile = float(special.stdtrit(fit.df, (1 + confidence) / 2))
    level_variance, slope_variance = np.diag(fit.covariance).tolist()
    level, slope = fit.coefficients.tolist()
    line = _Line(pivot, level, slope, level_variance, slope_variance, quantile)
    return _cross(line, limit, bad, float(times.max()), confidence)


def robust_crossing(
    t: ArrayLike,
    y: ArrayLike,
    limit: float,
    *,
    bad: BadSide = "above",
    confidence: float = CONFIDENCE,
    variance_factor: float = 1.0,
) -> Crossing:
    """As `least_squares_crossing` on the Theil-Sen line through (median t, median of y less the slope's share).

    Ours: Fieller's interval with the slope's standard error read off Gilbert's interval and the level's as that of a
    median, sqrt(pi/2) scale / sqrt(n). `variance_factor` (autocorrelation, 1 or more) multiplies both variances. An
    open slope interval (too few readings) gives outlook 'open'.
    """
    times, values = complete(t, y)
    about = _robust_line(times, values, confidence, variance_factor)
    if about is None:
        return _none("too few", confidence)
    return _cross(about, limit, bad, float(times.max()), confidence)


@dataclass(frozen=True, eq=False)
class Band:
    """A line with its confidence band at some times, arrays (m,): `low` and `high` are infinite where it is open."""

    middle: FloatArray
    low: FloatArray
    high: FloatArray


def robust_band(
    t: ArrayLike, y: ArrayLike, at: FloatArray, *, confidence: float = CONFIDENCE, variance_factor: float = 1.0
) -> Band | None:
    """The line of `robust_crossing` on t, y (n,) at the times `at` (m,), and the band whose ends that crossing reads.

    Where the band touches a limit is where Fieller's interval of the crossing ends. None for fewer than three pairs or
    one time.
    """
    times, values = complete(t, y)
    line = _robust_line(times, values, confidence, variance_factor)
    if line is None:
        return None
    middle_ = line.level + line.slope * (at - line.pivot)
    half = line.quantile * np.sqrt(line.level_variance + (at - line.pivot) ** 2 * line.slope_variance)
    return Band(middle_, middle_ - half, middle_ + half)


def _robust_line(times: FloatArray, values: FloatArray, confidence: float, variance_factor: float) -> _Line | None:
    """The Theil-Sen line about the middle time; None for fewer than three readings or one time."""
    line = theil_sen(times, values, confidence=confidence, variance_factor=variance_factor)
    if line is None or times.size < 3:
        return None
    quantile = float(special.ndtri((1 + confidence) / 2))
    low, high = line.interval.low, line.interval.high
    half = math.inf if low is None or high is None else (high - low) / 2
    residuals = values - line.slope * times - line.intercept_median_residual
    pivot = median(times)
    level_variance = MEDIAN_VARIANCE * spread(residuals) ** 2 * variance_factor / times.size
    level = line.intercept_median_residual + line.slope * pivot
    return _Line(pivot, level, line.slope, level_variance, (half / quantile) ** 2, quantile)


def _none(outlook: Outlook, confidence: float, g: float | None = None, slope: float | None = None) -> Crossing:
    return Crossing(None, Interval(None, None, confidence), g, slope, outlook)


def _cross(line: _Line, limit: float, bad: BadSide, now: float, confidence: float) -> Crossing:
    sign = 1 if bad == "above" else -1
    is_reached = sign * (line.level + line.slope * (now - line.pivot) - limit) >= 0
    g = line.quantile**2 * line.slope_variance / line.slope**2 if line.slope else math.inf
    low, high = _touching(line, limit)
    if g >= 1 and is_reached:
        return _none("reached", confidence, g, line.slope)
    if g >= 1:
        # The plausible times lie outside the two touching points: from the later one on, without end.
        soonest = high if high is not None and high > now else None
        return Crossing(None, Interval(soonest, None, confidence), g, line.slope, "open")
    if sign * line.slope < 0:
        return _none("reached" if is_reached else "moving away", confidence, g, line.slope)
    at = line.pivot + (limit - line.level) / line.slope
    return Crossing(at, Interval(low, high, confidence), g, line.slope, "reached" if is_reached else "crosses")


def _touching(line: _Line, limit: float) -> tuple[float | None, float | None]:
    """Both times at which the line's confidence band touches the limit, ascending; None where it never does.

    Fieller: (level + slope d - limit)² = q² (var level + d² var slope).
    """
    gap = limit - line.level
    a = line.slope**2 - line.quantile**2 * line.slope_variance
    c = gap**2 - line.quantile**2 * line.level_variance
    if a == 0 or math.isinf(a):
        return None, None
    discriminant = (line.slope * gap) ** 2 - a * c
    if discriminant < 0:
        return None, None
    ends = sorted((line.slope * gap + sign * math.sqrt(discriminant)) / a for sign in (-1, 1))
    return line.pivot + ends[0], line.pivot + ends[1]


def pseudo_failure_time(t: ArrayLike, y: ArrayLike, limit: float) -> float | None:
    """Time at which the least-squares line (with intercept) of y on t, both (n,), reaches the limit, ahead or behind.

    Meeker & Escobar (1998). None for fewer than two different times or a level line. NaN pairs are left out.
    """
    times, values = complete(t, y)
    if times.size < 2 or not np.ptp(times):
        return None
    off = times - times.mean()
    slope = float(off @ values) / float(off @ off)
    return float(times.mean()) + (limit - float(values.mean())) / slope if slope else None


def observed_crossing(t: ArrayLike, y: ArrayLike, limit: float) -> float | None:
    """First time the readings themselves reach a limit above their first, linear between neighbours; None if never.

    Times (n,) ascending, NaN pairs left out. A limit below the first reading is taken as approached from above.
    """
    times, values = complete(t, y)
    if not times.size:
        return None
    beyond = np.flatnonzero((values >= limit) if values[0] <= limit else (values <= limit))
    if not beyond.size:
        return None
    at = int(beyond[0])
    if at == 0:
        return float(times[0])
    share = (limit - values[at - 1]) / (values[at] - values[at - 1])
    return float(times[at - 1] + share * (times[at] - times[at - 1]))
