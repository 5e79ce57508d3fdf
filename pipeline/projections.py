"""Where a growing level leads: its line on engine hours with the band about it, and when it reaches each limit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from pipeline.history import FloatArray
from pipeline.season.movement import SEARCHED_ONSET, crossing, growth
from pipeline.states import State, bad_limit, bad_side, like_readings
from pipeline.statistics.projection import Band, Outlook, robust_band

LimitWord = Literal["watch", "hold"]

POINTS: Final = 60
"""Places at which the line and its band are given."""

AHEAD: Final = (0.3, 1.5)
"""How far ahead the line is followed at least and at most, in lengths of the growth so far."""


@dataclass(frozen=True)
class Reach:
    """When the line reaches a limit: engine hours from now, with the ends of the interval.

    `limit` is the level in the indicator's unit at which the limit stands on the bad side. None: not known, or for
    `high` without end. All three are 0 where the outlook is 'reached'.
    """

    word: LimitWord
    limit: float
    outlook: Outlook
    hours: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, eq=False)
class Projection:
    """A growing series since its growth began, on engine hours, like for like and in the indicator's unit.

    `hours`, `readings` (n,) are from then on; `along` (m,) the hours at which `band` is given, from the first reading
    to some way ahead of `now_hours`, the newest reading's. A band that is open is infinite there.
    """

    hours: FloatArray
    readings: FloatArray
    now_hours: float
    along: FloatArray
    band: Band
    reaches: tuple[Reach, ...]


def projection(state: State) -> Projection | None:
    """Where the series leads; None where it does not grow, or has too few readings since it does."""
    grown = growth(state.moved)
    if grown is None:
        return None
    hours, values = state.moved.series.hours[grown], like_readings(state)[grown]
    reaches = tuple(_reaches(state))
    along = _along(hours, reaches)
    band = robust_band(hours, values, along, variance_factor=SEARCHED_ONSET)
    return None if band is None else Projection(hours, values, float(hours[-1]), along, band, reaches)


def _reaches(state: State) -> Iterator[Reach]:
    """The limits that stand as levels; what is judged by its baseline alone has none."""
    if state.indicator.judged.against != "limits":
        return
    sign, zero = bad_side(state)
    signed = sign * (like_readings(state) - zero)
    now_hours = float(state.moved.series.hours[-1])
    limits: tuple[tuple[LimitWord, float | None], ...] = (("watch", state.limits.watch), ("hold", state.limits.hold))
    for word, limit in limits:
        bad = None if limit is None else bad_limit(state, limit)
        found = None if bad is None else crossing(state.moved, bad, signed)
        if bad is not None and found is not None:
            hours = [_ahead(each, now_hours) for each in (found.at, found.interval.low, found.interval.high)]
            if found.outlook == "reached":
                hours = [0.0, 0.0, 0.0]
            yield Reach(word, zero + sign * bad, found.outlook, *hours)


def _ahead(at: float | None, now_hours: float) -> float | None:
    return None if at is None else max(0.0, at - now_hours)


def _along(hours: FloatArray, reaches: tuple[Reach, ...]) -> FloatArray:
    """From the first reading to a little beyond the farthest end of an interval, within `AHEAD`."""
    length = max(float(np.ptp(hours)), 1.0)
    ends = [end for each in reaches for end in (each.hours, each.high) if end is not None]
    ahead = min(max(1.15 * max(ends, default=0.0), AHEAD[0] * length), AHEAD[1] * length)
    return np.linspace(float(hours[0]), float(hours[-1]) + ahead, POINTS)
