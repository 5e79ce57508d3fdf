"""The morning's work: new logs of the inbox into the store, measured and published. Proportional to what is new."""

from __future__ import annotations

import os
import sqlite3
import time
from collections import Counter
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from pipeline.database import StorageError
from pipeline.intake import Intake, Manner, Outcome
from pipeline.ledger import Ledger
from pipeline.log_lists import not_measured
from pipeline.measure import Verdict, measure
from pipeline.progress import Progress
from pipeline.store import Store, StoreError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from pipeline.inbox_files import Found
    from pipeline.register import Register

_DISK_FAILS: Final[tuple[type[Exception], ...]] = (OSError, sqlite3.Error, *StorageError)

_HEALINGS: Final = 3
"""How often samples found broken are written anew in one ingest; needing more, the disk itself is failing."""


@dataclass(frozen=True)
class Refusal:
    """A file that was not taken; `line` counts from 1 and is None where no line can be named."""

    file: str
    line: int | None
    reason: str


@dataclass(frozen=True)
class IngestResult:
    """How many files of the inbox were taken, replaced and known already, and which were refused.

    The four add up to the number of files in the inbox that are neither hidden nor still being written.
    """

    taken: int
    replaced: int
    known: int
    refused: tuple[Refusal, ...]
    seconds: float


def ingest(
    register: Register,
    *,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
    waiting: Callable[[str], None] | None = None,
    thorough: bool = False,
    is_whole: Callable[[Found], bool] | None = None,
) -> IngestResult:
    """Take the inbox into the store, measure what is new and publish a snapshot if anything changed.

    Logs run side by side in `executor`, by default threads, one a processor. `progress` is called with how many steps
    are done and how many are expected so far. While another ingest of the same fleet folder is at work this one waits,
    having told `waiting` who holds the lock. `thorough` looks at the bytes of every file of inbox and store, where
    otherwise size and time tell whether a file is the one that is known. `is_whole` says of a file with news whether it
    is wholly written; one that is not gets no status this time. What `progress` raises ends the ingest after the file
    in hand, and the next one goes on from there.

    Raises:
        LedgerError: if the ledger was made by a newer version of the program.
        StoreError: if the store cannot be written. What was taken before stays, and the next ingest goes on from there.
    """
    started = time.perf_counter()
    store = Store(register.folder)
    try:
        with store.exclusive(waiting), _workers(executor) as workers:
            store.sweep()
            with _ledger(store) as ledger:
                work = _Pass(store, ledger, register, workers, Progress(progress), is_whole)
                outcomes = work.publish(thorough=thorough)
                _remove_discarded(store, ledger)
                ledger.keep_copy(store.ledger_copy_path)
    except _DISK_FAILS as error:
        raise StoreError(_stopped(store, error)) from error
    return _result(outcomes, time.perf_counter() - started)


def _stopped(store: Store, error: Exception) -> str:
    said = str(error).partition("\n")[0]
    way_out = (
        "Check the disk's free space and the folder's rights. What was taken stays taken; the next ingest goes on."
    )
    return f"The ingest into {store.folder} stopped: {said}. {way_out}"


@dataclass(frozen=True)
class _Pass:
    """One pass over the inbox, and what it works with."""

    store: Store
    ledger: Ledger
    register: Register
    workers: Executor
    progress: Progress
    is_whole: Callable[[Found], bool] | None

    def publish(self, *, thorough: bool) -> dict[str, Outcome]:
        """Take in, measure and publish; outcomes by file. A working database found damaged at the end is made anew."""
        outcomes, edition = self._measure(thorough=thorough)
        if self.store.shows(edition) or self.store.publish(edition):
            return outcomes
        self.store.discard_working()
        again, edition = self._measure(thorough=False)
        if self.store.publish(edition):
            return outcomes | _news(again)
        raise StoreError(f"What is written to {self.store.folder} comes back damaged. Check the disk.")

    def _measure(self, *, thorough: bool) -> tuple[dict[str, Outcome], str]:
        """Take in and measure, reading again logs whose samples turn out broken; outcomes by file, and the edition."""
        outcomes = self._take_in(thorough=thorough)
        for _ in range(_HEALINGS):
            verdict = measure(self.store, self.ledger, self.register, self.workers, self.progress)
            if not verdict.damaged:
                return outcomes | _unmeasured(outcomes, self.ledger, verdict), verdict.edition
            outcomes |= _news(self._take_in(thorough=False))
        raise StoreError(f"Sample files in {self.store.folder} break again and again. Check the disk.")

    def _take_in(self, *, thorough: bool) -> dict[str, Outcome]:
        manner = Manner(thorough, self.is_whole)
        return Intake(self.store, self.ledger, self.register, self.workers, self.progress, manner).run()


def _news(again: Mapping[str, Outcome]) -> dict[str, Outcome]:
    """Of a second pass over the inbox, what it did that the first had not."""
    return {file: outcome for file, outcome in again.items() if outcome.status != "known"}


def _unmeasured(outcomes: Mapping[str, Outcome], ledger: Ledger, verdict: Verdict) -> dict[str, Outcome]:
    """The files of the inbox whose log was read but could not be measured."""
    logs = ledger.logs()
    found = {(logs[log_id].file, engine_id): error for (engine_id, log_id), error in verdict.failures.items()}
    return {
        file: Outcome("refused", not_measured(file, engine_id, error))
        for (file, engine_id), error in found.items()
        if file in outcomes
    }


def _remove_discarded(store: Store, ledger: Ledger) -> None:
    """Remove the samples of logs that are no longer listed: last, when the new snapshot no longer speaks of them."""
    samples = ledger.discarded()
    for each in samples:
        store.samples_path(each).unlink(missing_ok=True)
    if samples:
        ledger.forget_discarded(samples)


@contextmanager
def _workers(executor: Executor | None) -> Iterator[Executor]:
    """The executor given, or threads of our own that end with the ingest, dropping what has not begun if it fails."""
    if executor is not None:
        yield executor
        return
    own = ThreadPoolExecutor(os.cpu_count())
    try:
        yield own
    finally:
        own.shutdown(cancel_futures=True)


def _ledger(store: Store) -> Ledger:
    """The ledger; where it is missing or damaged its last copy, and all that came since is read again."""
    try:
        if store.ledger_path.exists():
            return Ledger(store.ledger_path)
    except sqlite3.OperationalError:  # busy, no room or no right to open it: not damaged
        raise
    except sqlite3.DatabaseError:
        store.set_aside_ledger()
    if not store.ledger_copy_path.exists():
        return Ledger(store.ledger_path)
    return _from_copy(store)


def _from_copy(store: Store) -> Ledger:
    """The ledger's last copy in its place; where that is damaged too, an empty one: everything is read again."""
    store.restore_ledger()
    try:
        ledger = Ledger(store.ledger_path)
    except sqlite3.OperationalError:
        raise
    except sqlite3.DatabaseError:
        store.set_aside_ledger()
        return Ledger(store.ledger_path)
    ledger.renew_identity()
    return ledger


def _result(outcomes: Mapping[str, Outcome], seconds: float) -> IngestResult:
    counts = Counter(outcome.status for outcome in outcomes.values())
    problems = [outcome.problem for _, outcome in sorted(outcomes.items()) if outcome.problem is not None]
    refused = tuple(Refusal(problem.file, problem.line, problem.reason()) for problem in problems)
    return IngestResult(counts["taken"], counts["replaced"], counts["known"], refused, seconds)
