"""The inbox into the ledger: what became of every file, reading only what the ledger does not know yet."""

from __future__ import annotations

import os
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, NamedTuple

from pipeline.inbox import Place, Places, log_id
from pipeline.inbox_files import Found, scan, unreadable
from pipeline.ledger import EngineLogEntry, FileEntry, Ledger, LogEntry
from pipeline.problems import Problem
from pipeline.take import TakeJob, Taken, digest_of, settle_all, take

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
    from concurrent.futures import Executor
    from pathlib import Path

    from pipeline.progress import Progress
    from pipeline.register import Register
    from pipeline.store import Store

Status = Literal["taken", "replaced", "known", "refused"]

TRIED_AGAIN: Final = frozenset({"inbox_unreadable", "log_unreadable", "out_of_reach"})
"""Problems that may be gone the next time although the file has not changed: it is read again with every ingest."""


@dataclass(frozen=True)
class Outcome:
    """What became of one file in this ingest; `problem` is the reason of a refusal."""

    status: Status
    problem: Problem | None = None


class _Candidate(NamedTuple):
    """A file where a log may stand, the id of its bytes, and what the ledger knows of it."""

    found: Found
    place: Place
    log_id: str
    entry: FileEntry | None

    @property
    def is_settled(self) -> bool:
        """Whether the ledger already knows these bytes in this place, read as they would be read now."""
        entry = self.entry
        return entry is not None and (entry.log_id, entry.reading_key) == (self.log_id, self.place.reading_key)

    @property
    def was_refused(self) -> bool:
        """Whether the same bytes in this place were refused before, read as they would be read now."""
        return self.is_settled and self.entry is not None and self.entry.status == "refused"

    @property
    def is_overwritten(self) -> bool:
        """Whether the file held another log at the last ingest."""
        entry = self.entry
        return entry is not None and entry.is_present and entry.status == "taken" and entry.log_id != self.log_id


@dataclass(frozen=True)
class Manner:
    """How a pass looks at files.

    A thorough one looks at the bytes of every file, also where size and time say that they are known. `is_whole` says
    whether a file with news is wholly written; None takes every file as it is.
    """

    is_thorough: bool = False
    is_whole: Callable[[Found], bool] | None = None


class Intake:
    """One pass over the inbox. `run` gives every file exactly one outcome, but for those that are not whole yet."""

    def __init__(
        self,
        store: Store,
        ledger: Ledger,
        register: Register,
        workers: Executor,
        progress: Progress,
        manner: Manner,
    ) -> None:
        self._store = store
        self._ledger = ledger
        self._register = register
        self._workers = workers
        self._progress = progress
        self._files = ledger.files()
        self._logs = ledger.logs()
        self._manner = manner
        self._broken = broken_logs(store, ledger.engine_logs(), thorough=manner.is_thorough)
        self._outcomes: dict[str, Outcome] = {}

    def run(self) -> dict[str, Outcome]:
        """Take in what is new or changed; outcomes by file."""
        found = scan(self._register.folder)
        self._note_absent(found)
        whole = [each for each in found if self._is_whole(each)]
        candidates = self._candidates(whole)
        self._note_touched(candidates)
        by_log: dict[str, list[_Candidate]] = defaultdict(list)
        for candidate in candidates:
            by_log[candidate.log_id].append(candidate)
        self._drop_lost(by_log, {each.file for each in found} - {each.file for each in whole})
        queues = [queue for group in by_log.values() if (queue := self._sort_out(group))]
        self._progress.expect(len(queues))
        while queues:
            queues = self._read(queues)
        return self._outcomes

    def _note_absent(self, found: Sequence[Found]) -> None:
        here = {each.file for each in found}
        gone = [each.file for each in self._files.values() if each.is_present and each.file not in here]
        if gone:
            self._ledger.absent(gone)
            self._files = self._ledger.files()

    def _candidates(self, found: Iterable[Found]) -> list[_Candidate]:
        """The files where a log may stand, with their bytes known; the others are refused here."""
        places = Places(self._register)
        placed: list[tuple[Found, Place]] = []
        for each in found:
            place = places.of(each)
            if isinstance(place, Problem):
                self._refuse(each, None, None, place)
            else:
                placed.append((each, place))
        known = {each.file: entry.log_id for each, _ in placed if (entry := self._unchanged(each)) is not None}
        fresh = [each for each, _ in placed if each.file not in known]
        known |= self._identified(fresh)
        return [
            _Candidate(each, place, identity, self._files.get(each.file))
            for each, place in placed
            if (identity := known.get(each.file)) is not None
        ]

    def _unchanged(self, found: Found) -> FileEntry | None:
        """The ledger's entry, if size and time say that the file still holds the bytes it was known by."""
        entry = self._files.get(found.file)
        if entry is None or entry.log_id is None or not entry.is_present:
            return None
        if self._manner.is_thorough:
            return None
        same = (entry.size_bytes, entry.modified_ns) == (found.size_bytes, found.modified_ns)
        return entry if same else None

    def _identified(self, fresh: Sequence[Found]) -> dict[str, str | None]:
        identities: dict[str, str | None] = {}
        for each, identity in zip(fresh, self._workers.map(identify, [each.path for each in fresh]), strict=True):
            if isinstance(identity, OSError):
                self._refuse(each, None, None, unreadable(each.file, identity))
            else:
                identities[each.file] = identity
        return identities

    def _note_touched(self, candidates: Iterable[_Candidate]) -> None:
        """Files whose bytes are the same although their time or presence changed: no need to look again next time."""
        touched = [each for each in candidates if each.is_settled and self._unchanged(each.found) is None]
        if touched:
            self._ledger.seen((each.found.file, each.found.size_bytes, each.found.modified_ns) for each in touched)

    def _is_whole(self, found: Found) -> bool:
        """Whether a file may be looked into: it is known as it is, or nobody is writing it any more."""
        ask = self._manner.is_whole
        return ask is None or found.trouble is not None or self._unchanged(found) is not None or ask(found)

    def _drop_lost(self, by_log: Mapping[str, list[_Candidate]], moving: Collection[str]) -> None:
        """Logs whose samples are broken and whose bytes are no longer in the inbox are gone for good."""
        waiting = {log.log_id for log in self._logs.values() if log.file in moving}
        for lost in self._broken - by_log.keys() - waiting:
            self._ledger.drop_log(lost)

    def _sort_out(self, group: list[_Candidate]) -> list[_Candidate]:
        """Settle the files of one log that need no reading; those to read (the first that succeeds) are returned."""
        log = self._logs.get(group[0].log_id)
        if log is None or log.log_id in self._broken:
            return self._unread(group)
        owner = next((each for each in group if each.found.file == log.file), group[0])
        if owner.place.reading_key != log.reading_key:
            return [owner, *(each for each in group if each is not owner)]
        for each in group:
            self._know(each)
        if owner.found.file != log.file:
            self._ledger.moved(log.log_id, owner.found.file)
        return []

    def _unread(self, group: Sequence[_Candidate]) -> list[_Candidate]:
        """The files of a log that is not in the store that are to be read: not those that were refused before."""
        for each in group:
            if each.was_refused:
                self._know(each)
        return [each for each in group if not each.was_refused]

    def _know(self, candidate: _Candidate) -> None:
        """A file whose bytes are known: refused as before, or known as a taken log."""
        if candidate.was_refused and candidate.entry is not None:
            self._outcomes[candidate.found.file] = Outcome("refused", candidate.entry.problems[0])
            return
        self._outcomes[candidate.found.file] = Outcome("known")
        if not candidate.is_settled:
            self._ledger.record(_entry(candidate.found, "taken", candidate.log_id, candidate.place.reading_key, ()))

    def _read(self, queues: Sequence[list[_Candidate]]) -> list[list[_Candidate]]:
        """Read the first file of each queue side by side; queues whose file was refused and that have another left."""
        futures = [self._workers.submit(take, self._job(queue[0])) for queue in queues]
        again: list[list[_Candidate]] = []
        for (first, *others), future in zip(queues, futures, strict=True):
            taken = future.result()
            if taken.read.status == "taken":
                self._take(first, taken)
                for each in others:
                    self._know(each)
            else:
                self._refuse(first.found, first.log_id, first.place.reading_key, *taken.read.problems)
            if taken.read.status == "refused" and others:
                again.append(others)
            else:
                self._progress.advance()
        return again

    def _job(self, candidate: _Candidate) -> TakeJob:
        return TakeJob(candidate.place.request(candidate.found), candidate.log_id, self._store.folder)

    def _take(self, candidate: _Candidate, taken: Taken) -> None:
        file = candidate.found.file
        before = self._logs.get(candidate.log_id)
        self._outcomes[file] = Outcome("taken" if before is None and not candidate.is_overwritten else "replaced")
        key = candidate.place.reading_key
        entry = _entry(candidate.found, "taken", candidate.log_id, key, taken.read.problems)
        settle_all(taken, self._store.folder)
        self._ledger.record(entry, _log(candidate, taken), taken.samples)
        if before is not None and before.file != file:
            self._ledger.moved(candidate.log_id, file)

    def _refuse(self, found: Found, identity: str | None, key: str | None, *problems: Problem) -> None:
        self._outcomes[found.file] = Outcome("refused", problems[0])
        before = self._files.get(found.file)
        if problems[0].code in TRIED_AGAIN:
            identity = key = None  # the ledger is not to know it as seen
            if before is not None and before.status == "taken":
                return  # what was read of it before stands until it can be read again
        entry = _entry(found, "refused", identity, key, problems)
        if before != entry:
            self._ledger.record(entry)


def identify(path: Path) -> str | OSError:
    """The id of a log, or why its file cannot be read. Plain and picklable, so that it runs anywhere."""
    try:
        return log_id(path)
    except OSError as error:
        return error


def broken_logs(store: Store, listed: Iterable[EngineLogEntry], *, thorough: bool) -> set[str]:
    """Logs with a sample file that is missing or not as long as it was written; thorough, or has other bytes."""
    return {each.log_id for each in listed if not _is_sound(store, each, thorough=thorough)}


def _is_sound(store: Store, entry: EngineLogEntry, *, thorough: bool) -> bool:
    if _size_bytes(f"{store.folder}/{entry.samples}") != entry.samples_bytes:
        return False
    return (
        not thorough
        or entry.samples_digest is None
        or digest_of(store.samples_path(entry.samples)) == entry.samples_digest
    )


def _size_bytes(path: str) -> int | None:
    """Plain text for a path, as this is asked of every sample file with every ingest."""
    try:
        return os.stat(path).st_size  # noqa: PTH116 - a Path would take twice as long to make as the answer
    except OSError:
        return None


def _entry(
    found: Found,
    status: Literal["taken", "refused"],
    identity: str | None,
    key: str | None,
    problems: Sequence[Problem],
) -> FileEntry:
    return FileEntry(
        file=found.file,
        size_bytes=found.size_bytes,
        modified_ns=found.modified_ns,
        status=status,
        log_id=identity,
        reading_key=key,
        problems=tuple(problems),
    )


def _log(candidate: _Candidate, taken: Taken) -> LogEntry:
    read = taken.read
    if read.started_s is None or read.ended_s is None:
        raise ValueError(f"the reader took {candidate.found.file} without a start and an end")
    return LogEntry(
        log_id=candidate.log_id,
        reading_key=candidate.place.reading_key,
        boat_id=candidate.place.boat.id,
        file=candidate.found.file,
        started_s=read.started_s,
        ended_s=read.ended_s,
        rows_kept=read.rows,
        rows_dropped=read.rows_dropped,
        rows_spread=read.rows_spread,
        is_start_assumed=read.start_assumed,
    )
