"""What a morning may use: every series of readings and each engine's record, up to one moment and nothing later."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.catalogue import read_query
from pipeline.database import Database, rows

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class SeriesKey:
    """Which readings: one engine ('boat/engine'), one indicator, one facet ('' where the indicator has none)."""

    engine_id: str
    indicator: str
    facet: str


@dataclass(frozen=True)
class Series:
    """Readings in time order, arrays of one length: start of the run (epoch s), engine hours, value, count, covariates.

    `setting` is the calibration in force. A covariate or setting is NaN where it is not declared or was not logged.
    `remark` is the newest reading's, if any.
    """

    key: SeriesKey
    at_s: FloatArray
    hours: FloatArray
    value: FloatArray
    n: FloatArray
    temp_c: FloatArray
    battery_v: FloatArray
    setting: FloatArray
    run_ids: NDArray[np.object_]
    remark: str | None

    def last(self, count: int) -> Series:
        """The newest `count` readings."""
        return self.pick(slice(max(0, len(self.value) - count), None))

    def pick(self, where: slice) -> Series:
        """A stretch of the readings."""
        return Series(
            key=self.key,
            at_s=self.at_s[where],
            hours=self.hours[where],
            value=self.value[where],
            n=self.n[where],
            temp_c=self.temp_c[where],
            battery_v=self.battery_v[where],
            setting=self.setting[where],
            run_ids=self.run_ids[where],
            remark=self.remark,
        )

    def __len__(self) -> int:
        return len(self.value)


@dataclass(frozen=True)
class EngineRecord:
    """An engine's logs so far. `hours` and `last_run_at` are None where no run was logged."""

    engine_id: str
    last_log_at: datetime
    logs: int
    channels: tuple[str, ...]
    runs: int
    last_run_at: datetime | None
    hours: float | None


@dataclass(frozen=True)
class Runs:
    """The runs of one engine in time order, as arrays of one length: start and end (epoch s), hours, log file."""

    run_ids: NDArray[np.object_]
    files: NDArray[np.object_]
    started_s: FloatArray
    ended_s: FloatArray
    hours: FloatArray

    def files_of(self, run_ids: Sequence[str]) -> tuple[str, ...]:
        """The log files in which these runs began, each once, in time order."""
        found = self.files[np.isin(self.run_ids, list(run_ids))]
        return tuple(dict.fromkeys(found.tolist()))

    def __len__(self) -> int:
        return len(self.run_ids)


@dataclass(frozen=True)
class History:
    """Everything up to `as_of`: series, record and runs by engine id; an engine without logs or runs is not there."""

    as_of: datetime
    series: Mapping[str, tuple[Series, ...]]
    engines: Mapping[str, EngineRecord]
    runs: Mapping[str, Runs]


def load_history(db: Database, as_of: datetime) -> History:
    """Read a snapshot. `as_of` is aware; a log that ended later is left out whole."""
    moment = {"as_of": as_of}
    db.execute(f"create or replace temp table run_hours as {read_query('marts', 'run_hours')}", moment)
    readings = db.sql(read_query("marts", "history")).to_arrow_table()
    runs = db.sql(read_query("marts", "run_lists")).to_arrow_table()
    records = [_record(row) for row in rows(db, read_query("marts", "engine_records"), moment)]
    series: dict[str, list[Series]] = {}
    for found in _series(readings):
        series.setdefault(found.key.engine_id, []).append(found)
    return History(
        as_of,
        {engine_id: tuple(group) for engine_id, group in series.items()},
        {record.engine_id: record for record in records},
        _runs(runs),
    )


_NUMBERS: Final = ("at_s", "hours", "value", "n", "temp_c", "battery_v", "setting")


def _record(row: Mapping[str, Any]) -> EngineRecord:
    return EngineRecord(**{**row, "channels": tuple(row["channels"])})


def _series(found: pa.Table) -> Iterator[Series]:
    """Split the list columns; the numbers are views into Arrow's memory, not copies."""
    keys = zip(*(found[name].to_pylist() for name in ("engine_id", "indicator", "facet")), strict=True)
    columns = {name: _lists(found[name]) for name in _NUMBERS}
    run_ids, remarks = _lists(found["run_id"]), found["remark"].to_pylist()
    for place, key in enumerate(keys):
        arrays = {name: lists[place] for name, lists in columns.items()}
        yield Series(key=SeriesKey(*key), **arrays, run_ids=run_ids[place], remark=remarks[place])


def _runs(found: pa.Table) -> dict[str, Runs]:
    columns = [_lists(found[name]) for name in ("run_id", "file", "started_s", "ended_s", "hours")]
    return {
        engine_id: Runs(*arrays)
        for engine_id, arrays in zip(found["engine_id"].to_pylist(), zip(*columns, strict=True), strict=True)
    }


def _lists(column: pa.ChunkedArray) -> list[NDArray[Any]]:
    parts: list[NDArray[Any]] = []
    for chunk in column.chunks:
        flat = chunk.flatten().to_numpy(zero_copy_only=False)
        bounds = np.cumsum([0, *chunk.value_lengths().to_numpy(zero_copy_only=False)])
        parts += [flat[low:high] for low, high in itertools.pairwise(bounds)]
    return parts
