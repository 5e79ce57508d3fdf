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

from pipeline.intake import Intake, Outcome
from pipeline.ledger import Ledger
from pipeline.log_lists import not_measured
from pipeline.measure import Verdict, measure
from pipeline.progress import Progress
from pipeline.store import Store, StoreError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from pipeline.register import Register

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
) -> IngestResult:
    """Take the inbox into the store, measure what is new and publish a snapshot if anything changed.

    Logs run side by side in `executor`, by default threads, one a processor. `progress` is called with how many steps
    are done and how many are expected so far. While another ingest of the same fleet folder is at work this one waits,
    having told `waiting` who holds the lock.

    Raises:
        LedgerError: if the ledger was made by another version of the program.
    """
    started = time.perf_counter()
    store = Store(register.folder)
    with store.exclusive(waiting), _workers(executor) as workers:
        store.sweep()
        with _ledger(store) as ledger:
            outcomes, edition = _work(store, ledger, register, workers, Progress(progress))
            if not store.shows(edition):
                store.publish(edition)
            _remove_discarded(store, ledger)
    return _result(outcomes, time.perf_counter() - started)


def _work(
    store: Store, ledger: Ledger, register: Register, workers: Executor, progress: Progress
) -> tuple[dict[str, Outcome], int]:
    """Take in and measure, reading again logs whose samples turn out broken; outcomes by file, and the edition made."""
    outcomes = Intake(store, ledger, register, workers, progress).run()
    for _ in range(_HEALINGS):
        verdict = measure(store, ledger, register, workers, progress)
        if not verdict.damaged:
            return outcomes | _unmeasured(outcomes, ledger, verdict), verdict.edition
        again = Intake(store, ledger, register, workers, progress).run()
        outcomes |= {file: outcome for file, outcome in again.items() if outcome.status != "known"}
    raise StoreError(f"Sample files in {store.folder} break again and again. Check the disk.")


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
    """The ledger; one that is damaged is set aside, and everything is read again."""
    try:
        return Ledger(store.ledger_path)
    except sqlite3.OperationalError:  # busy or no right to open it: not damaged
        raise
    except sqlite3.DatabaseError:
        store.set_aside_ledger()
        return Ledger(store.ledger_path)


def _result(outcomes: Mapping[str, Outcome], seconds: float) -> IngestResult:
    counts = Counter(outcome.status for outcome in outcomes.values())
    problems = [outcome.problem for _, outcome in sorted(outcomes.items()) if outcome.problem is not None]
    refused = tuple(Refusal(problem.file, problem.line, problem.reason()) for problem in problems)
    return IngestResult(counts["taken"], counts["replaced"], counts["known"], refused, seconds)
