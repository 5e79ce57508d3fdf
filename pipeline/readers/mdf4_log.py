"""Reads MDF4 logs (ASAM MDF 4) group by group, so that no slow channel is filled in between its own samples.

Each channel group keeps its own rows; the log has the union of their time stamps and blanks elsewhere. The file itself
is opened in a process of its own: on a damaged file the package may print, loop or crash, and none may reach us.
"""

from __future__ import annotations

import atexit
import importlib.util
import os
import pickle
import subprocess
import sys
import threading
from datetime import UTC
from typing import IO, TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

import numpy as np

from pipeline.problems import Problem
from pipeline.readers.clock import LogClock, TimeReading
from pipeline.readers.mdf4_child import Content, Job, Signal, damaged
from pipeline.readers.packed import refuse_large
from pipeline.readers.request import LogRead, ReadRequest, Refusal
from pipeline.readers.rows import Losses, Scan, create_rows, finish
from pipeline.readers.start import Start, find_start

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from numpy.typing import NDArray

    from pipeline.database import Database
    from pipeline.readers.matching import Selection

LONGEST_S: Final = 300.0
"""A file that takes longer is given up as damaged: a broken chain of blocks can run in a circle."""


_SERVE: Final = "from pipeline.readers.mdf4_child import serve; serve()"


def read_mdf4_log(db: Database, request: ReadRequest) -> LogRead:
    """Read an MDF4 log into `log_rows`.

    Raises:
        Refusal: the log cannot be taken, or the reader's package is not installed.
    """
    refuse_large(request)
    content = mdf4_content(Job(request, read=True))
    if content.selection is None:
        raise ValueError("a job to read answers with a selection")
    clock = _clock(content.start, request)
    return _rows(db, request, content.selection, content.signals, clock)


def mdf4_content(job: Job) -> Content:
    """What the file holds, from the process that reads it.

    Raises:
        Refusal: it cannot be had.
    """
    if importlib.util.find_spec("asammdf") is None:
        raise Refusal(
            Problem(
                job.request.file,
                None,
                "missing_extra",
                "the package asammdf for MDF4 logs",
                "none installed",
                "Install it: pip install 'morning-watch[mdf4]'.",
            )
        )
    answer = _CHILD.ask(job)
    if isinstance(answer, Problem):
        raise Refusal(answer)
    return answer


class _Child:
    """The process that opens files, started when first needed and again after it died. One job at a time."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._one_at_a_time = threading.Lock()
        atexit.register(self._end)

    def ask(self, job: Job) -> Content | Problem:
        """The answer to a job; a process that dies or never ends over it is a damaged file."""
        with self._one_at_a_time:
            process = self._running()
            watch = threading.Timer(LONGEST_S, process.kill)
            watch.daemon = True
            watch.start()
            try:
                pickle.dump(job, _pipe(process.stdin))
                _pipe(process.stdin).flush()
                answer: Content | Problem = pickle.load(_pipe(process.stdout))  # noqa: S301 - from our own process
            except (EOFError, OSError, pickle.UnpicklingError):
                self._end()
                return damaged("a file its reader crashes on", job.request)
            finally:
                watch.cancel()
            return answer

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None or self._process.poll() is not None:
            self._process = subprocess.Popen(  # noqa: S603 - our own words only
                [sys.executable, "-P", "-c", _SERVE],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            )
        return self._process

    def _end(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.communicate()


def _pipe(stream: IO[bytes] | None) -> IO[bytes]:
    if stream is None:
        raise ValueError("the process was started without its pipes")
    return stream


_CHILD: Final = _Child()


def _clock(start: datetime | None, request: ReadRequest) -> LogClock:
    known: Start = find_start((), request.path, request.timezone)
    reading = TimeReading("epoch", 1.0, _start_s(start, request.timezone))
    return LogClock(reading, known, request.timezone, request.file, request.path.stat().st_mtime)


def _start_s(start: datetime | None, zone: str) -> float:
    if start is None:
        return 0.0
    aware = start if start.tzinfo else start.replace(tzinfo=ZoneInfo(zone))
    return aware.astimezone(UTC).timestamp()


def _rows(
    db: Database, request: ReadRequest, selection: Selection, signals: dict[int, Signal], clock: LogClock
) -> LogRead:
    seconds = _union(list(signals.values()))
    table = {"seconds": seconds} | {f"c{index}": _placed(signal, seconds) for index, signal in signals.items()}
    scan = Scan(
        relation="mdf4_samples",
        columns={
            index: (f"cast(c{index} as double)", "number") if signal.values.dtype.kind == "f" else (f"c{index}", "text")
            for index, signal in signals.items()
        },
        time="seconds",
    )
    db.register("mdf4_samples", table)
    try:
        create_rows(db, scan, selection.picks, clock)
    finally:
        db.unregister("mdf4_samples")
    return finish(db, request, selection, clock, None, Losses())


def _union(signals: Sequence[Signal]) -> NDArray[np.float64]:
    """The stamps of all rows: those of the only group as they are, else the sorted union without repeats."""
    if len({(signal.group, signal.seconds.size) for signal in signals}) == 1:
        return signals[0].seconds
    return np.asarray(np.unique(np.concatenate([signal.seconds for signal in signals])), dtype=np.float64)


def _placed(signal: Signal, seconds: NDArray[np.float64]) -> NDArray[Any]:
    """A channel's values at their own stamps, blank (NaN or None) elsewhere; of equal stamps the last counts."""
    if signal.seconds is seconds or np.array_equal(signal.seconds, seconds):
        return signal.values
    is_number = signal.values.dtype.kind == "f"
    placed = np.full(seconds.size, np.nan if is_number else None, dtype=signal.values.dtype)
    placed[np.searchsorted(seconds, signal.seconds)] = signal.values
    return placed
