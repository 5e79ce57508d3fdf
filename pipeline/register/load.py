"""From `fleet.toml` to a `Register`, or to a `RegisterError` that names every mistake."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from pipeline.problems import Problem
from pipeline.register.fleet import Boat, Engine, Register
from pipeline.register.mistakes import Document, RegisterError, meaning_mistakes, shape_mistakes
from pipeline.register.tables import FILE_NAME, BoatTable, EngineTable, RegisterFile
from pipeline.register.toml_lines import key_lines

if TYPE_CHECKING:
    from pathlib import Path


def load_register(folder: Path, indicators: frozenset[str] | None = None) -> Register:
    """Read `folder/fleet.toml`. With `indicators` given, limits may be set for those alone.

    Raises:
        RegisterError: the file is absent, is no TOML, or says something that cannot be used.
    """
    text = _text(folder / FILE_NAME)
    document = Document(_parsed(text), key_lines(text))
    written = _shaped(document)
    mistakes = list(meaning_mistakes(document, written, indicators))
    if mistakes:
        raise RegisterError(mistakes)
    return _register(folder, written)


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as error:
        raise RegisterError([_absent(path)]) from error
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        got = f"the byte {error.object[error.start]:#04x}"
        problem = Problem(FILE_NAME, line, "register_unreadable", "UTF-8 text", got, "Save the file as UTF-8.")
        raise RegisterError([problem]) from error
    except OSError as error:
        got = error.strerror or type(error).__name__
        way_out = f"Look at what stands at {path}."
        problem = Problem(FILE_NAME, None, "register_unreadable", "a file that can be read", got, way_out)
        raise RegisterError([problem]) from error


def _absent(path: Path) -> Problem:
    way_out = f"Start a fleet there with `morningwatch init {path.parent}`, or name another folder with --fleet."
    return Problem(FILE_NAME, None, "register_absent", f"a file {FILE_NAME} in {path.parent}", "none", way_out)


def _parsed(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise RegisterError([_syntax(text, str(error))]) from error


def _syntax(text: str, message: str) -> Problem:
    """The parser's complaint with the line it stopped at; it says nothing but `at end of document` for the last."""
    lines = text.splitlines() or [""]
    place = re.search(r"\(at line (\d+)", message)
    line = min(int(place.group(1)), len(lines)) if place else len(lines)
    got = f"`{lines[line - 1].strip()}` ({message.partition(' (at ')[0]})"
    way_out = "Look for a missing quote, bracket or equals sign here or just above."
    return Problem(FILE_NAME, line, "register_syntax", "a key and a value, or a [table]", got, way_out)


def _shaped(document: Document) -> RegisterFile:
    try:
        return RegisterFile.model_validate(document.content)
    except ValidationError as error:
        raise RegisterError(shape_mistakes(document, error.errors(include_url=False))) from error


def _register(folder: Path, written: RegisterFile) -> Register:
    return Register(
        folder=folder,
        name=written.fleet.name,
        timezone=written.fleet.timezone,
        currency_days=written.fleet.currency_days,
        simulated=written.fleet.simulated,
        boats=tuple(_boat(boat) for boat in written.boat),
        channel_maps=written.channel_map,
        limits=written.limits,
        reading=written.reading,
    )


def _boat(written: BoatTable) -> Boat:
    return Boat(
        id=written.id,
        name=written.name or written.id,
        channel_map=written.channel_map,
        engines=tuple(_engine(written.id, engine) for engine in written.engine),
        limits=written.limits,
    )


def _engine(boat_id: str, written: EngineTable) -> Engine:
    return Engine(
        id=written.id,
        boat_id=boat_id,
        label=written.label or written.id,
        serial=written.serial,
        shift_targets=written.shift_targets,
        idle_rows_c=written.idle_rows_c,
        service=written.service,
        limits=written.limits,
    )
