"""What commands have in common: the fleet and the moment they are asked about, words on stderr, how they end."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from datetime import datetime
from typing import TYPE_CHECKING, Final, NoReturn
from zoneinfo import ZoneInfo

import click

from pipeline.as_of import moment_of
from pipeline.logbook import LogbookError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from pipeline.changes import Change
    from pipeline.database import Database
    from pipeline.ingest import IngestResult
    from pipeline.morning import Morning
    from pipeline.register import Register

USAGE: Final = 2
"""Exit status of a usage or register error."""

REFUSED: Final = 3
"""Exit status where some logs were refused and the rest taken."""


def opened(folder: Path) -> Register:
    """The register of a fleet folder; one that cannot be read ends the command."""
    from pipeline.catalogue import indicators
    from pipeline.register import load_register

    with errors():
        return load_register(folder, frozenset(indicators()))


def reader(register: Register) -> Database:
    """The newest snapshot. A fleet that was only just started has no log to read, and that is an answer too."""
    from pipeline.inbox_files import scan
    from pipeline.ingest import ingest
    from pipeline.store import Store

    store = Store(register.folder)
    if store.snapshot() is None and not scan(register.folder):
        ingest(register)
    return store.reader()


def moment(as_of: str | None, register: Register) -> datetime:
    """A date is the end of that day in the fleet's zone; a time without offset is local to the fleet."""
    zone = ZoneInfo(register.timezone)
    if as_of is None:
        return datetime.now(zone)
    moment = moment_of(as_of, zone)
    if moment is None:
        stop(f"--as-of {as_of!r} is neither a date (2026-06-14) nor an ISO 8601 time.")
    return moment


def ingested(register: Register, *, thorough: bool = False) -> IngestResult:
    """What an ingest took in, with a bar while it works."""
    from pipeline.ingest import ingest

    with bar("Reading logs") as progress, errors():
        return ingest(register, progress=progress, waiting=say, thorough=thorough)


def print_morning(morning: Morning, changed: Sequence[Change] = ()) -> None:
    """The ranked boats on stdout, as wide as the terminal."""
    from rich.console import Console

    from pipeline import listing

    console = Console(highlight=False)
    console.print(listing.morning_text(morning, console.width, changed))


@contextmanager
def errors() -> Iterator[None]:
    """What a person can mend is said in its own words, without a trace."""
    from pipeline.backup import BackupError
    from pipeline.ledger import LedgerError
    from pipeline.register import RegisterError
    from pipeline.store import StoreError

    try:
        yield
    except (RegisterError, StoreError, LedgerError, LogbookError, BackupError, OSError) as error:
        stop(str(error))


def stop(message: str) -> NoReturn:
    """Say what is wrong and end with the status for a usage or register error."""
    say(message)
    sys.exit(USAGE)


def say(message: str) -> None:
    """One line on stderr."""
    click.echo(message, err=True)


@contextmanager
def bar(title: str) -> Iterator[Callable[[int, int], None]]:
    """A progress bar on stderr; it draws nothing where stderr is no terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    parts = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*parts, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
