"""What can be wrong in a register, and how it is said: each mistake as a problem with its line and its key."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from pipeline.channels import CHANNELS, FLAG_CODES, GEAR_CODES, UnitError, affine, fits
from pipeline.problems import Problem, declare
from pipeline.register.tables import FILE_NAME, GEARS, MAPPED, TIME_UNITS, EngineTable, MapEntry, RegisterFile, keys_at
from pipeline.register.toml_lines import KeyPath, line_of
from pipeline.register.words import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from pydantic_core import ErrorDetails

declare(
    {
        "register_absent": "there is no register",
        "register_unreadable": "the register cannot be read",
        "register_syntax": "this is not valid TOML",
        "register_unknown_key": "unknown key",
        "register_missing_key": "a key is missing",
        "register_wrong_type": "a value of the wrong type",
        "register_bad_value": "a value that cannot be used",
        "register_unknown_name": "a name that is defined nowhere",
        "register_duplicate": "the same name twice",
    }
)

_EXPECTED: Final[dict[str, str]] = {
    "string_type": "text in quotes",
    "float_type": "a number",
    "bool_type": "true or false",
    "tuple_type": "an array of tables, each opened by [[…]]",
    "mapping_type": "a table",
    "dict_type": "a table",
    "model_type": "a table",
    "string_too_short": "text that is not empty",
    "string_pattern_mismatch": "an id of lower-case letters, digits, _ and - alone",
    "finite_number": "a finite number",
    "greater_than": "a number greater than 0",
    "greater_than_equal": "a number of 0 or more",
}
"""What the shape checker's complaints mean, in words for someone who edits the file."""

_WORDS: Final = {
    "gear": tuple(GEAR_CODES),
    **{name: tuple(FLAG_CODES) for name, channel in CHANNELS.items() if channel.unit == "0/1"},
}
"""The words a channel's `values` may translate to."""

_KEY_ITSELF: Final = "[key]"
"""The shape checker's mark for a complaint about a key of a mapping and not about its value."""


class RegisterError(Exception):
    """The register cannot be used; `problems` has every mistake found, in the order of their lines."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(problems, key=lambda problem: problem.line or 0))
        super().__init__(self.problems)

    def __str__(self) -> str:
        return "\n".join(problem.sentence() for problem in self.problems)


@dataclass(frozen=True)
class Document:
    """A parsed register with the line of every key."""

    content: dict[str, Any]
    lines: dict[KeyPath, int]

    def problem(self, path: KeyPath, code: str, expected: str, got: str, way_out: str) -> Problem:
        """A problem at the line of `path`."""
        return Problem(FILE_NAME, line_of(self.lines, path), code, expected, got, way_out)

    def place(self, path: KeyPath) -> str:
        """A path in words; an element of an array goes by its id, or without one by its number from 1."""
        words = [self._word(path[:size]) for size in range(1, len(path) + 1)]
        return ".".join(words) or FILE_NAME

    def _word(self, path: KeyPath) -> str:
        last = path[-1]
        if isinstance(last, str):
            return last
        table = self._at(path)
        name = table.get("id") if isinstance(table, dict) else None
        return name if isinstance(name, str) else f"#{last + 1}"

    def _at(self, path: KeyPath) -> Any:
        found: Any = self.content
        for key in path:
            found = found[key]
        return found


def shape_mistakes(document: Document, errors: Iterable[ErrorDetails]) -> Iterator[Problem]:
    """The shape checker's complaints; a key that is wrong is named once, whatever its value."""
    errors = list(errors)
    wrong_keys = {error["loc"][:-1] for error in errors if error["loc"][-1:] == (_KEY_ITSELF,)}
    for error in errors:
        if error["loc"][-1:] == (_KEY_ITSELF,):
            yield _wrong_key(document, error["loc"][:-1])
        elif not any(error["loc"][: len(key)] == key for key in wrong_keys):
            yield _shape_mistake(document, error)


def _wrong_key(document: Document, path: KeyPath) -> Problem:
    return unknown_key(document, path, MAPPED if path[0] == "channel_map" else GEARS)


def _shape_mistake(document: Document, error: ErrorDetails) -> Problem:
    path, kind = error["loc"], error["type"]
    if kind == "extra_forbidden":
        return unknown_key(document, path, keys_at(path[:-1]))
    if kind == "missing":
        return _missing_key(document, path)
    context = error.get("ctx", {})
    expected = context.get("expected") or _EXPECTED.get(kind) or error["msg"]
    code = "register_wrong_type" if kind.endswith("_type") else "register_bad_value"
    got = _got(document, path, error["input"])
    return document.problem(path, code, expected, got, context.get("hint") or f"Correct {path[-1]}.")


def unknown_key(document: Document, path: KeyPath, known: Iterable[str]) -> Problem:
    """The last key of `path` is none of the known ones."""
    table = document.place(path[:-1])
    hint = did_you_mean(str(path[-1]), known)
    return document.problem(path, "register_unknown_key", f"a key of {table}", str(path[-1]), hint)


def _missing_key(document: Document, path: KeyPath) -> Problem:
    table = document.place(path[:-1])
    way_out = f"Add {path[-1]} to {table}."
    return document.problem(path, "register_missing_key", f"{path[-1]} in {table}", "no such key", way_out)


def _got(document: Document, path: KeyPath, value: object) -> str:
    return f"{_shown(value)} for {document.place(path)}"


def _shown(value: object) -> str:
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "an array"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str | bool) else str(value)


def meaning_mistakes(document: Document, written: RegisterFile, indicators: frozenset[str] | None) -> Iterator[Problem]:
    """What each table by itself cannot show: names used twice, names of nothing, units that do not fit."""
    yield from _same_names(document, written)
    yield from _unknown_maps(document, written)
    yield from _map_mistakes(document, written)
    if indicators is not None:
        yield from _unknown_indicators(document, indicators)


def _same_names(document: Document, written: RegisterFile) -> Iterator[Problem]:
    yield from _repeats(document, ("boat",), "id", [boat.id for boat in written.boat])
    for index, boat in enumerate(written.boat):
        engines: KeyPath = ("boat", index, "engine")
        yield from _repeats(document, engines, "id", [engine.id for engine in boat.engine])
        yield from _repeats(document, engines, "label", [_in_columns(engine) for engine in boat.engine])


def _in_columns(engine: EngineTable) -> str:
    return engine.label or engine.id


def _repeats(document: Document, array: KeyPath, key: str, names: list[str]) -> Iterator[Problem]:
    for index, name in enumerate(names):
        path, first = (*array, index, key), (*array, names.index(name), key)
        if first != path and path in document.lines:
            got = f"{array[-1]} {key} {_shown(name)}, already in line {line_of(document.lines, first)}"
            expected = f"a {key} no other {array[-1]} here has"
            yield document.problem(path, "register_duplicate", expected, got, f"Give one of the two another {key}.")


def _unknown_maps(document: Document, written: RegisterFile) -> Iterator[Problem]:
    for index, boat in enumerate(written.boat):
        if boat.channel_map is not None and boat.channel_map not in written.channel_map:
            path: KeyPath = ("boat", index, "channel_map")
            got = _got(document, path, boat.channel_map)
            hint = did_you_mean(boat.channel_map, written.channel_map)
            yield document.problem(path, "register_unknown_name", "the name of a [channel_map.…] table", got, hint)


def _unknown_indicators(document: Document, indicators: frozenset[str]) -> Iterator[Problem]:
    for path in document.lines:
        is_limit = len(path) >= 2 and path[-2] == "limits" and path[0] in {"limits", "boat"}
        if is_limit and path[-1] not in indicators:
            yield unknown_key(document, path, sorted(indicators))


def _map_mistakes(document: Document, written: RegisterFile) -> Iterator[Problem]:
    for name, channel_map in written.channel_map.items():
        for channel, entry in channel_map.items():
            path: KeyPath = ("channel_map", name, channel)
            found = (
                _time_mistakes(document, path, entry) if channel == "time" else _entry_mistakes(document, path, entry)
            )
            yield from found


def _time_mistakes(document: Document, path: KeyPath, entry: MapEntry) -> Iterator[Problem]:
    for key in ("stoich", "values", "zero"):
        if getattr(entry, key) is not None:
            yield unknown_key(document, (*path, key), ("column", "unit", "date", "format"))
    if entry.unit is not None and entry.unit not in TIME_UNITS:
        yield _unit_mistake(document, path, UnitError("time", entry.unit, TIME_UNITS))


def _entry_mistakes(document: Document, path: KeyPath, entry: MapEntry) -> Iterator[Problem]:
    for key in ("date", "format"):
        if getattr(entry, key) is not None:
            yield unknown_key(document, (*path, key), ("column", "unit", "stoich", "values", "zero"))
    try:
        affine(str(path[-1]), entry.unit, entry.stoich)
    except UnitError as error:
        unit_fits = fits(error.channel, error.unit)
        yield (_stoich_mistake if unit_fits else _unit_mistake)(document, path, error)
    for logged, meant in (entry.values or {}).items():
        yield from _value_mistakes(document, (*path, "values", logged), meant)


def _stoich_mistake(document: Document, path: KeyPath, error: UnitError) -> Problem:
    path = (*path, "stoich")
    expected = f"{error.unit}{error.why.replace('without', 'with')}"
    got = "none that can be used"
    return document.problem(path, "register_bad_value", expected, got, f"Give stoich in {document.place(path[:-1])}.")


def _unit_mistake(document: Document, path: KeyPath, error: UnitError) -> Problem:
    path = (*path, "unit")
    got = _got(document, path, error.unit)
    way_out = did_you_mean(error.unit, error.accepted)
    return document.problem(path, "register_bad_value", f"a unit of {error.channel}", got, way_out)


def _value_mistakes(document: Document, path: KeyPath, meant: str | float) -> Iterator[Problem]:
    """Words stand for gears and for on and off; every other channel is a number."""
    words = _WORDS.get(str(path[2]), ())
    if isinstance(meant, str) and meant not in words:
        expected = f"a number or one of {', '.join(words)}" if words else "a number"
        way_out = did_you_mean(meant, words) if words else f"Give the value in the unit of {path[2]}."
        yield document.problem(path, "register_bad_value", expected, _got(document, path, meant), way_out)
    if path[2] == "gear" and not isinstance(meant, str) and meant not in GEAR_CODES.values():
        expected, way_out = "-1, 0 or 1", "Better write the gear as a word: reverse, neutral or forward."
        yield document.problem(path, "register_bad_value", expected, _got(document, path, meant), way_out)
