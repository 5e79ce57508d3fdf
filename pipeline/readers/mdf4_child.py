"""The part of the MDF4 reader that runs in a process of its own, because its package can crash on a damaged file.

`serve` takes one pickled job after another on stdin and answers on stdout.
"""

from __future__ import annotations

import importlib.util
import os
import pickle
import sys
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from pipeline.problems import Problem
from pipeline.readers.header import Column, column_of
from pipeline.readers.matching import Selection, select
from pipeline.readers.packed import MB, takes_too_much
from pipeline.readers.request import ReadRequest, Refusal, in_words, refuse_many_columns, refuse_many_rows

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from numpy.typing import NDArray

_PLAIN_BUS_EVENTS: Final = 0x4
"""Channel group flag 'plain bus event' of ASAM MDF 4.1: the group holds raw frames, not signals."""

_MASTERS: Final = (2, 3)
"""Channel types of the time axis: master and virtual master."""

_STAMP_DIGITS: Final = 6
"""Stamps of two groups closer than a microsecond are one row."""


@dataclass(frozen=True)
class Job:
    """What to do with a file: `read` picks the request's channels, otherwise every signal is sampled for a look."""

    request: ReadRequest
    read: bool


@dataclass(frozen=True)
class Signal:
    """Samples of one channel: its group, seconds since the recording's start, values (floats, or text as objects).

    Channels of one group share their seconds: sent once, they take the place of one channel and not of all.
    """

    column: Column
    group: int
    seconds: NDArray[np.float64]
    values: NDArray[Any]


@dataclass(frozen=True)
class Content:
    """What a file holds: its start, the channels chosen (None for a look), and the signals by their place in it."""

    start: datetime | None
    selection: Selection | None
    signals: dict[int, Signal]


@dataclass(frozen=True)
class _Place:
    column: Column
    group: int
    index: int


def content_of(job: Job) -> Content | Problem:
    """What `job` asks of its file, or why it cannot be had: the package has no exception of its own for damage."""
    try:
        _limit_memory(job.request)
        return _content(job)
    except Refusal as refusal:
        return refusal.problem
    except MemoryError:
        return takes_too_much(job.request)
    except Exception as error:  # noqa: BLE001 - struct, key, seek and MDF errors alike
        return damaged(in_words(error, job.request), job.request)


def _limit_memory(request: ReadRequest) -> None:
    """No more memory for this process than a log may take, where the system can say so."""
    if importlib.util.find_spec("resource") is None:
        return
    import resource  # noqa: PLC0415 - not on every system

    _, most = resource.getrlimit(resource.RLIMIT_DATA)
    resource.setrlimit(resource.RLIMIT_DATA, (int(request.limits.max_memory_mb * MB), most))


def damaged(got: str, request: ReadRequest) -> Problem:
    """The problem of a file that cannot be read."""
    return Problem(request.file, None, "damaged_file", "an MDF4 file", got, "Copy the log from the logger again.")


def _content(job: Job) -> Content:
    from asammdf import MDF  # noqa: PLC0415 - an extra, looked for before this process is started

    with MDF(job.request.path) as file:
        places = _places(file)
        if not places:
            raise Refusal(_nothing_decoded(file, job.request))
        refuse_many_columns(len(places), job.request)
        refuse_many_rows(max(file.groups[place.group].channel_group.cycles_nr for place in places), job.request)
        selection = select([place.column for place in places], job.request, own_time=True) if job.read else None
        wanted = sorted({pick.index for pick in selection.picks}) if selection else range(len(places))
        return Content(file.header.start_time, selection, _signals(file, {index: places[index] for index in wanted}))


def _places(file: Any) -> list[_Place]:
    """Every signal of the groups that have samples and are decoded, in the file's order."""
    return [
        _Place(_column(channel), group_at, channel_at)
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


def _signals(file: Any, places: Mapping[int, _Place]) -> dict[int, Signal]:
    """The signals by their place in the file, each group's seconds held once."""
    found: dict[int, Signal] = {}
    of_group: dict[int, NDArray[np.float64]] = {}
    for index, place in places.items():
        signal = _signal(file, place)
        seconds = of_group.setdefault(place.group, signal.seconds)
        found[index] = replace(signal, seconds=seconds) if np.array_equal(signal.seconds, seconds) else signal
    return found


def _signal(file: Any, place: _Place) -> Signal:
    signal = file.get(group=place.group, index=place.index, ignore_invalidation_bits=False)
    if signal.invalidation_bits is not None:
        signal = signal.validate()
    seconds: NDArray[np.float64] = np.asarray(signal.timestamps, dtype=np.float64).round(_STAMP_DIGITS)
    return Signal(place.column, place.group, seconds, _values(np.asarray(signal.samples)))


def _values(samples: NDArray[Any]) -> NDArray[Any]:
    """Samples as floats or as texts; those of a structure or an array are no channel and read as NaN."""
    if samples.ndim != 1 or samples.dtype.kind not in "biufSUO":
        return np.full(samples.shape[0], np.nan)
    if samples.dtype.kind in "biuf":
        # what is logged as single floats, as most is, stays so: twice as wide it would only take more memory
        return samples.astype(np.float32 if samples.dtype == np.float32 else np.float64)
    texts = [text.decode("utf-8", "replace") if isinstance(text, bytes) else str(text) for text in samples.tolist()]
    return np.array([text.strip("\0 ") for text in texts], dtype=object)


def serve() -> None:
    """Answer jobs until stdin ends. The package prints on stdout, so the answers get a channel of their own first."""
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    while True:
        try:
            job = pickle.load(sys.stdin.buffer)  # noqa: S301 - from the process that started this one
        except EOFError:
            return
        pickle.dump(content_of(job), answers)
        answers.flush()
