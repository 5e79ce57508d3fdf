"""Writes a channel map into `fleet.toml`: the person's file stays as it is, line by line, and only gains.

The new text is read as a register before it takes the file's place; a text that would not load changes nothing.
"""

from __future__ import annotations

import os
import re
import shutil
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Final

from pipeline.problems import Problem, declare
from pipeline.register.load import load_register
from pipeline.register.mistakes import RegisterError
from pipeline.register.tables import FILE_NAME, MapEntry
from pipeline.register.toml_lines import KeyPath, key_lines

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pipeline.register.fleet import Register

declare(
    {
        "map_exists": "a channel map of that name is there already",
        "map_name": "the name of the channel map cannot be used",
        "map_unwritten": "the channel map cannot be written into the register",
    }
)

_NAME: Final = re.compile(r"[A-Za-z0-9_-]+\Z")
_HEADER: Final = re.compile(r"\s*\[")
_BOATS_MAP: Final = re.compile(r"""(\s*channel_map\s*=\s*)("[^"]*"|'[^']*')(.*)\Z""", re.DOTALL)
_BOM: Final = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class WrittenMap:
    """What was done: `status` is 'written', 'replaced' or 'unchanged'; `boats` are those that now use the map."""

    name: str
    status: str
    boats: tuple[str, ...]


def write_map(
    folder: Path,
    name: str,
    lines: Sequence[str],
    *,
    boats: Sequence[str] = (),
    replace: bool = False,
    indicators: frozenset[str] | None = None,
) -> WrittenMap:
    """Put the map `name` into `folder/fleet.toml` and let the boats use it.

    `lines` are the lines of its table, comments too, without the header. A map of that name that says something else is
    only replaced if told, and its lines stay behind as comments. Nobody sees the file half written.

    Raises:
        RegisterError: the register cannot be read, or would not be readable with the map; nothing has been changed.
        OSError: the file cannot be written.
    """
    path = (folder / FILE_NAME).resolve()
    before = load_register(folder, indicators)
    raw = path.read_bytes()
    text = raw.removeprefix(_BOM).decode()
    _check_name(name)
    entries = _entries(name, lines)
    status = _status(before, name, entries, replace=replace)
    edited = _Text(text)
    if status == "written":
        edited.append_table(name, lines)
    elif status == "replaced":
        edited.replace_table(name, lines)
    for boat in boats:
        edited.use_map(boat, name)
    after = edited.text
    if after != text:
        _check(before, after, name, entries, boats, indicators)
        _put(path, raw, (_BOM if raw.startswith(_BOM) else b"") + after.encode())
    return WrittenMap(name, status, tuple(boats))


def _check_name(name: str) -> None:
    if not _NAME.match(name):
        way_out = "Use letters, digits, _ and - alone."
        raise RegisterError([Problem(FILE_NAME, None, "map_name", "a plain name", name or "none", way_out)])


def _entries(name: str, lines: Sequence[str]) -> Mapping[str, MapEntry]:
    """The map that the lines say, read in a register that has nothing else."""
    with TemporaryDirectory(prefix="morningwatch-") as place:
        head = '[fleet]\nname = "x"\ntimezone = "UTC"\n'
        (Path(place) / FILE_NAME).write_text(
            f"{head}[channel_map.{name}]\n" + "\n".join(lines) + "\n", encoding="utf-8"
        )
        return load_register(Path(place)).channel_maps[name]


def _status(before: Register, name: str, entries: Mapping[str, MapEntry], *, replace: bool) -> str:
    known = before.channel_maps.get(name)
    if known is None:
        return "written"
    if known == entries:
        return "unchanged"
    if replace:
        return "replaced"
    way_out = "Choose another name, or say that it is to be replaced."
    raise RegisterError([Problem(FILE_NAME, None, "map_exists", "a new name", name, way_out)])


def _check(
    before: Register,
    after: str,
    name: str,
    entries: Mapping[str, MapEntry],
    boats: Sequence[str],
    indicators: frozenset[str] | None,
) -> None:
    """Load the new text as a register and see that it says what it said, the map and its boats besides."""
    with TemporaryDirectory(prefix="morningwatch-") as place:
        (Path(place) / FILE_NAME).write_bytes(after.encode())
        now = load_register(Path(place), indicators)
    expected = before.model_copy(
        update={
            "folder": now.folder,
            "channel_maps": {**before.channel_maps, name: entries},
            "boats": tuple(
                boat.model_copy(update={"channel_map": name}) if boat.id in boats else boat for boat in before.boats
            ),
        }
    )
    if now != expected:
        raise _unwritten("a file whose tables can be told apart")


def _unwritten(expected: str) -> RegisterError:
    way_out = "Write the map in by hand."
    return RegisterError([Problem(FILE_NAME, None, "map_unwritten", expected, "another way of writing it", way_out)])


def _put(path: Path, old: bytes, new: bytes) -> None:
    part = path.with_name(f"{path.name}.part")
    try:
        with part.open("wb") as file:
            file.write(new)
            file.flush()
            os.fsync(file.fileno())
        shutil.copymode(path, part)
        if path.read_bytes() != old:
            way_out = "Look at it and try again."
            raise RegisterError(
                [Problem(FILE_NAME, None, "map_unwritten", "the file as it was read", "a newer one", way_out)]
            )
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


class _Text:
    """The register's text, edited by whole lines; the file's own line ends are kept."""

    def __init__(self, text: str) -> None:
        self.text = text
        self._end = "\r\n" if "\r\n" in text else "\n"

    def append_table(self, name: str, lines: Sequence[str]) -> None:
        """A new table at the end."""
        gap = "" if not self.text else self._end if self.text.endswith("\n") else self._end * 2
        self.text += gap + self._joined([f"[channel_map.{name}]", *lines])

    def replace_table(self, name: str, lines: Sequence[str]) -> None:
        """New lines for a table; the old ones stay as comments, and what stands behind them stays."""
        held = self._lines()
        start = key_lines(self.text).get(("channel_map", name), 0)
        if not start or not _HEADER.match(held[start - 1]):
            raise _unwritten(f"a table opened by [channel_map.{name}]")
        stop = next((at for at in range(start, len(held)) if _HEADER.match(held[at])), len(held))
        while stop > start and (not held[stop - 1].strip() or held[stop - 1].lstrip().startswith("#")):
            stop -= 1
        body = held[start:stop]
        if body and not body[-1].endswith("\n"):
            body[-1] += self._end
        kept = [line if not line.strip() or line.lstrip().startswith("#") else f"# before: {line}" for line in body]
        self.text = "".join([*held[:start], self._joined(lines), *kept, *held[stop:]])

    def use_map(self, boat: str, name: str) -> None:
        """The boat's own line that names its map: changed where there is one, else put in behind its id."""
        places = key_lines(self.text)
        at = self._place_of(boat, places)
        held = self._lines()
        line = places.get(("boat", at, "channel_map"))
        if line is None:
            held.insert(places["boat", at, "id"], f'channel_map = "{name}"{self._end}')
        else:
            found = _BOATS_MAP.match(held[line - 1])
            if found is None:
                raise _unwritten(f'a line channel_map = "…" under {boat}')
            held[line - 1] = f'{found[1]}"{name}"{found[3]}'
        self.text = "".join(held)

    def _place_of(self, boat: str, places: Mapping[KeyPath, int]) -> int:
        """Which [[boat]] it is, from 0; found by the line of its id."""
        held = self._lines()
        pattern = re.compile(rf"""\s*id\s*=\s*["']{re.escape(boat)}["']""")
        for path, line in places.items():
            if len(path) == 3 and (path[0], path[2]) == ("boat", "id") and pattern.match(held[line - 1]):
                return int(path[1])
        raise _unwritten(f'a line id = "{boat}" of its own')

    def _lines(self) -> list[str]:
        return re.findall(r"[^\n]*\n|[^\n]+\Z", self.text)

    def _joined(self, lines: Sequence[str]) -> str:
        return "".join(f"{line}{self._end}" for line in lines)
