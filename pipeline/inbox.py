"""The inbox: which files are in it, and which boat, engines and channel map each of them belongs to.

Nothing here reads a log or changes a file.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from hashlib import blake2b, file_digest
from pathlib import Path
from typing import TYPE_CHECKING, Final

from pipeline.problems import Problem, declare
from pipeline.readers import READER_VERSION, ReadRequest
from pipeline.register import Boat, ChannelMap, Engine, Register, did_you_mean

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

FOLDER: Final = "inbox"
UNFINISHED: Final = (".part", ".tmp", ".crdownload", "~")
"""Endings under which a file is still being written. Such files and hidden ones are passed over without a word."""

declare(
    {
        "inbox_unreadable": "the file cannot be read",
        "inbox_name": "the file's name cannot be written down",
        "inbox_no_boat": "the file stands in no boat's folder",
        "inbox_unknown_boat": "the folder is no boat of the register",
        "inbox_no_engine": "the boat has no engine in the register",
    }
)


@dataclass(frozen=True)
class Found:
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


@dataclass(frozen=True)
class Place:
    """Whose logs stand in a folder, how they are read, and a key that changes when any of that does."""

    boat: Boat
    engines: tuple[Engine, ...]
    channel_map: ChannelMap | None
    timezone: str
    reading_key: str

    def request(self, found: Found) -> ReadRequest:
        """What a reader is asked about a file of this place."""
        return ReadRequest(found.path, found.file, self.engines, self.channel_map, self.timezone)


def scan(fleet_folder: Path) -> tuple[Found, ...]:
    """Every file of the inbox that a status is owed to, in the order of their names.

    A folder that cannot be read stands among them: its files are unknown, and that must not pass in silence.
    """
    closed: list[Found] = []

    def note(error: OSError) -> None:
        if not isinstance(error, FileNotFoundError):  # a folder that went meanwhile has no files
            file = Path(error.filename).relative_to(fleet_folder).as_posix()
            closed.append(Found(fleet_folder, file, trouble=unreadable(file, error)))

    found = [_look(name, fleet_folder) for name in _files(fleet_folder / FOLDER, note)]
    return tuple(sorted([*found, *closed], key=lambda each: each.file))


def log_id(path: Path) -> str:
    """What a log is known by: 16 hex digits of the BLAKE2b digest of the file's bytes.

    Raises:
        OSError: if the file cannot be read.
    """
    with path.open("rb") as file:
        return file_digest(file, blake2b).hexdigest()[:16]


def unreadable(file: str, error: OSError) -> Problem:
    """A file that the operating system will not give."""
    got = error.strerror or type(error).__name__
    return Problem(file, None, "inbox_unreadable", "a file that opens", got, "Check that it is there and its rights.")


class Places:
    """Tells whose log a file is from where it stands: `inbox/<boat>/…`; a folder named after an engine narrows it."""

    def __init__(self, register: Register) -> None:
        self._register = register
        self._boats = {boat.id: boat for boat in register.boats}
        self._known: dict[str, Place] = {}

    def of(self, found: Found) -> Place | Problem:
        """The file's place, or why no log can stand there."""
        if found.trouble is not None:
            return found.trouble
        folder = found.file.rpartition("/")[0]
        if folder in self._known:
            return self._known[folder]
        place = self._look_up(found.file, folder.split("/")[1:])
        if isinstance(place, Place):
            self._known[folder] = place
        return place

    def _look_up(self, file: str, folders: list[str]) -> Place | Problem:
        if not folders:
            way_out = f"Move it into one of the boats' folders: {', '.join(self._boats)}."
            return Problem(file, None, "inbox_no_boat", f"{FOLDER}/<boat>/", f"{FOLDER}/", way_out)
        boat = self._boats.get(folders[0])
        if boat is None:
            way_out = f"{did_you_mean(folders[0], self._boats)} Rename the folder, or add the boat to fleet.toml."
            return Problem(file, None, "inbox_unknown_boat", "a boat's id as the folder's name", folders[0], way_out)
        if not boat.engines:
            way_out = f"Add a [[boat.engine]] table under {boat.id} in fleet.toml."
            return Problem(file, None, "inbox_no_engine", "at least one engine", "none", way_out)
        return self._place(boat, _named_engines(boat, folders[1:]) or boat.engines)

    def _place(self, boat: Boat, engines: tuple[Engine, ...]) -> Place:
        channel_map = None if boat.channel_map is None else self._register.channel_maps[boat.channel_map]
        key = _digest_of_facts(boat, engines, channel_map, self._register.timezone)
        return Place(boat, engines, channel_map, self._register.timezone, key)


def _named_engines(boat: Boat, folders: list[str]) -> tuple[Engine, ...]:
    """The engine that a folder between the boat's and the file is named after, by id or label; the innermost counts."""
    for folder in reversed(folders):
        for engine in boat.engines:
            if folder.casefold() in (engine.id.casefold(), engine.label.casefold()):
                return (engine,)
    return ()


def _digest_of_facts(boat: Boat, engines: tuple[Engine, ...], channel_map: ChannelMap | None, timezone: str) -> str:
    """A short digest of everything a reading depends on apart from the file itself."""
    entries = None
    if channel_map is not None:
        entries = {channel: entry.model_dump(mode="json") for channel, entry in channel_map.items()}
    names = [(engine.id, engine.label) for engine in engines]
    facts = [READER_VERSION, boat.id, names, timezone, entries]
    return blake2b(json.dumps(facts, sort_keys=True).encode(), digest_size=8).hexdigest()


# Plain strings instead of paths below: an inbox of a season has thousands of files, and each morning looks at all.
def _files(folder: Path, trouble: Callable[[OSError], None]) -> Iterator[str]:
    for parent, folders, names in os.walk(folder, onerror=trouble):
        folders[:] = [each for each in folders if not each.startswith(".")]
        for name in names:
            if not name.startswith(".") and not name.lower().endswith(UNFINISHED):
                yield f"{parent}/{name}"


def _look(name: str, fleet_folder: Path) -> Found:
    file = FOLDER + name[len(str(fleet_folder / FOLDER)) :]
    try:
        file.encode()
    except UnicodeEncodeError:
        file = os.fsencode(file).decode("utf-8", "backslashreplace")
        problem = Problem(file, None, "inbox_name", "a name in UTF-8", file, "Rename the file.")
        return Found(fleet_folder, file, trouble=problem)
    try:
        state = os.stat(name)  # noqa: PTH116
    except OSError as error:
        return Found(fleet_folder, file, trouble=unreadable(file, error))
    return Found(fleet_folder, file, state.st_size, state.st_mtime_ns)
