"""Where a series must be compared anew: at commissioning, where the calibration changed, at a note, after a repair.

The current epoch is the stretch from the last such moment to now.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.history import FloatArray, Series
from pipeline.logbook import REBASING, Kind, Note

Reason = Literal["commissioning", "calibration", "note", "improvement"]

SETTING_STEP: Final = 0.3
"""Smallest change of a shift target, % of travel, that is a calibration change."""

TABLE_STEP: Final = 1.0
"""The same for a table value, %, which also follows temperature."""

LIKE_TEMP_C: Final = 2.5
"""Table values this close in temperature can be compared: a table moves by well under 1 % over it (common practice)."""

_TARGET_NOTES: Final = "shift_"
_TABLE_NOTES: Final = ("idle_", "off_idle", "engagement", "release")


@dataclass(frozen=True)
class Epoch:
    """A stretch of a series from index `start` on, and why it starts there."""

    start: int
    reason: Reason


def current_epoch(series: Series, notes: Sequence[Note]) -> Epoch:
    """The epoch that the newest reading belongs to, by settings and notes."""
    starts = [Epoch(0, "commissioning")]
    starts += [Epoch(place, "calibration") for place in setting_changes(series)]
    starts += [Epoch(place, "note") for place in _rebased(series, notes)]
    return max(starts, key=lambda epoch: epoch.start)


def setting_changes(series: Series) -> list[int]:
    """Indices of the first readings under a new setting; a table value is compared at like temperature."""
    if series.key.indicator.startswith(_TARGET_NOTES):
        return _steps(series.setting, np.zeros(len(series)), SETTING_STEP)
    return _steps(series.setting, series.temp_c, TABLE_STEP)


def _steps(setting: FloatArray, temp_c: FloatArray, smallest: float) -> list[int]:
    """Where a setting leaves what it was at like temperature since the last change, and stays away."""
    known = np.flatnonzero(~np.isnan(setting) & ~np.isnan(temp_c))
    if known.size < 2 or np.ptp(setting[known]) <= smallest:
        return []
    found: list[int] = []
    first = 0
    for place in range(1, known.size):
        before = known[first:place]
        # one odd reading between two alike is no change; the newest reading counts by itself
        off = [_off(setting, temp_c, before, each) for each in known[place : place + 2]]
        if all(abs(each) > smallest for each in off) and len({np.sign(each) for each in off}) == 1:
            found.append(int(known[place]))
            first = place
    return found


def _off(setting: FloatArray, temp_c: FloatArray, before: NDArray[np.intp], place: int) -> float:
    """A setting less the earlier ones within LIKE_TEMP_C of its temperature; 0 where there are none to compare with."""
    like = before[np.abs(temp_c[before] - temp_c[place]) <= LIKE_TEMP_C]
    return float(setting[place] - np.median(setting[like])) if like.size else 0.0


def _rebased(series: Series, notes: Sequence[Note]) -> list[int]:
    """Indices of the first readings after notes that start a comparison anew."""
    moments = [note.at.timestamp() for note in notes if note.kind in REBASING and _touches(note.kind, series)]
    places = [int(np.searchsorted(series.at_s, moment, side="right")) for moment in moments]
    return [place for place in places if 0 < place < len(series)]


def _touches(kind: Kind, series: Series) -> bool:
    """A new target says something about shifting, a new table about idling; other re-basings about everything."""
    if kind is Kind.NEW_TARGET:
        return series.key.indicator.startswith(_TARGET_NOTES)
    if kind is Kind.NEW_TABLE:
        return series.key.indicator.startswith(_TABLE_NOTES)
    return True
