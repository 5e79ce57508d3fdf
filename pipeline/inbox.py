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
    from collections.abc import Iterator

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

    path: Path
    file: str
    size_bytes: int = 0
    modified_ns: int = 0
    trouble: Problem | None = None


@dataclass(frozen=True)
class Place:
    """Whose log a file is, what is needed to read it, and a key that changes when any of that does."""

    boat: Boat
    request: ReadRequest
    reading_key: str


def scan(fleet_folder: Path) -> tuple[Found, ...]:
    """Every file of the inbox that a status is owed to, in the order of their names."""
    found = (_look(path, fleet_folder) for path in _files(fleet_folder / FOLDER))
    return tuple(sorted(found, key=lambda each: each.file))


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
        self._keys: dict[tuple[str, tuple[str, ...]], str] = {}

    def of(self, found: Found) -> Place | Problem:
        """The file's place, or why no log can stand there."""
        if found.trouble is not None:
            return found.trouble
        _, *folders, _ = found.file.split("/")
        if not folders:
            return self._without_boat(found)
        if folders[0] not in self._boats:
            return self._with_unknown_boat(found, folders[0])
        return self._placed(found, self._boats[folders[0]], folders[1:])

    def _without_boat(self, found: Found) -> Problem:
        way_out = f"Move it into one of the boats' folders: {', '.join(self._boats)}."
        return Problem(found.file, None, "inbox_no_boat", f"{FOLDER}/<boat>/", f"{FOLDER}/", way_out)

    def _with_unknown_boat(self, found: Found, folder: str) -> Problem:
        way_out = f"{did_you_mean(folder, self._boats)} Rename the folder, or add the boat to fleet.toml."
        return Problem(found.file, None, "inbox_unknown_boat", "a boat's id as the folder's name", folder, way_out)

    def _placed(self, found: Found, boat: Boat, folders: list[str]) -> Place | Problem:
        if not boat.engines:
            way_out = f"Add a [[boat.engine]] table under {boat.id} in fleet.toml."
            return Problem(found.file, None, "inbox_no_engine", "at least one engine", "none", way_out)
        request = ReadRequest(
            path=found.path,
            file=found.file,
            engines=_named_engines(boat, folders) or boat.engines,
            channel_map=self._channel_map(boat),
            timezone=self._register.timezone,
        )
        return Place(boat, request, self._reading_key(boat, request))

    def _channel_map(self, boat: Boat) -> ChannelMap | None:
        return None if boat.channel_map is None else self._register.channel_maps[boat.channel_map]

    def _reading_key(self, boat: Boat, request: ReadRequest) -> str:
        known_by = (boat.id, tuple(engine.id for engine in request.engines))
        if known_by not in self._keys:
            self._keys[known_by] = _digest_of_facts(boat, request)
        return self._keys[known_by]


def _named_engines(boat: Boat, folders: list[str]) -> tuple[Engine, ...]:
    """The engine that a folder between the boat's and the file is named after, by id or label; the innermost counts."""
    for folder in reversed(folders):
        for engine in boat.engines:
            if folder.casefold() in (engine.id.casefold(), engine.label.casefold()):
                return (engine,)
    return ()


def _digest_of_facts(boat: Boat, request: ReadRequest) -> str:
    """A short digest of everything a reading depends on apart from the file itself."""
    channel_map = None
    if request.channel_map is not None:
        channel_map = {channel: entry.model_dump(mode="json") for channel, entry in request.channel_map.items()}
    engines = [(engine.id, engine.label) for engine in request.engines]
    facts = [READER_VERSION, boat.id, engines, request.timezone, channel_map]
    return blake2b(json.dumps(facts, sort_keys=True).encode(), digest_size=8).hexdigest()


def _files(folder: Path) -> Iterator[str]:
    for parent, folders, names in os.walk(folder):
        folders[:] = [each for each in folders if not each.startswith(".")]
        for name in names:
            if not name.startswith(".") and not name.lower().endswith(UNFINISHED):
                yield os.path.join(parent, name)  # noqa: PTH118 - thousands of files: a plain string is quicker


def _look(name: str, fleet_folder: Path) -> Found:
    path = Path(name)
    file = path.relative_to(fleet_folder).as_posix()
    try:
        file.encode()
    except UnicodeEncodeError:
        file = os.fsencode(file).decode("utf-8", "backslashreplace")
        return Found(path, file, trouble=Problem(file, None, "inbox_name", "a name in UTF-8", file, "Rename the file."))
    try:
        state = path.stat()
    except OSError as error:
        return Found(path, file, trouble=unreadable(file, error))
    return Found(path, file, state.st_size, state.st_mtime_ns)
