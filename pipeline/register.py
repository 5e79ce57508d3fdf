"""The register: what `fleet.toml` says about boats, engines, channel maps and limits, as typed, frozen objects.

A register that cannot be trusted is not used at all: every mistake is named with its file, line and key, then raised.
"""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path  # noqa: TC003 - pydantic needs it at run time
from typing import Annotated, Any, Final, Literal, TypeVar
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, Strict, StringConstraints
from pydantic import ValidationError as ShapeError
from pydantic_core import ErrorDetails, PydanticCustomError

from pipeline.problems import Problem, declare
from pipeline.toml_lines import KeyPath, key_lines, line_of

FILE_NAME: Final = "fleet.toml"
GEARS: Final = ("reverse", "neutral", "forward")
TIME_UNITS: Final = ("s", "ms", "epoch_s", "epoch_ms", "iso8601", "clock")
"""What the contract lets a `time` column hold."""

DEFAULT_CURRENCY_DAYS: Final = 3.0

declare(
    {
        "register_absent": "there is no register",
        "register_unreadable": "the register cannot be read",
        "register_syntax": "this is not valid TOML",
        "register_unknown_key": "unknown key",
        "register_missing_key": "a key is missing",
        "register_wrong_type": "a value of the wrong type",
        "register_bad_value": "a value that cannot be used",
        "register_duplicate": "the same name twice",
        "register_unknown_name": "a name that is defined nowhere",
    }
)


class RegisterError(Exception):
    """The register holds mistakes; `problems` has every one of them, in the order of their lines."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__("\n".join(problem.sentence() for problem in problems))
        self.problems = problems

    def __reduce__(self) -> tuple[type[RegisterError], tuple[tuple[Problem, ...]]]:
        return type(self), (self.problems,)


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like `word`, upper and lower case being alike; None where none comes near."""
    by_folded = {candidate.casefold(): candidate for candidate in known}
    found = difflib.get_close_matches(word.casefold(), by_folded, n=1, cutoff=0.5)
    return by_folded[found[0]] if found else None


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """The way out of a wrong word: the nearest known one where any comes near, and the known ones if they are few."""
    choices = sorted(known)
    like = nearest(word, choices)
    offer = f"Did you mean {like}? " if like else ""
    return f"{offer}Known: {', '.join(choices)}." if len(choices) <= 40 else offer.strip() or "See the documentation."


def _known_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise _mistake("an IANA time zone such as Pacific/Auckland", name, available_timezones()) from error
    return name


def _mistake(expected: str, word: str, known: Iterable[str]) -> PydanticCustomError:
    """A complaint about a word that is not one of the known ones, carrying the nearest."""
    context = {"expected": expected, "hint": did_you_mean(word, known)}
    return PydanticCustomError("unknown_name", "{expected}", context)


Text = Annotated[str, Strict(), StringConstraints(min_length=1)]
Id = Annotated[str, Strict(), StringConstraints(pattern=r"\A[a-z0-9_-]+\z")]
Number = Annotated[float, Strict(), Field(allow_inf_nan=False)]
Positive = Annotated[Number, Field(gt=0)]
NotNegative = Annotated[Number, Field(ge=0)]
Flag = Annotated[bool, Strict()]
Zone = Annotated[Text, AfterValidator(_known_zone)]
Gear = Literal["reverse", "neutral", "forward"]


def _text_or_number(value: object) -> object:
    if isinstance(value, str | int | float) and not isinstance(value, bool):
        return value
    raise PydanticCustomError("wrong_type", "{expected}", {"expected": "text or a number"})


Coded = Annotated[str | float, BeforeValidator(_text_or_number)]


class _Table(BaseModel):
    """Any table of the register: frozen, and an unknown key in it is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class LimitOverride(_Table):
    """Limits the fleet file sets for one indicator, in the indicator's unit; None keeps the indicator's own."""

    watch: Number | None = None
    hold: Number | None = None


class Service(_Table):
    """The service plan of an engine, in engine hours."""

    every_hours: Positive
    last_hours: NotNegative


class MapEntry(_Table):
    """Where a log keeps one channel.

    `column` may hold `{engine}`. `unit` None means the canonical unit. `stoich` is the fuel's stoichiometric air-fuel
    ratio. `values` translates what is logged before anything else; `zero` is the logged value that means nothing,
    subtracted before the unit is converted.
    """

    column: Text
    unit: Text | None = None
    stoich: Positive | None = None
    values: Mapping[str, Coded] | None = None
    zero: Number | None = None


_Named = TypeVar("_Named")

ChannelMap = Mapping[str, MapEntry]
"""`time` or a canonical channel's name → where the log keeps it."""


class _EngineTable(_Table):
    """`[[boat.engine]]` as written."""

    id: Id
    label: Text | None = None
    serial: Text | None = None
    shift_targets: Mapping[Gear, Number] | None = None
    service: Service | None = None
    limits: Mapping[str, LimitOverride] = Field(default_factory=dict)


class _BoatTable(_Table):
    """`[[boat]]` as written."""

    id: Id
    name: Text | None = None
    channel_map: Text | None = None
    limits: Mapping[str, LimitOverride] = Field(default_factory=dict)
    engine: tuple[_EngineTable, ...] = ()


class _FleetTable(_Table):
    """`[fleet]` as written."""

    name: Text
    timezone: Zone
    currency_days: Positive = DEFAULT_CURRENCY_DAYS
    simulated: Flag = False


class _RegisterFile(_Table):
    """The whole of `fleet.toml` as written."""

    fleet: _FleetTable
    limits: Mapping[str, LimitOverride] = Field(default_factory=dict)
    channel_map: Mapping[str, ChannelMap] = Field(default_factory=dict)
    boat: tuple[_BoatTable, ...] = ()


class Engine(_Table):
    """One engine. `label` is what `{engine}` stands for in a column name; shift targets are in % of travel."""

    id: str
    boat_id: str
    label: str
    serial: str | None
    shift_targets: Mapping[Gear, float] | None
    service: Service | None
    limits: Mapping[str, LimitOverride]

    @property
    def engine_id(self) -> str:
        """The engine's name across the fleet: `boat/engine`."""
        return f"{self.boat_id}/{self.id}"


class Boat(_Table):
    """One boat; `id` is also its folder in the inbox, `channel_map` the name of a map of the register or None."""

    id: str
    name: str
    channel_map: str | None
    engines: tuple[Engine, ...]
    limits: Mapping[str, LimitOverride]


class Register(_Table):
    """The whole fleet. `timezone` is a valid IANA name; a boat silent for more than `currency_days` is unchecked."""

    folder: Path
    name: str
    timezone: str
    currency_days: float
    simulated: bool
    boats: tuple[Boat, ...]
    channel_maps: Mapping[str, ChannelMap]
    limits: Mapping[str, LimitOverride]

    def boat(self, boat_id: str) -> Boat:
        """The boat of that id; KeyError where there is none."""
        return _named(boat_id, {boat.id: boat for boat in self.boats})

    def engines(self) -> tuple[Engine, ...]:
        """Every engine of every boat, in the register's order."""
        return tuple(engine for boat in self.boats for engine in boat.engines)

    def engine(self, engine_id: str) -> Engine:
        """The engine called `boat/engine`; KeyError where there is none."""
        return _named(engine_id, {engine.engine_id: engine for engine in self.engines()})

    def limit(self, indicator: str, engine_id: str) -> LimitOverride:
        """The limits in force for an engine: its own, else its boat's, else the fleet's, for watch and hold apart."""
        engine = self.engine(engine_id)
        layers = (engine.limits, self.boat(engine.boat_id).limits, self.limits)
        found = [layer[indicator] for layer in layers if indicator in layer]
        watch = next((each.watch for each in found if each.watch is not None), None)
        hold = next((each.hold for each in found if each.hold is not None), None)
        return LimitOverride(watch=watch, hold=hold)


def _named(name: str, known: Mapping[str, _Named]) -> _Named:
    if name not in known:
        raise KeyError(f"{name!r} is not in the register. {did_you_mean(name, known)}")
    return known[name]


def load_register(folder: Path, indicators: frozenset[str] | None = None) -> Register:
    """Read `folder/fleet.toml`. With `indicators` given, limits may be set for those alone.

    Raises:
        RegisterError: with every mistake found.
    """
    text = _text(folder / FILE_NAME)
    document = _Document(_parsed(text), key_lines(text))
    written = _shaped(document)
    mistakes = [*_duplicates(document, written), *_unknown_maps(document, written)]
    mistakes += _unknown_indicators(document, indicators) if indicators is not None else []
    _stop_at(mistakes)
    return _register(folder, written)


@dataclass(frozen=True)
class _Document:
    """A parsed register with the line of every key."""

    content: dict[str, Any]
    lines: dict[KeyPath, int]

    def problem(self, path: KeyPath, code: str, expected: str, got: str, way_out: str) -> Problem:
        return Problem(FILE_NAME, line_of(self.lines, path), code, expected, got, way_out)

    def at(self, path: KeyPath) -> Any:
        found: Any = self.content
        for key in path:
            found = found[key]
        return found

    def where(self, path: KeyPath) -> str:
        """A path in words: an element of an array by its id where it has one, else by its number from 1."""
        words = [self._word(path[:size]) for size in range(1, len(path) + 1)]
        return ".".join(words) or "the file"

    def _word(self, path: KeyPath) -> str:
        last = path[-1]
        if isinstance(last, str):
            return last
        table = self.at(path)
        name = table.get("id") if isinstance(table, dict) else None
        return name if isinstance(name, str) else f"#{last + 1}"


def _stop_at(mistakes: list[Problem]) -> None:
    if mistakes:
        raise RegisterError(tuple(sorted(mistakes, key=lambda problem: problem.line or 0)))


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as error:
        way_out = f"Start a fleet with: morningwatch init {path.parent}"
        problem = Problem(FILE_NAME, None, "register_absent", f"{FILE_NAME} in {path.parent}", "no such file", way_out)
        raise RegisterError((problem,)) from error
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        got = f"byte {error.object[error.start]:#04x}"
        problem = Problem(FILE_NAME, line, "register_unreadable", "UTF-8 text", got, "Save the file as UTF-8.")
        raise RegisterError((problem,)) from error
    except OSError as error:
        got = error.strerror or type(error).__name__
        problem = Problem(FILE_NAME, None, "register_unreadable", "a readable file", got, "Check the file's rights.")
        raise RegisterError((problem,)) from error


def _parsed(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"at line (\d+)", str(error))
        line = int(place.group(1)) if place else len(text.splitlines()) or 1
        written = (text.splitlines() or [""])[line - 1].strip()
        got = f"`{written}` ({str(error).partition(' (at ')[0]})"
        problem = Problem(FILE_NAME, line, "register_syntax", "valid TOML", got, "Correct this line.")
        raise RegisterError((problem,)) from error


def _shaped(document: _Document) -> _RegisterFile:
    try:
        return _RegisterFile.model_validate(document.content)
    except ShapeError as error:
        mistakes = [_shape_problem(document, each) for each in error.errors(include_url=False)]
        raise RegisterError(tuple(sorted(mistakes, key=lambda problem: problem.line or 0))) from error


_KEYS: Final[tuple[tuple[tuple[str, ...], type[_Table]], ...]] = (
    ((), _RegisterFile),
    (("fleet",), _FleetTable),
    (("limits", "*"), LimitOverride),
    (("channel_map", "*", "*"), MapEntry),
    (("boat", "*"), _BoatTable),
    (("boat", "*", "limits", "*"), LimitOverride),
    (("boat", "*", "engine", "*"), _EngineTable),
    (("boat", "*", "engine", "*", "service"), Service),
    (("boat", "*", "engine", "*", "limits", "*"), LimitOverride),
)
"""Which keys a table may hold, by its place; `*` stands for any name or index."""

_EXPECTED: Final[dict[str, str]] = {
    "string_type": "text in quotes",
    "float_type": "a number",
    "bool_type": "true or false",
    "tuple_type": "an array of tables, each opened by double brackets",
    "mapping_type": "a table",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "string_too_short": "text that is not empty",
    "string_pattern_mismatch": "an id of lower-case letters, digits, _ and - alone",
    "finite_number": "a finite number",
}
"""Shape errors in our own words; those of a value that is out of range word themselves."""


def _shape_problem(document: _Document, error: ErrorDetails) -> Problem:
    path = tuple(key for key in error["loc"] if key != "[key]")
    kind = error["type"]
    if kind == "extra_forbidden":
        return _unknown_key(document, path, _keys_at(path[:-1]))
    if kind == "missing":
        return _missing_key(document, path)
    if error["loc"][-1] == "[key]":
        return _unknown_key(document, path, GEARS)
    context = error.get("ctx", {})
    expected = context.get("expected") or _EXPECTED.get(kind) or error["msg"].removeprefix("Input should be ")
    code = "register_wrong_type" if kind.endswith("_type") else "register_bad_value"
    got = f"{_shown(error['input'])} for {document.where(path)}"
    return document.problem(path, code, expected, got, context.get("hint") or "Correct the value.")


def _unknown_key(document: _Document, path: KeyPath, known: Iterable[str]) -> Problem:
    got = f"{path[-1]} in {document.where(path[:-1])}"
    expected = f"a key of {document.where(path[:-1])}"
    return document.problem(path, "register_unknown_key", expected, got, did_you_mean(str(path[-1]), known))


def _missing_key(document: _Document, path: KeyPath) -> Problem:
    table = document.where(path[:-1])
    return document.problem(path, "register_missing_key", f"{path[-1]} in {table}", "nothing", f"Add {path[-1]} = …")


def _keys_at(path: KeyPath) -> list[str]:
    for pattern, table in _KEYS:
        if len(pattern) == len(path) and all(p in {"*", k} for p, k in zip(pattern, path, strict=True)):
            return list(table.model_fields)
    raise LookupError(f"no table is described at {path}")


def _shown(value: object) -> str:
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "an array"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str | bool) else str(value)


def _duplicates(document: _Document, written: _RegisterFile) -> Iterator[Problem]:
    yield from _repeats(document, ("boat",), [boat.id for boat in written.boat])
    for index, boat in enumerate(written.boat):
        yield from _repeats(document, ("boat", index, "engine"), [engine.id for engine in boat.engine])


def _repeats(document: _Document, array: KeyPath, ids: list[str]) -> Iterator[Problem]:
    for index, name in enumerate(ids):
        first = ids.index(name)
        if first < index:
            got = f"{array[-1]} id {name} again, first in line {line_of(document.lines, (*array, first, 'id'))}"
            path = (*array, index, "id")
            yield document.problem(path, "register_duplicate", "an id of its own", got, "Give one of them another id.")


def _unknown_maps(document: _Document, written: _RegisterFile) -> Iterator[Problem]:
    for index, boat in enumerate(written.boat):
        if boat.channel_map is not None and boat.channel_map not in written.channel_map:
            path = ("boat", index, "channel_map")
            got = f'"{boat.channel_map}" for {document.where(path)}'
            hint = did_you_mean(boat.channel_map, written.channel_map)
            yield document.problem(path, "register_unknown_name", "the name of a [channel_map.…]", got, hint)


def _unknown_indicators(document: _Document, indicators: frozenset[str]) -> Iterator[Problem]:
    for path in document.lines:
        if len(path) >= 2 and path[-2] == "limits" and path[-1] not in indicators and path[0] in {"limits", "boat"}:
            yield _unknown_key(document, path, indicators)


def _register(folder: Path, written: _RegisterFile) -> Register:
    return Register(
        folder=folder,
        name=written.fleet.name,
        timezone=written.fleet.timezone,
        currency_days=written.fleet.currency_days,
        simulated=written.fleet.simulated,
        boats=tuple(_boat(boat) for boat in written.boat),
        channel_maps=written.channel_map,
        limits=written.limits,
    )


def _boat(written: _BoatTable) -> Boat:
    return Boat(
        id=written.id,
        name=written.name or written.id,
        channel_map=written.channel_map,
        engines=tuple(_engine(written.id, engine) for engine in written.engine),
        limits=written.limits,
    )


def _engine(boat_id: str, written: _EngineTable) -> Engine:
    return Engine(
        id=written.id,
        boat_id=boat_id,
        label=written.label or written.id,
        serial=written.serial,
        shift_targets=written.shift_targets,
        service=written.service,
        limits=written.limits,
    )
