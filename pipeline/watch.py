"""What stirs in the inbox, as the operating system tells it, and who asks the follower to stop."""

from __future__ import annotations

import signal
import threading
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final, Self

from watchdog.events import EVENT_TYPE_CLOSED_NO_WRITE, EVENT_TYPE_OPENED, FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer

from pipeline.inbox_files import FOLDER

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import FrameType, TracebackType

    from watchdog.observers.api import BaseObserver

_REMEMBERED: Final = 10_000
"""Renamed files that are kept in mind between two looks; those beyond are seen to be at rest like all others."""

_ONLY_READ: Final = (EVENT_TYPE_OPENED, EVENT_TYPE_CLOSED_NO_WRITE)
"""Events that reading makes, our own too: nothing has changed."""


class Watch(FileSystemEventHandler):
    """The inbox of a fleet folder under watch; a context manager. It tells nothing where the system tells nothing."""

    def __init__(self, fleet_folder: Path) -> None:
        self._fleet_folder = fleet_folder.resolve()
        self._inbox = self._fleet_folder / FOLDER
        self._stirred = threading.Event()
        self._lock = threading.Lock()
        self._renamed: set[str] = set()
        self._observer: BaseObserver | None = None
        self._watched: int | None = None
        self.is_stopping = False

    def __enter__(self) -> Self:
        self._renew()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._let_go()

    def wait(self, seconds: float) -> frozenset[str]:
        """Until something stirs, `stop` is called or the time has passed; the files renamed into place since."""
        self._renew()
        self._stirred.wait(seconds)
        self._stirred.clear()
        with self._lock:
            renamed, self._renamed = self._renamed, set()
        return frozenset(renamed)

    def stop(self) -> None:
        """Ask whoever waits to come to an end."""
        self.is_stopping = True
        self._stirred.set()

    def on_any_event(self, event: FileSystemEvent) -> None:
        """Called by the watching thread for all that happens in the inbox."""
        if event.event_type in _ONLY_READ:
            return
        if event.event_type == "moved" and not event.is_directory:
            self._remember(Path(str(event.dest_path)))
        self._stirred.set()

    def _remember(self, path: Path) -> None:
        with self._lock:
            if len(self._renamed) < _REMEMBERED and path.is_relative_to(self._fleet_folder):
                self._renamed.add(path.relative_to(self._fleet_folder).as_posix())

    def _renew(self) -> None:
        """Watch the folder that is the inbox now: it may have come only after us, or anew from a mount."""
        inode = _inode(self._inbox)
        if self._observer is not None and self._observer.is_alive() and inode == self._watched:
            return
        self._let_go()
        self._watched = inode
        if inode is None:
            return
        observer = Observer()
        try:
            observer.schedule(self, str(self._inbox), recursive=True)
            observer.start()
        except OSError:
            return  # too many folders for this system to watch: the looks see to it
        self._observer = observer

    def _let_go(self) -> None:
        if self._observer is not None:
            self._observer.stop()
            self._observer.join()
            self._observer = None


@contextmanager
def until_asked_to_stop(fleet_folder: Path) -> Iterator[Watch]:
    """A watch that SIGTERM and SIGINT stop; a second SIGINT interrupts at once."""
    with Watch(fleet_folder) as watch:

        def stop(_number: int, _frame: FrameType | None) -> None:
            signal.signal(signal.SIGINT, signal.default_int_handler)
            watch.stop()

        before = {number: signal.signal(number, stop) for number in (signal.SIGTERM, signal.SIGINT)}
        try:
            yield watch
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)


def _inode(folder: Path) -> int | None:
    try:
        return folder.stat().st_ino
    except OSError:
        return None
