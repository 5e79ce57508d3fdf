"""The inbox: which boat, engines and channel map each of its files belongs to, and what a log is known by."""

from __future__ import annotations

import json
from dataclasses import dataclass
from hashlib import blake2b, file_digest
from pathlib import Path

from pipeline.inbox_files import FOLDER, Found
from pipeline.problems import Problem, declare
from pipeline.readers import READER_VERSION, ReadRequest
from pipeline.register import Boat, ChannelMap, Engine, ReadingLimits, Register, did_you_mean

declare(
    {
        "inbox_no_boat": "the file stands in no boat's folder",
        "inbox_unknown_boat": "the folder is no boat of the register",
        "inbox_no_engine": "the boat has no engine in the register",
    }
)


@dataclass(frozen=True)
class Place:
    """Whose logs stand in a folder, how they are read, and a key that changes when any of that does."""

    boat: Boat
    engines: tuple[Engine, ...]
    channel_map: ChannelMap | None
    timezone: str
    limits: ReadingLimits
    reading_key: str

    def request(self, found: Found) -> ReadRequest:
        """What a reader is asked about a file of this place."""
        return ReadRequest(found.path, found.file, self.engines, self.channel_map, self.timezone, self.limits)


def log_id(path: Path) -> str:
    """What a log is known by: 16 hex digits of the BLAKE2b digest of the file's bytes.

    Raises:
        OSError: if the file cannot be read.
    """
    with path.open("rb") as file:
        return file_digest(file, blake2b).hexdigest()[:16]


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
        timezone, limits = self._register.timezone, self._register.reading
        key = _digest_of_facts(boat, engines, channel_map, timezone, limits)
        return Place(boat, engines, channel_map, timezone, limits, key)


def _named_engines(boat: Boat, folders: list[str]) -> tuple[Engine, ...]:
    """The engine that a folder between the boat's and the file is named after, by id or label; the innermost counts."""
    for folder in reversed(folders):
        for engine in boat.engines:
            if folder.casefold() in (engine.id.casefold(), engine.label.casefold()):
                return (engine,)
    return ()


def _digest_of_facts(
    boat: Boat, engines: tuple[Engine, ...], channel_map: ChannelMap | None, timezone: str, limits: ReadingLimits
) -> str:
    """A short digest of everything a reading depends on apart from the file itself."""
    entries = None
    if channel_map is not None:
        entries = {channel: entry.model_dump(mode="json") for channel, entry in channel_map.items()}
    names = [(engine.id, engine.label) for engine in engines]
    facts = [READER_VERSION, boat.id, names, timezone, entries, limits.model_dump()]
    return blake2b(json.dumps(facts, sort_keys=True).encode(), digest_size=8).hexdigest()
