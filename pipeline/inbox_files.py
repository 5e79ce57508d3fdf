"""Which files there are in the inbox, and which of them may not be opened. Nothing here reads or changes one."""

from __future__ import annotations

import os
import re
import stat
import unicodedata
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

from pipeline.problems import Problem, declare

if TYPE_CHECKING:
    from collections.abc import Iterator

FOLDER: Final = "inbox"
_UNFINISHED: Final = re.compile(
    r"""
    [.~#].*
    | .*[~#]
    | .*\.((file)?part|partial|tmp|temp|(cr)?download|incomplete|unfinished|swp|lock)([-_]?\d+|[-_]\w+)?
    """,
    re.IGNORECASE | re.VERBOSE,
)
"""Names under which programs write, copy or synchronise a file that is not whole yet: hidden ones, those marked with a
tilde or a hash, and those whose last ending says so, numbered or not."""

declare(
    {
        "inbox_unreadable": "the file cannot be read",
        "inbox_name": "the file's name cannot be written down",
        "inbox_no_file": "it is no file",
        "inbox_link": "the link leads out of the inbox",
        "inbox_depth": "the folders are nested too deeply",
    }
)


class Found(NamedTuple):
    """One file of the inbox. `file` is its path relative to the fleet folder; `trouble` says why it cannot be read."""

    fleet_folder: Path
    file: str
    size_bytes: int = 0
    modified_ns: int = 0
    trouble: Problem | None = None

    @property
    def path(self) -> Path:
        """Where the file is."""
        return self.fleet_folder / self.file


def scan(fleet_folder: Path) -> tuple[Found, ...]:
    """Every file of the inbox that a status is owed to, in the order of their names."""
    inbox = fleet_folder / FOLDER
    entries = (entry for entry in _entries(inbox) if not _is_unfinished(entry))
    found = (_look(entry, fleet_folder, inbox) for entry in entries)
    return tuple(sorted((each for each in found if each is not None), key=lambda each: each.file))


def _is_unfinished(entry: os.DirEntry[str] | tuple[str, OSError]) -> bool:
    return not isinstance(entry, tuple) and is_unfinished(entry.name)


def is_unfinished(name: str) -> bool:
    """Whether a file's name says that it is still being written; such files are passed over without a word."""
    return _UNFINISHED.fullmatch(name) is not None


def unreadable(file: str, error: OSError) -> Problem:
    """A file that the operating system will not give."""
    got = error.strerror or type(error).__name__
    return Problem(file, None, "inbox_unreadable", "a file that opens", got, "Check that it is there and its rights.")


MOST_FOLDERS_DEEP: Final = 32
"""Folders below the inbox that are looked into; deeper ones are refused as a whole."""


def _entries(top: Path) -> Iterator[os.DirEntry[str] | tuple[str, OSError]]:
    """Everything below a folder but folders themselves, and folders that cannot be listed.

    Links to folders are given as they are and never followed, so that no circle is walked.
    """
    folders = [(str(top), 0)]
    while folders:
        folder, depth = folders.pop()
        try:
            listed = list(os.scandir(folder))
        except OSError as error:
            if not isinstance(error, FileNotFoundError):  # a folder that went meanwhile has no files
                yield folder, error
            continue
        for entry in listed:
            if entry.name.startswith("."):
                continue
            if not entry.is_dir(follow_symlinks=False):
                yield entry
            elif depth < MOST_FOLDERS_DEEP:
                folders.append((entry.path, depth + 1))
            else:
                yield entry


def _look(entry: os.DirEntry[str] | tuple[str, OSError], fleet_folder: Path, inbox: Path) -> Found | None:
    """What stands at an entry; None for a link to a folder of the inbox, whose files are found where they are."""
    path = entry[0] if isinstance(entry, tuple) else entry.path
    written = FOLDER + path[len(str(inbox)) :]
    file = _legible_name(written)
    if isinstance(entry, tuple):
        return Found(fleet_folder, file, trouble=unreadable(file, entry[1]))
    if file != written:
        problem = Problem(file, None, "inbox_name", "a name of plain characters", file, "Rename the file.")
        return Found(fleet_folder, file, trouble=problem)
    try:
        trouble = _trouble_of(entry, file, inbox)
        if trouble is None and entry.is_dir():
            return None
        state = entry.stat() if trouble is None else None
    except OSError as error:
        return Found(fleet_folder, file, trouble=unreadable(file, error))
    if state is None:
        return Found(fleet_folder, file, trouble=trouble)
    return Found(fleet_folder, file, state.st_size, state.st_mtime_ns)


def _legible_name(written: str) -> str:
    """A path as it can be written down: control characters, marks of direction and broken bytes as their codes."""
    if written.isprintable():
        return written
    letters = os.fsencode(written).decode("utf-8", "backslashreplace")
    return "".join(
        letter.encode("unicode_escape").decode() if unicodedata.category(letter) in _UNWRITABLE else letter
        for letter in letters
    )


_UNWRITABLE: Final = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})


def _trouble_of(entry: os.DirEntry[str], file: str, inbox: Path) -> Problem | None:
    """Why an entry is not opened: opening a pipe would wait for ever, and a link may lead to anything."""
    if entry.is_symlink() and not _leads_inside(entry.path, inbox):
        way_out = "Put the log itself there."
        return Problem(file, None, "inbox_link", "a file, or a link to one of the inbox", "a link out of it", way_out)
    if entry.is_dir(follow_symlinks=False):
        way_out = "Move the logs up."
        got = f"more than {MOST_FOLDERS_DEEP}"
        return Problem(file, None, "inbox_depth", f"{MOST_FOLDERS_DEEP} folders or fewer", got, way_out)
    mode = entry.stat().st_mode
    if stat.S_ISREG(mode) or stat.S_ISDIR(mode):
        return None
    got = next((word for is_kind, word in _KINDS if is_kind(mode)), "something else")
    return Problem(file, None, "inbox_no_file", "a file", got, "Take it out of the inbox.")


_KINDS: Final = ((stat.S_ISFIFO, "a named pipe"), (stat.S_ISSOCK, "a socket"), (stat.S_ISBLK, "a device"),
                 (stat.S_ISCHR, "a device"))  # fmt: skip


def _leads_inside(path: str, inbox: Path) -> bool:
    return Path(path).resolve().is_relative_to(inbox.resolve())
