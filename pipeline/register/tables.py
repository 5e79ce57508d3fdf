"""The shape of `fleet.toml` as written: which keys each table may hold, of which type, with which default."""

from collections.abc import Iterable, Mapping
from itertools import pairwise
from typing import Annotated, Final, Literal, get_args
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, Strict, StringConstraints
from pydantic_core import PydanticCustomError

from pipeline.channels import CHANNELS
from pipeline.register.words import did_you_mean

FILE_NAME: Final = "fleet.toml"

Gear = Literal["reverse", "neutral", "forward"]
DateFormat = Literal["day first", "month first"]
GEARS: Final[tuple[Gear, ...]] = get_args(Gear)

TIME_UNITS: Final = ("s", "ms", "us", "min", "h", "epoch_s", "epoch_ms", "epoch_us", "iso8601", "clock")
"""What a mapped `time` column may hold: time since the log's start or since 1970, ISO 8601 text, a time of day."""

MAPPED: Final = ("time", *CHANNELS)
"""What a channel map may name."""

DEFAULT_CURRENCY_DAYS: Final = 3.0
"""Days without a log after which a boat is unchecked: the contract's own example."""


def _mistake(expected: str, word: str, known: Iterable[str]) -> PydanticCustomError:
    """A complaint about a word that is not one of the known ones, with the way out."""
    return PydanticCustomError("unknown_name", "{expected}", {"expected": expected, "hint": did_you_mean(word, known)})


def _known_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        zones = sorted(available_timezones())
        raise _mistake("an IANA time zone such as Pacific/Auckland", name, zones) from error
    return name


def _known_channel(name: str) -> str:
    if name not in MAPPED:
        raise _mistake("a channel", name, MAPPED)
    return name


def _array(value: object) -> object:
    if isinstance(value, list | tuple):
        return value
    raise PydanticCustomError("numbers_type", "{expected}", {"expected": "an array of numbers"})


def _rising(rows: tuple[float, ...]) -> tuple[float, ...]:
    if len(rows) < 2 or any(high <= low for low, high in pairwise(rows)):
        expected = "two temperatures or more, each above the one before"
        told = {"expected": expected, "hint": "Write them from cold to hot."}
        raise PydanticCustomError("not_rising", "{expected}", told)
    return rows


def _text_or_number(value: object) -> object:
    if isinstance(value, str | int | float) and not isinstance(value, bool):
        return value
    raise PydanticCustomError("text_or_number_type", "{expected}", {"expected": "text or a number"})


Text = Annotated[str, Strict(), StringConstraints(min_length=1)]
Id = Annotated[str, Strict(), StringConstraints(pattern=r"\A[a-z0-9_-]+\z")]
Number = Annotated[float, Strict(), Field(allow_inf_nan=False)]
Positive = Annotated[Number, Field(gt=0)]
NotNegative = Annotated[Number, Field(ge=0)]
Count = Annotated[int, Strict(), Field(gt=0)]
Flag = Annotated[bool, Strict()]
Zone = Annotated[Text, AfterValidator(_known_zone)]
ChannelName = Annotated[Text, AfterValidator(_known_channel)]
Rows = Annotated[tuple[Number, ...], BeforeValidator(_array), AfterValidator(_rising)]
Coded = Annotated[str | float, BeforeValidator(_text_or_number)]


class Table(BaseModel):
    """Any table of the register: frozen, and an unknown key in it is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class LimitOverride(Table):
    """Limits the fleet file sets for one indicator, in the indicator's unit; None keeps the indicator's own."""

    watch: Number | None = None
    hold: Number | None = None


class Service(Table):
    """The service plan of an engine, in engine hours."""

    every_hours: Positive
    last_hours: NotNegative


class MapEntry(Table):
    """Where a log keeps one channel.

    `column` may hold `{engine}`. `unit` None means the canonical unit. `stoich` is the fuel's stoichiometric air-fuel
    ratio. `values` translates what is logged before anything else; `zero` is the logged value that means nothing,
    subtracted before the unit is converted. Of `time` alone: `date` is the column of the date, where the time stands by
    itself; `format` says which comes first in a date like 03/04/2026.
    """

    column: Text
    unit: Text | None = None
    stoich: Positive | None = None
    values: Mapping[str, Coded] | None = None
    zero: Number | None = None
    date: Text | None = None
    format: DateFormat | None = None


ChannelMap = Mapping[ChannelName, MapEntry]
"""`time` or a canonical channel's name → where the log keeps it."""

Limits = Mapping[str, LimitOverride]
"""Indicator → the limits set for it."""


class EngineTable(Table):
    """`[[boat.engine]]` as written. `idle_rows_c` are the temperatures (°C) of its feed-forward table's rows."""

    id: Id
    label: Text | None = None
    serial: Text | None = None
    shift_targets: Mapping[Gear, Number] | None = None
    idle_rows_c: Rows | None = None
    service: Service | None = None
    limits: Limits = Field(default_factory=dict)


class BoatTable(Table):
    """`[[boat]]` as written."""

    id: Id
    name: Text | None = None
    channel_map: Text | None = None
    limits: Limits = Field(default_factory=dict)
    engine: tuple[EngineTable, ...] = ()


class FleetTable(Table):
    """`[fleet]` as written. `simulated` marks invented data, so that no screen shows them as a real fleet's."""

    name: Text
    timezone: Zone
    currency_days: Positive = DEFAULT_CURRENCY_DAYS
    simulated: Flag = False


class ReadingLimits(Table):
    """`[reading]`: what one log may take of the machine. A log beyond is refused, and says so.

    `max_mb` is its size in MB (1e6 bytes), unpacked; `max_memory_mb` what reading it may hold in memory.
    """

    max_mb: Positive = 1_000.0
    max_columns: Count = 4_000
    max_rows: Count = 20_000_000
    max_memory_mb: Positive = 4_000.0


class RegisterFile(Table):
    """The whole of `fleet.toml` as written."""

    fleet: FleetTable
    reading: ReadingLimits = Field(default_factory=ReadingLimits)
    limits: Limits = Field(default_factory=dict)
    channel_map: Mapping[str, ChannelMap] = Field(default_factory=dict)
    boat: tuple[BoatTable, ...] = ()


_PLACES: Final[tuple[tuple[tuple[str, ...], type[Table]], ...]] = (
    ((), RegisterFile),
    (("fleet",), FleetTable),
    (("reading",), ReadingLimits),
    (("limits", "*"), LimitOverride),
    (("channel_map", "*", "*"), MapEntry),
    (("boat", "*"), BoatTable),
    (("boat", "*", "limits", "*"), LimitOverride),
    (("boat", "*", "engine", "*"), EngineTable),
    (("boat", "*", "engine", "*", "service"), Service),
    (("boat", "*", "engine", "*", "limits", "*"), LimitOverride),
)
"""Which table stands where; `*` is any name or index."""


def keys_at(place: tuple[str | int, ...]) -> tuple[str, ...]:
    """The keys that the table at a place may hold; LookupError where the register has no table."""
    for pattern, table in _PLACES:
        if len(pattern) == len(place) and all(each in {"*", key} for each, key in zip(pattern, place, strict=True)):
            return tuple(table.model_fields)
    raise LookupError(f"the register has no table at {place}")
