"""A log that somebody brings by hand: looked at before it is kept, then saved into the inbox under a name of its own.

Nothing that is in the inbox is ever written over.
"""

from __future__ import annotations

import os
import re
import unicodedata
from contextlib import suppress
from dataclasses import dataclass
from hashlib import blake2b
from typing import TYPE_CHECKING, Final, Literal
from uuid import uuid4

from pipeline.inbox import log_id
from pipeline.inbox_files import FOLDER, is_unfinished, scan
from pipeline.readers import LOG_SUFFIXES
from pipeline.trial import Trial, try_log

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from pipeline.register import Register

MAX_MB: Final = 200
"""The largest file that is looked at: an hour of forty channels at 100 Hz is some 100 MB."""

_MAX_NAME_BYTES: Final = 120
"""Far below the 255 bytes that file systems allow, so that a number and an ending still fit."""

_NO_NAME: Final = "log"
_FORBIDDEN: Final = re.compile(r'[<>:"|?*]')
"""Signs that some file systems do not take."""

_RESERVED: Final = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?\Z", re.IGNORECASE)
"""Names that are devices on some machines the folder may be copied to."""


@dataclass(frozen=True)
class Looked:
    """A log as it would be taken: `known_as` is the file of the inbox with the same bytes, else `trial` says the rest.

    `name` is the safe name under which it would be saved, `log_id` what its bytes are known by.
    """

    status: Literal["good", "known", "bad"]
    boat: str
    engine: str | None
    name: str
    log_id: str
    known_as: str | None = None
    trial: Trial | None = None

    @property
    def reason(self) -> str | None:
        """Why the log cannot be taken, with the way out; None where it can."""
        return self.trial.refusal if self.trial else None


def look(register: Register, boat: str, engine: str | None, name: str, content: bytes) -> Looked:
    """Read a log in a scratch place as it would be read in the inbox of that boat (or that engine's folder there).

    `name` is whatever the sender called it. Raises OSError where the scratch place cannot be written.
    """
    identity = blake2b(content).hexdigest()[:16]
    safe = safe_name(name)
    known_as = _file_with(register.folder, len(content), identity)
    if known_as is not None:
        return Looked("known", boat, engine, safe, identity, known_as)
    trial = try_log(register, boat, engine, safe, content)
    return Looked("bad" if trial.refusal else "good", boat, engine, safe, identity, trial=trial)


def save(register: Register, boat: str, engine: str | None, name: str, content: bytes) -> str:
    """Write a log into the inbox; its path relative to the fleet folder.

    The name is made safe, and where another file bears it already it gets a number. Whole or not at all: nobody reads
    it half written. Raises OSError where the inbox cannot be written, KeyError where there is no such boat or engine.
    """
    owner = register.engine(f"{boat}/{engine}") if engine else register.boat(boat)
    folder = register.folder.joinpath(FOLDER, boat, *([owner.id] if engine else []))
    folder.mkdir(parents=True, exist_ok=True)
    part = folder / f".{uuid4().hex}.part"
    try:
        with part.open("xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        final = _settled(part, folder, safe_name(name))
    finally:
        part.unlink(missing_ok=True)
    return final.relative_to(register.folder).as_posix()


def safe_name(name: str) -> str:
    """A file name that stays in its folder on every machine: no path, no control signs, no device, not hidden.

    A name that the inbox passes over, because it looks like a file still being written, becomes one that it reports.
    """
    bare = re.split(r"[/\\]", unicodedata.normalize("NFC", name.replace("\0", "")))[-1]
    shown = "".join(sign for sign in bare if unicodedata.category(sign)[0] != "C")
    plain = _FORBIDDEN.sub("_", shown).strip().lstrip(".~#").rstrip(". ")
    if is_unfinished(plain):
        plain = f"{plain.rstrip('~#').replace('.', '_')}_"
    if _RESERVED.match(plain):
        plain = f"{_NO_NAME}_{plain}"
    if f".{plain}".lower() in LOG_SUFFIXES:
        plain = f"{_NO_NAME}.{plain}"
    return _shortened(plain or _NO_NAME)


def with_start(name: str, began: datetime) -> str:
    """The name with the log's start before it, as the readers know it; for a log that says nowhere when it began."""
    return safe_name(f"{began:%Y-%m-%d_%H%M%S}_{safe_name(name)}")


def _shortened(name: str) -> str:
    stem, ending = _parted(name)
    room = _MAX_NAME_BYTES - len(ending.encode())
    return stem.encode()[:room].decode(errors="ignore").rstrip(". ") + ending


def _parted(name: str) -> tuple[str, str]:
    """The name without its ending, and the ending of a log ('.csv.gz' whole); any other ending stays with the name."""
    ending = max((end for end in LOG_SUFFIXES if name.lower().endswith(end)), key=len, default="")
    at = len(name) - len(ending)
    return name[:at], name[at:]


def _file_with(fleet_folder: Path, size_bytes: int, identity: str) -> str | None:
    """The file of the inbox that has these bytes; None where none has."""
    for found in scan(fleet_folder):
        if found.trouble is None and found.size_bytes == size_bytes:
            with suppress(OSError):
                if log_id(found.path) == identity:
                    return found.file
    return None


def _settled(part: Path, folder: Path, name: str) -> Path:
    """The written file under the first name that is free."""
    stem, ending = _parted(name)
    number = 1
    while True:
        final = folder / (name if number == 1 else f"{stem}-{number}{ending}")
        try:
            _take_name(part, final)
        except FileExistsError:
            number += 1
        else:
            return final


def _take_name(part: Path, final: Path) -> None:
    """Give the file its name, failing where the name is taken, even by somebody who takes it at the same moment."""
    try:
        os.link(part, final)
    except FileExistsError:
        raise
    except OSError:  # a file system without links: reserve the name, then put the file there
        final.touch(exist_ok=False)
        part.replace(final)
