"""Which column of a log is which channel of which engine: by the boat's channel map, or by canonical names."""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from pipeline.channels import CHANNELS, IDENTITY, Affine, UnitError, affine, fits, fold_unit, time_unit
from pipeline.problems import Problem
from pipeline.readers.encoding import mended
from pipeline.readers.header import Column
from pipeline.readers.request import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from pipeline.readers.request import ReadRequest
    from pipeline.register import Engine, MapEntry
    from pipeline.register.tables import DateFormat

ENGINE_MARK: Final = "{engine}"
TIME: Final = "time"
_TIME_NAMES: Final = (TIME, "timestamp", "datetime")
"""Taken as the time in a log with canonical names; a unit suffix may follow."""


@dataclass(frozen=True)
class Pick:
    """One channel of one engine: the column's index in the log, the conversion, and coded values if there are any."""

    engine: str
    channel: str
    index: int
    convert: Affine
    values: Mapping[str, str | float] | None = None

    @property
    def name(self) -> str:
        """The column's name in `log_rows`."""
        return f"{self.engine}.{self.channel}"


@dataclass(frozen=True)
class TimeColumn:
    """Where a log's time is: the column's index and unit, and what a channel map says about dates.

    `date_index` is a column of dates beside it, for a time of day that stands by itself; `order` is 'day first' or
    'month first' where the map says so.
    """

    index: int | None = None
    unit: str | None = None
    date_index: int | None = None
    order: DateFormat | None = None


@dataclass(frozen=True)
class Selection:
    """What is read of a log: where its time is (None where the format keeps its own), and the picks."""

    time: TimeColumn
    picks: tuple[Pick, ...]
    remarks: tuple[Problem, ...] = ()

    def columns(self) -> dict[str, tuple[str, ...]]:
        """Engine id → its channels, in the contract's order."""
        held: defaultdict[str, set[str]] = defaultdict(set)
        for pick in self.picks:
            held[pick.engine].add(pick.channel)
        return {engine: tuple(name for name in CHANNELS if name in names) for engine, names in held.items()}


def folded(name: str) -> str:
    """A column name for comparison: encoding mended, case, spaces, dashes, dots and underscores folded."""
    return re.sub(r"[\s_.\-]+", "_", mended(name).strip().casefold()).strip("_")


class ColumnNames:
    """The columns of a log, found by the name a channel map gives them."""

    def __init__(self, columns: Sequence[Column], file: str) -> None:
        self.columns = columns
        self.remarks: list[Problem] = []
        self._file = file
        self._by_level = [
            _grouped(column.written for column in columns),
            _grouped(column.name for column in columns),
            _grouped(folded(column.written) for column in columns),
            _grouped(folded(column.name) for column in columns),
        ]

    def find(self, wanted: str) -> int | None:
        """Index of the column called `wanted`: as written, without its unit, then with spelling folded."""
        mended_name = " ".join(mended(wanted).split())
        for level, groups in enumerate(self._by_level):
            hits = groups.get(mended_name if level < 2 else folded(wanted), ())
            if hits:
                return self._first(wanted, hits)
        return None

    def _first(self, wanted: str, hits: Sequence[int]) -> int:
        if len(hits) > 1:
            self.remark_doubles(wanted, len(hits))
        return hits[0]

    def remark_doubles(self, wanted: str, number: int) -> None:
        """Remark that several columns answer to one name."""
        way_out = "The first was taken; give the others another name in the logger."
        expected, got = f"one column {wanted!r}", f"{number} of them"
        self.remarks.append(Problem(self._file, None, "ambiguous_column", expected, got, way_out))


def _grouped(names: Iterable[str]) -> dict[str, list[int]]:
    groups: defaultdict[str, list[int]] = defaultdict(list)
    for index, name in enumerate(names):
        groups[name].append(index)
    return dict(groups)


def select(columns: Sequence[Column], request: ReadRequest, *, own_time: bool = False) -> Selection:
    """What to read of a log with these columns. `own_time`: the format keeps the time itself, no column is needed.

    Raises:
        Refusal: no time, no channel, no way to tell the engines apart, or a unit that does not fit.
    """
    names = ColumnNames(columns, request.file)
    chosen = _by_map(names, request) if request.channel_map is not None else _by_canonical_name(names, request)
    if chosen.time.index is None and not own_time:
        raise Refusal(_no_time(request, columns))
    if not chosen.picks:
        raise Refusal(_no_channel(request, columns))
    return Selection(chosen.time, tuple(chosen.picks), tuple(names.remarks))


@dataclass
class _Chosen:
    time: TimeColumn = TimeColumn()
    picks: list[Pick] = field(default_factory=list)


def _by_map(names: ColumnNames, request: ReadRequest) -> _Chosen:
    chosen = _Chosen()
    shared: list[tuple[str, MapEntry, int]] = []
    for channel, entry in (request.channel_map or {}).items():
        if channel == TIME:
            chosen.time = _time_by_map(names, entry, request.engines)
        elif ENGINE_MARK in entry.column:
            chosen.picks += _picks_by_engine(names, channel, entry, request)
        elif (index := names.find(entry.column)) is not None:
            shared.append((channel, entry, index))
    if TIME not in (request.channel_map or {}):
        chosen.time = _canonical_time(names)
    engines = _engines_of_shared(chosen.picks, request, any_shared=bool(shared))
    chosen.picks += [
        _pick(names, engine, channel, entry, index, request) for channel, entry, index in shared for engine in engines
    ]
    return chosen


def _time_by_map(names: ColumnNames, entry: MapEntry, engines: Sequence[Engine]) -> TimeColumn:
    for written in _with_engine(entry.column, engines):
        if (index := names.find(written)) is not None:
            unit = entry.unit or time_unit(names.columns[index].unit or "")
            date_index = names.find(entry.date) if entry.date is not None else _date_beside(names)
            return TimeColumn(index, unit, date_index, entry.format)
    return TimeColumn()


def _date_beside(names: ColumnNames) -> int | None:
    """The column called 'date', which counts where the time is a time of day."""
    return next((at for at, column in enumerate(names.columns) if folded(column.name) == "date"), None)


def _with_engine(column: str, engines: Sequence[Engine]) -> list[str]:
    if ENGINE_MARK not in column:
        return [column]
    return [column.replace(ENGINE_MARK, name) for engine in engines for name in _names_of(engine)]


def _names_of(engine: Engine) -> tuple[str, ...]:
    """What a log may call an engine: its label first, then its id."""
    return (engine.label, engine.id) if engine.label != engine.id else (engine.id,)


def _picks_by_engine(names: ColumnNames, channel: str, entry: MapEntry, request: ReadRequest) -> list[Pick]:
    picks = []
    for engine in request.engines:
        written = _with_engine(entry.column, (engine,))
        index = next((found for name in written if (found := names.find(name)) is not None), None)
        if index is not None:
            picks.append(_pick(names, engine.id, channel, entry, index, request))
    return picks


def _engines_of_shared(picks: Sequence[Pick], request: ReadRequest, *, any_shared: bool) -> list[str]:
    """The engines a column without an engine's name belongs to: those the log holds anyway, else the only one."""
    held = list(dict.fromkeys(pick.engine for pick in picks))
    if held or not any_shared:
        return held
    if len(request.engines) == 1:
        return [request.engines[0].id]
    raise Refusal(
        Problem(request.file, None, "several_engines",
                f"one engine, as the boat has {', '.join(engine.id for engine in request.engines)}",
                "columns without an engine's name",
                "Put the log into a folder named after its engine, or use {engine} in the channel map.")
    )  # fmt: skip


def _pick(names: ColumnNames, engine: str, channel: str, entry: MapEntry, index: int, request: ReadRequest) -> Pick:
    unit = _settled_unit(names, channel, entry.unit, index, request.file)
    convert = _conversion(channel, unit, entry.stoich, request.file)
    return Pick(engine, channel, index, convert.from_zero(entry.zero or 0.0), entry.values)


def _conversion(channel: str, unit: str | None, stoich: float | None, file: str) -> Affine:
    try:
        return affine(channel, unit, stoich)
    except UnitError as error:
        raise Refusal(_bad_unit(error, file)) from error


def _bad_unit(error: UnitError, file: str) -> Problem:
    expected = f"a unit of {error.channel} ({', '.join(error.accepted)})"
    way_out = "Correct the unit, or the `stoich`, in the channel map."
    return Problem(file, None, "wrong_unit", expected, f"{error.unit!r}{error.why}", way_out)


def _settled_unit(names: ColumnNames, channel: str, mapped: str | None, index: int, file: str) -> str | None:
    """The unit in force. The map's word counts; where it names none, a fitting unit in the header does."""
    header = names.columns[index].unit
    if header is None or not fits(channel, header) or fold_unit(header) == fold_unit(mapped or ""):
        return mapped
    if mapped is None:
        if affine(channel, header, stoich=14.6) != IDENTITY:
            names.remarks.append(_unit_remark(file, "unit_from_header", channel, CHANNELS[channel].unit, header))
        return header
    if fits(channel, mapped) and affine(channel, header, stoich=14.6) != affine(channel, mapped, stoich=14.6):
        names.remarks.append(_unit_remark(file, "unit_disagrees", channel, mapped, header))
    return mapped


def _unit_remark(file: str, code: str, channel: str, expected: str, got: str) -> Problem:
    way_out = f"Write unit = {got!r} in the channel map of {channel}, if the header is right."
    return Problem(file, None, code, f"{channel} in {expected}", got, way_out)


def _by_canonical_name(names: ColumnNames, request: ReadRequest) -> _Chosen:
    chosen = _Chosen()
    chosen.time = _canonical_time(names)
    shared: list[tuple[str, str | None, int]] = []
    for index, column in enumerate(names.columns):
        word = folded(column.name)
        if (known := canonical_name(word)) is not None:
            shared.append((*known, index))
        elif (owned := _owned_name(word, request.engines)) is not None:
            chosen.picks += _canonical_pick(names, owned[0], owned[1], index, request)
    engines = _engines_of_shared(chosen.picks, request, any_shared=bool(shared))
    for channel, suffix, index in shared:
        for engine in engines:
            chosen.picks += _canonical_pick(names, engine, (channel, suffix), index, request)
    chosen.picks = _without_doubles(names, chosen.picks)
    return chosen


def _without_doubles(names: ColumnNames, picks: Sequence[Pick]) -> list[Pick]:
    """The first column of each channel; the others are remarked on."""
    kept: dict[str, Pick] = {}
    for pick in picks:
        if kept.setdefault(pick.name, pick) is not pick:
            names.remark_doubles(pick.channel, 2)
    return list(kept.values())


def _canonical_time(names: ColumnNames) -> TimeColumn:
    """The first column that bears the canonical name of the time."""
    for index, column in enumerate(names.columns):
        suffix = _suffix_after(folded(column.name), _TIME_NAMES)
        if suffix is not None:
            return TimeColumn(index, time_unit(column.unit or suffix), _date_beside(names))
    return TimeColumn()


def _suffix_after(word: str, stems: Iterable[str]) -> str | None:
    """What follows the first fitting stem: '' for the stem itself, 's' for 'time_s', None where none fits."""
    for stem in stems:
        if word == stem:
            return ""
        if word.startswith(f"{stem}_") and word.removeprefix(f"{stem}_") in _TIME_SUFFIXES:
            return word.removeprefix(f"{stem}_")
    return None


_TIME_SUFFIXES: Final = frozenset({
    "s", "ms", "us", "sec", "min", "h", "iso", "iso8601", "utc", "epoch", "epoch_s", "epoch_ms", "epoch_us", "clock",
})  # fmt: skip


def canonical_name(word: str) -> tuple[str, str | None] | None:
    """A folded name as channel and unit suffix: 'oil_temp_f' is ('oil_temp', 'f'), None where it is no channel's."""
    if word in CHANNELS:
        return word, None
    for channel in sorted(CHANNELS, key=len, reverse=True):
        suffix = word.removeprefix(f"{channel}_")
        if suffix != word and fits(channel, suffix.replace("_", " ")):
            return channel, suffix.replace("_", " ")
    return None


def _owned_name(word: str, engines: Sequence[Engine]) -> tuple[str, tuple[str, str | None]] | None:
    """A folded name that bears an engine's name before or after the channel's: 'port_rpm', 'rpm_port'."""
    for engine in engines:
        for owner in map(folded, _names_of(engine)):
            for bare in (word.removeprefix(f"{owner}_"), word.removesuffix(f"_{owner}")):
                if bare != word and (known := canonical_name(bare)) is not None:
                    return engine.id, known
    return None


def _canonical_pick(
    names: ColumnNames, engine: str, known: tuple[str, str | None], index: int, request: ReadRequest
) -> list[Pick]:
    channel, suffix = known
    unit = suffix or _settled_unit(names, channel, None, index, request.file)
    try:
        return [Pick(engine, channel, index, affine(channel, unit))]
    except UnitError as error:
        names.remarks.append(_bad_unit(error, request.file))
        return []


def _no_time(request: ReadRequest, columns: Sequence[Column]) -> Problem:
    entry = (request.channel_map or {}).get(TIME)
    expected = f"a column {entry.column!r} for time" if entry else "a column called time, or a map that names it"
    return Problem(request.file, None, "no_time", expected, _some(columns), _PROPOSE)


def _no_channel(request: ReadRequest, columns: Sequence[Column]) -> Problem:
    expected = "a column the channel map names" if request.channel_map is not None else "a canonical channel name"
    return Problem(request.file, None, "no_channel", expected, _some(columns), _PROPOSE)


_PROPOSE: Final = "`morningwatch columns FILE` proposes a channel map for fleet.toml."


def _some(columns: Sequence[Column]) -> str:
    """The first few column names, for a message."""
    names = [column.written for column in columns[:6]]
    return ", ".join(names) + (f" and {len(columns) - 6} more" if len(columns) > 6 else "") or "no columns"
