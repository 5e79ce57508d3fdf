"""What a morning may use: every series of readings and each engine's record, up to one moment and nothing later."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
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
    `remark` is the newest reading's, if any. `zone` is the fleet's: a day is what people there call so.
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
    zone: tzinfo = UTC

    def moment(self, at_s: float) -> datetime:
        """An epoch second on the fleet's clock."""
        return datetime.fromtimestamp(float(at_s), self.zone)

    def last(self, count: int) -> Series:
        """The newest `count` readings."""
        return self.pick(slice(max(0, len(self.value) - count), None))

    def where(self, kept: NDArray[np.bool_]) -> Series:
        """The readings that a mask (n,) keeps."""
        return self._of(kept)

    def pick(self, where: slice) -> Series:
        """A stretch of the readings."""
        return self._of(where)

    def _of(self, where: slice | NDArray[np.bool_]) -> Series:
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
            zone=self.zone,
        )

    def joined(self, other: Series) -> Series:
        """Both in time order, under this key; the newest reading's remark."""
        order = np.argsort(np.concatenate([self.at_s, other.at_s]), kind="stable")
        columns = {name: np.concatenate([getattr(self, name), getattr(other, name)])[order] for name in _COLUMNS}
        newest = self if self.at_s[-1] >= other.at_s[-1] else other
        return Series(key=self.key, remark=newest.remark, zone=self.zone, **columns)

    def __len__(self) -> int:
        return len(self.value)


_COLUMNS: Final = ("at_s", "hours", "value", "n", "temp_c", "battery_v", "setting", "run_ids")


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
    """The runs of one engine in time order, as arrays of one length: start and end (epoch s), hours, log file.

    `levels` are what `events.runs` tells of the channels of each run, by its column name, the engine's own counter of
    hours at start and end among them; NaN where a channel was not logged.
    """

    run_ids: NDArray[np.object_]
    files: NDArray[np.object_]
    started_s: FloatArray
    ended_s: FloatArray
    hours: FloatArray
    levels: Mapping[str, FloatArray] = field(default_factory=dict)

    def level(self, name: str) -> FloatArray:
        """One level of every run (n,); NaN where it is not known."""
        return self.levels.get(name, np.full(len(self), np.nan))

    def files_of(self, run_ids: Sequence[str]) -> tuple[str, ...]:
        """The log files in which these runs began, each once, in time order."""
        found = self.files[np.isin(self.run_ids, list(run_ids))]
        return tuple(dict.fromkeys(found.tolist()))

    def __len__(self) -> int:
        return len(self.run_ids)


@dataclass(frozen=True, eq=False)
class Doubt:
    """A channel that cannot be believed in some of an engine's runs (n,), and why.

    `whole` says that nothing of those runs can be believed of this engine.
    """

    channel: str
    runs: NDArray[np.bool_]
    remark: str
    whole: bool = False


@dataclass(frozen=True)
class History:
    """Everything up to `as_of`: series, record and runs by engine id; an engine without logs or runs is not there.

    `as_of` is in the fleet's zone. `doubts` are what cannot be believed, by engine id: as loaded, what single runs
    showed by themselves.
    """

    as_of: datetime
    series: Mapping[str, tuple[Series, ...]]
    engines: Mapping[str, EngineRecord]
    runs: Mapping[str, Runs]
    doubts: Mapping[str, tuple[Doubt, ...]] = field(default_factory=dict)


def load_history(db: Database, as_of: datetime) -> History:
    """Read a snapshot. `as_of` is in the fleet's zone; a log that ended later is left out whole."""
    moment = {"as_of": as_of}
    db.execute(f"create or replace temp table run_hours as {read_query('marts', 'run_hours')}", moment)
    db.execute(f"create or replace temp table series as {read_query('marts', 'series')}")
    runs = db.sql(read_query("marts", "run_lists")).to_arrow_table()
    keys = rows(db, "from series order by series_no")
    readings = db.sql(read_query("marts", "history")).to_arrow_table()
    zone = as_of.tzinfo or UTC
    records = [_record(row, zone) for row in rows(db, read_query("marts", "engine_records"), moment)]
    columns = {name: runs[name].to_numpy() for name in (*_RUN_COLUMNS, *_LEVELS)}
    series: dict[str, list[Series]] = {}
    for found in _series(keys, readings, columns, zone):
        series.setdefault(found.key.engine_id, []).append(found)
    runs_of = dict(_runs(runs["engine_id"].to_pylist(), columns))
    return History(
        as_of,
        {engine_id: tuple(group) for engine_id, group in series.items()},
        {record.engine_id: record for record in records},
        runs_of,
        dict(_doubts(rows(db, read_query("marts", "faults")), runs_of)),
    )


_RUN_COLUMNS: Final = ("run_id", "file", "started_s", "ended_s", "hours")
_LEVELS: Final = (
    "first_hours",
    "last_hours",
    "oil_first_c",
    "coolant_first_c",
    "air_first_c",
    "oil_high_c",
    "coolant_high_c",
    "air_high_c",
    "oil_pressure_kpa",
    "oil_pressure_high_kpa",
    "trim_swept_pct",
    "integral_swept_pct",
)
_VALUES: Final = ("value", "n", "temp_c", "battery_v", "setting")


def _record(row: Mapping[str, Any], zone: tzinfo) -> EngineRecord:
    moments = {name: at.astimezone(zone) for name, at in row.items() if isinstance(at, datetime)}
    return EngineRecord(**{**row, **moments, "channels": tuple(row["channels"])})


def _series(
    keys: Sequence[Mapping[str, Any]], readings: pa.Table, runs: Mapping[str, NDArray[Any]], zone: tzinfo
) -> Iterator[Series]:
    """Each series' stretch of the readings, put into the order of series and runs; the arrays are views, not copies."""
    series_no, run_no = readings["series_no"].to_numpy(), readings["run_no"].to_numpy()
    order = np.lexsort((run_no, series_no))
    values = {name: readings[name].to_numpy()[order] for name in _VALUES}
    run_no = run_no[order]
    of_runs = {"at_s": runs["started_s"][run_no], "hours": runs["hours"][run_no], "run_ids": runs["run_id"][run_no]}
    columns = values | of_runs
    bounds = np.cumsum([0, *(key["readings"] for key in keys)])
    for key, (low, high) in zip(keys, itertools.pairwise(bounds), strict=True):
        place = SeriesKey(key["engine_id"], key["indicator"], key["facet"])
        mine = {name: each[low:high] for name, each in columns.items()}
        yield Series(key=place, remark=key["remark"], zone=zone, **mine)


def _doubts(faults: Sequence[Mapping[str, Any]], runs: Mapping[str, Runs]) -> Iterator[tuple[str, tuple[Doubt, ...]]]:
    """What single runs showed by themselves, by engine: a doubt for each channel and remark."""
    for engine_id, mine in itertools.groupby(faults, key=lambda row: row["engine_id"]):
        known = runs[engine_id].run_ids
        yield (
            engine_id,
            tuple(Doubt(row["channel"], np.isin(known, row["run_ids"]), row["remark"] or "") for row in mine),
        )


def _runs(engine_ids: Sequence[str], columns: Mapping[str, NDArray[Any]]) -> Iterator[tuple[str, Runs]]:
    """The runs of each engine, which stand together in time order."""
    low = 0
    for engine_id, group in itertools.groupby(engine_ids):
        high = low + sum(1 for _ in group)
        mine = {name: each[low:high] for name, each in columns.items()}
        yield (
            engine_id,
            Runs(
                mine["run_id"],
                mine["file"],
                mine["started_s"],
                mine["ended_s"],
                mine["hours"],
                {name: mine[name] for name in _LEVELS},
            ),
        )
        low = high
