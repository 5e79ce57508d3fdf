"""Where a series must be compared anew: at commissioning, where the calibration changed, at a note, after a repair.

The current epoch is the stretch from the last such moment to now.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from pipeline.history import FloatArray, Series
from pipeline.logbook import REBASING, Kind, Note
from pipeline.statistics.arrays import median
from pipeline.statistics.regression import huber_fit

Reason = Literal["commissioning", "calibration", "note", "improvement"]

SETTING_STEP: Final = 0.3
"""Smallest change of a shift target, % of travel, that is a calibration change."""

TABLE_STEP: Final = 1.0
"""The same for a table value, % : it follows temperature along a bent line, so neighbours differ without a change."""

SETTING_SIGMAS: Final = 6.0
"""...and how far it must stand out of the setting's own run-to-run scatter (the table value follows temperature)."""

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
    """Indices of the first readings under a new setting; a setting that depends on temperature is levelled first."""
    known = ~np.isnan(series.setting)
    if np.count_nonzero(known) < 2:
        return []
    places = np.flatnonzero(known)
    level = _without_temperature(series.setting[places], series.temp_c[places])
    moves = np.abs(np.diff(level))
    usual = median(moves) if moves.size else 0.0
    smallest = SETTING_STEP if series.key.indicator.startswith(_TARGET_NOTES) else TABLE_STEP
    limit = max(smallest, SETTING_SIGMAS * usual)
    return [int(places[at + 1]) for at in np.flatnonzero(moves > limit) if _lasts(level, int(at), limit)]


def _without_temperature(setting: FloatArray, temp_c: FloatArray) -> FloatArray:
    """The setting less its line on temperature; unchanged where temperature is unknown or the setting is constant."""
    if np.isnan(temp_c).any() or np.ptp(setting) < SETTING_STEP or np.ptp(temp_c) < 1:
        return setting
    off = temp_c - temp_c.mean()
    moved, warmed = np.diff(setting), np.diff(temp_c)
    # neighbours differ by temperature alone, save at the rare change: their differences give the slope untouched by it
    fit = huber_fit(
        warmed[:, None], moved, prior=np.zeros(1), prior_sd=np.full(1, np.inf), resolution=SETTING_STEP / 10
    )
    slope = float(fit.coefficients[0])
    return np.asarray(setting - slope * off)


def _lasts(level: FloatArray, at: int, limit: float) -> bool:
    """Whether the new setting stays: one odd reading between two alike is no change. The newest reading counts."""
    after = level[at + 1 : at + 4]
    before = level[max(0, at - 2) : at + 1]
    return bool(abs(np.median(after) - np.median(before)) > limit / 2)


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
