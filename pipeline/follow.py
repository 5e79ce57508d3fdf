"""An ingest that goes on: it looks at the inbox again and again, and takes a file once it is whole.

Being told that something stirs makes it quick; looking anyway, at most `LOOK_S` apart, makes it sure: a network folder
tells nothing, and an event can be missed. It remembers only the files that are still being written.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Protocol

from pipeline.inbox_files import Found, scan
from pipeline.ingest import IngestResult, Refusal, ingest
from pipeline.ledger import states
from pipeline.register import FILE_NAME, load_register
from pipeline.store import Store

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

REST_S: Final = 2.0
"""Time between the two looks at which a file has the same size and time before it counts as whole."""

LOOK_S: Final = 20.0
"""The longest time between two looks at the inbox."""

ROUND_S: Final = 600.0
"""The longest time between two whole ingests: they try again what could not be read, and notice what was taken away."""

State = tuple[int, int]
"""Size (bytes) and time (ns) of a file."""


class Stopped(Exception):  # noqa: N818 - no error: somebody asked for it
    """Leaves an ingest after the file in hand; what was taken stays, the next ingest goes on."""


class Source(Protocol):
    """Tells when something stirs in the inbox."""

    def wait(self, seconds: float) -> frozenset[str]:
        """Until something stirs, somebody asks to stop or the time has passed.

        Gives the files that were renamed into place since, relative to the fleet folder: those are whole.
        """

    @property
    def is_stopping(self) -> bool:
        """Whether somebody asked to stop."""


@dataclass(frozen=True)
class Round:
    """One ingest of many: what it did, or why it failed; the next round goes on all the same.

    It has news if a log was taken or replaced, or other files were refused than in the round before.
    """

    result: IngestResult | None
    error: Exception | None = None
    has_news: bool = False


@dataclass(frozen=True)
class Look:
    """The files of the inbox: those at rest, those still moving, and whether any at rest has news for the ledger."""

    resting: Mapping[str, State]
    moving: Mapping[str, State]
    has_news: bool

    def allows(self, found: Found) -> bool:
        """Whether a file that an ingest finds is still as it was when it was seen to be at rest."""
        return self.resting.get(found.file) == _state(found)


class Follower:
    """Follows the inbox of one fleet folder."""

    def __init__(
        self,
        folder: Path,
        source: Source,
        tell: Callable[[Round], None],
        waiting: Callable[[str], None] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._folder = folder
        self._source = source
        self._tell = tell
        self._waiting = waiting
        self._clock = clock
        self._moving: Mapping[str, State] = {}
        self._renamed: frozenset[str] = frozenset()
        self._register: State | None = None
        self._next_round_s = clock()
        self._pause_s = REST_S
        self._refused: tuple[Refusal, ...] = ()

    def run(self) -> None:
        """Take rounds until the source is told to stop. Each opens and closes all that it needs."""
        while not self._source.is_stopping:
            seen = self._look()
            if seen.has_news or self._is_due():
                self._take(seen)
            self._pause_s = REST_S if seen.has_news or not seen.moving else min(2 * self._pause_s, LOOK_S)
            self._moving = seen.moving
            left_s = self._next_round_s - self._clock()
            self._renamed = self._source.wait(max(0.0, min(self._pause_s if seen.moving else LOOK_S, left_s)))

    def _look(self) -> Look:
        known = states(Store(self._folder).ledger_path)
        here = {each.file: _state(each) for each in scan(self._folder)}
        fresh = {file: state for file, state in here.items() if known.get(file) != state}
        moving = {
            file: state
            for file, state in fresh.items()
            if self._moving.get(file) != state and file not in self._renamed
        }
        resting = {file: state for file, state in here.items() if file not in moving}
        return Look(resting, moving, has_news=len(fresh) > len(moving))

    def _is_due(self) -> bool:
        """Whether a round is due although no file asks for it: its time has come, or somebody changed the register."""
        return self._clock() >= self._next_round_s or self._register != _register_state(self._folder)

    def _take(self, seen: Look) -> None:
        self._next_round_s = self._clock() + ROUND_S
        self._register = _register_state(self._folder)
        try:
            register = load_register(self._folder)
            result = ingest(register, progress=self._advance, waiting=self._waiting, is_whole=seen.allows)
        except Stopped:
            return
        except Exception as error:  # noqa: BLE001 - whatever failed this round, the next one is to run
            self._tell(Round(None, error))
        else:
            self._tell(Round(result, has_news=bool(result.taken or result.replaced or result.refused != self._refused)))
            self._refused = result.refused

    def _advance(self, _done: int, _total: int) -> None:
        if self._source.is_stopping:
            raise Stopped


def _state(found: Found) -> State:
    return found.size_bytes, found.modified_ns


def _register_state(folder: Path) -> State | None:
    try:
        state = (folder / FILE_NAME).stat()
    except OSError:
        return None
    return state.st_size, state.st_mtime_ns
