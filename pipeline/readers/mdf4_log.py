"""Reads MDF4 logs (ASAM MDF 4) group by group, so that no slow channel is filled in between its own samples.

Each channel group keeps its own rows; the log has the union of their time stamps and blanks elsewhere.
"""

from __future__ import annotations

import gc
import logging
import sys
import traceback
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

import numpy as np

from pipeline.problems import Problem
from pipeline.readers.clock import LogClock, Start, TimeReading, find_start
from pipeline.readers.header import Column, column_of
from pipeline.readers.matching import select
from pipeline.readers.request import LogRead, Refusal, in_words
from pipeline.readers.rows import Losses, Scan, create_rows, finish

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from numpy.typing import NDArray

    from pipeline.database import Database
    from pipeline.readers.matching import Selection
    from pipeline.readers.request import ReadRequest

_PLAIN_BUS_EVENTS: Final = 0x4
"""Channel group flag 'plain bus event' of ASAM MDF 4.1: the group holds raw frames, not signals."""

_MASTERS: Final = (2, 3)
"""Channel types of the time axis: master and virtual master."""

_STAMP_DIGITS: Final = 6
"""Stamps of two groups closer than a microsecond are one row."""


@dataclass(frozen=True)
class Mdf4Channel:
    """A signal in a file: its column, and where it stands."""

    column: Column
    group: int
    index: int


def read_mdf4_log(db: Database, request: ReadRequest) -> LogRead:
    """Read an MDF4 log into `log_rows`.

    Raises:
        Refusal: the log cannot be taken, or the reader's package is not installed.
    """
    with opened(request) as file:
        channels = signals_of(file)
        if not channels:
            raise Refusal(_nothing_decoded(file, request))
        selection = select([channel.column for channel in channels], request, own_time=True)
        signals = {pick.index: _samples(file, channels[pick.index]) for pick in selection.picks}
        clock = _clock(file, request)
    return _rows(db, request, selection, signals, clock)


@contextmanager
def opened(request: ReadRequest) -> Iterator[Any]:
    """The open file. Whatever the package raises on a damaged one becomes a refusal: it has no exception of its own.

    Raises:
        Refusal: the package is missing, or the file is damaged.
    """
    file = _open(request)
    try:
        yield file
    except Refusal:
        raise
    except Exception as error:
        raise Refusal(_damaged(error, request)) from error
    finally:
        file.close()


def _open(request: ReadRequest) -> Any:
    try:
        from asammdf import MDF  # noqa: PLC0415 - an extra, and slow to import
    except ImportError as error:
        raise Refusal(
            Problem(request.file, None, "missing_extra", "the package asammdf for MDF4 logs", "none installed",
                    "Install it: pip install 'morning-watch[mdf4]'.")
        ) from error  # fmt: skip
    logging.getLogger("asammdf").setLevel(logging.CRITICAL)
    try:
        return MDF(request.path)
    except Exception as error:  # noqa: BLE001 - struct, key, seek and MDF errors alike
        problem = _damaged(error, request)
        _let_go(error)
    raise Refusal(problem)


def _damaged(error: Exception, request: ReadRequest) -> Problem:
    way_out = "Copy the log from the logger again."
    return Problem(request.file, None, "damaged_file", "an MDF4 file", in_words(error, request), way_out)


def _let_go(error: Exception) -> None:
    """Free the half-made file now, in silence: its destructor fails too, and Python would print that on stderr."""
    hook = sys.unraisablehook
    sys.unraisablehook = lambda _: None
    try:
        traceback.clear_frames(error.__traceback__)
        gc.collect()
    finally:
        sys.unraisablehook = hook


def signals_of(file: Any) -> list[Mdf4Channel]:
    """Every signal of the groups that have samples and are decoded, in the file's order."""
    return [
        Mdf4Channel(_column(channel), group_at, channel_at)
        for group_at, group in enumerate(file.groups)
        if group.channel_group.cycles_nr and not _is_raw(group)
        for channel_at, channel in enumerate(group.channels)
        if channel.channel_type not in _MASTERS
    ]


def _column(channel: Any) -> Column:
    column = column_of(channel.name)
    unit = (channel.unit or "").strip()
    return Column(column.written, column.name, unit or column.unit)


def _is_raw(group: Any) -> bool:
    return bool(getattr(group.channel_group, "flags", 0) & _PLAIN_BUS_EVENTS)


def _nothing_decoded(file: Any, request: ReadRequest) -> Problem:
    if any(_is_raw(group) and group.channel_group.cycles_nr for group in file.groups):
        way_out = "Decode the log with the bus's database (.dbc) first, and put the decoded file here."
        return Problem(request.file, None, "raw_frames", "decoded channels", "raw bus frames only", way_out)
    return Problem(request.file, None, "no_rows", "channels with samples", "none", "Copy the log again.")


@dataclass(frozen=True)
class _Signal:
    """Samples of one channel: seconds since the recording's start, values (text or float64), the group they are of."""

    group: int
    seconds: NDArray[np.float64]
    values: NDArray[Any]


def _samples(file: Any, channel: Mdf4Channel) -> _Signal:
    signal = file.get(group=channel.group, index=channel.index, ignore_invalidation_bits=False)
    if signal.invalidation_bits is not None:
        signal = signal.validate()
    seconds: NDArray[np.float64] = np.asarray(signal.timestamps, dtype=np.float64).round(_STAMP_DIGITS)
    return _Signal(channel.group, seconds, _values(np.asarray(signal.samples)))


def sampled(file: Any, channel: Mdf4Channel) -> NDArray[Any]:
    """The values of one channel (text or float64), at its own stamps."""
    return _samples(file, channel).values


def _values(samples: NDArray[Any]) -> NDArray[Any]:
    if samples.dtype.kind in "biuf" and samples.ndim == 1:
        return samples.astype(np.float64)
    if samples.dtype.kind == "S" and samples.ndim == 1:
        return np.array([sample.decode("utf-8", "replace").strip("\0 ") for sample in samples.tolist()], dtype=object)
    if samples.dtype.kind in "UO" and samples.ndim == 1:
        return np.array([str(sample) for sample in samples.tolist()], dtype=object)
    return np.full(samples.shape[0], np.nan)


def _clock(file: Any, request: ReadRequest) -> LogClock:
    start: Start = find_start((), request.path, request.timezone)
    reading = TimeReading("epoch", 1.0, _start_s(file.header.start_time, request.timezone))
    return LogClock(reading, start, request.timezone, request.file, request.path.stat().st_mtime)


def _start_s(start: datetime | None, zone: str) -> float:
    if start is None:
        return 0.0
    aware = start if start.tzinfo else start.replace(tzinfo=ZoneInfo(zone))
    return aware.astimezone(UTC).timestamp()


def _rows(
    db: Database, request: ReadRequest, selection: Selection, signals: dict[int, _Signal], clock: LogClock
) -> LogRead:
    seconds = _union(list(signals.values()))
    table = {"seconds": seconds} | {f"c{index}": _placed(signal, seconds) for index, signal in signals.items()}
    scan = Scan(
        relation="mdf4_samples",
        columns={index: (f"c{index}", "number" if values.values.dtype.kind == "f" else "text")
                 for index, values in signals.items()},
        time="seconds",
    )  # fmt: skip
    db.register("mdf4_samples", table)
    try:
        create_rows(db, scan, selection.picks, clock)
    finally:
        db.unregister("mdf4_samples")
    return finish(db, request, selection, clock, None, Losses())


def _union(signals: Sequence[_Signal]) -> NDArray[np.float64]:
    """The stamps of all rows: those of the only group as they are, else the sorted union without repeats."""
    if len({(signal.group, signal.seconds.size) for signal in signals}) == 1:
        return signals[0].seconds
    return np.asarray(np.unique(np.concatenate([signal.seconds for signal in signals])), dtype=np.float64)


def _placed(signal: _Signal, seconds: NDArray[np.float64]) -> NDArray[Any]:
    """A channel's values at their own stamps, blank (NaN or None) elsewhere; of equal stamps the last counts."""
    if signal.seconds is seconds or np.array_equal(signal.seconds, seconds):
        return signal.values
    is_number = signal.values.dtype.kind == "f"
    placed = np.full(seconds.size, np.nan) if is_number else np.full(seconds.size, None, dtype=object)
    placed[np.searchsorted(seconds, signal.seconds)] = signal.values
    return placed
