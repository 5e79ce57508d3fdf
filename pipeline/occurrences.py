"""Indicators judged by single occurrences: stalls, which hold until answered, and channels not to be believed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np

from pipeline.catalogue import Indicator, indicators
from pipeline.history import History, Series
from pipeline.logbook import ANSWERING, Note

SIGNAL_RUNS: Final = 3
"""A signal fault is current if one of this many newest runs shows it in at least two, or the newest alone shows it."""


@dataclass(frozen=True)
class Occurrence:
    """Something that happened and has not been answered. `count` is how often, in `run_ids`; `remark` is what was seen.

    `clean_runs` is how many later runs were without it.
    """

    series: Series
    indicator: Indicator
    count: float
    run_ids: tuple[str, ...]
    latest_at: datetime
    clean_runs: int
    remark: str | None


def occurrences(history: History, engine_id: str, notes: Sequence[Note]) -> Iterator[Occurrence]:
    """What an engine's readings show that is judged by occurrence and still stands."""
    for series in history.series.get(engine_id, ()):
        indicator = indicators()[series.key.indicator]
        if indicator.judged.against != "any":
            continue
        found = _standing(history, series, indicator, notes)
        if found is not None:
            yield found


def _standing(history: History, series: Series, indicator: Indicator, notes: Sequence[Note]) -> Occurrence | None:
    happened = np.flatnonzero(series.value > 0)
    if not happened.size:
        return None
    starts_s = history.runs[series.key.engine_id].started_s
    clean_wanted = indicator.judged.clean_runs or SIGNAL_RUNS - 1
    recent = [
        int(place)
        for place in happened
        if np.count_nonzero(starts_s > series.at_s[place]) < clean_wanted and not _answered(series, int(place), notes)
    ]
    if not recent:
        return None
    newest = recent[-1]
    return Occurrence(
        series=series,
        indicator=indicator,
        count=float(series.value[recent].sum()) if indicator.unit == "count" else float(series.value[newest]),
        run_ids=tuple(series.run_ids[recent].tolist()),
        latest_at=series.moment(series.at_s[newest]),
        clean_runs=int(np.count_nonzero(starts_s > series.at_s[newest])),
        remark=series.remark,
    )


def _answered(series: Series, place: int, notes: Sequence[Note]) -> bool:
    """Whether something was done about the engine after that run began."""
    return any(note.kind in ANSWERING and note.at.timestamp() > series.at_s[place] for note in notes)
