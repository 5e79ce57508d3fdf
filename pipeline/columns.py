"""Proposes a channel map for a log nobody has described yet: which column is which channel, how sure, and why.

Goes by the name, the unit, the range of the values and a few simple habits of channels (three levels, a rising count).
A proposal is for a person to read and correct; nothing takes it by itself.
"""

from __future__ import annotations

import difflib
import json
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from pipeline.channel_words import CONTRARY, ENGINE_WORDS, GEAR_WORDS, NAMES, SAME_WORD, TIME_NAMES
from pipeline.channels import AIR_FUEL_RATIO, CHANNELS, IDENTITY, affine, fits, fold_unit, time_unit
from pipeline.database import DatabaseError, scratch
from pipeline.problems import Problem
from pipeline.readers.clock import find_start, kind_of
from pipeline.readers.peek import Peek, PeekedColumn, peek
from pipeline.readers.request import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

SURE_FROM: Final = 0.65
"""Confidence from which a column is proposed outright; below, down to `MAYBE_FROM`, it is only mentioned."""
MAYBE_FROM: Final = 0.5
_LIKE_ENOUGH: Final = 0.5
"""Names with less in common are not considered, whatever the values look like."""

_NAME_WEIGHT: Final = 0.6
_UNIT_WEIGHT: Final = 0.15
_RANGE_WEIGHT: Final = 0.15
_HABIT_WEIGHT: Final = 0.10

# Where the middle of a log usually lies, in the canonical unit; common practice, no published source.
_USUAL: Final[dict[str, tuple[float, float]]] = {
    "rpm": (0, 7000), "rpm_target": (400, 1200), "gear": (-1, 1), "shift_target": (0, 100), "shift_position": (0, 100),
    "throttle": (0, 100), "pedal": (0, 100), "idle_integral": (-30, 30), "idle_feedforward": (0, 100),
    "idle_active": (0, 1), "fuel_closed_loop": (0, 1), "oil_temp": (-10, 130), "coolant_temp": (-10, 110),
    "air_temp": (-30, 70), "lambda": (0.6, 1.6), "lambda_target": (0.6, 1.4), "fuel_trim": (-30, 30),
    "battery": (9, 16), "oil_pressure": (80, 800), "manifold_pressure": (15, 250), "engine_hours": (0, 20_000),
}  # fmt: skip
_OTHER_UNITS: Final[dict[str, tuple[str, ...]]] = {
    # Units tried, in this order, where the header gives none and the canonical unit puts the values out of range.
    "degC": ("degF", "K"), "V": ("mV",), "kPa": ("bar", "psi", "mbar", "Pa"), "%": ("fraction",), "lambda": ("afr",),
}  # fmt: skip
_DEFAULT_STOICH: Final = 14.6
"""Gasoline CH1.87: 14.60 (Heywood, Internal Combustion Engine Fundamentals, §3.4)."""


@dataclass(frozen=True)
class ColumnProposal:
    """One channel's column: as written in the log (with `{engine}` for an engine's name), unit, confidence 0…1, why."""

    channel: str
    column: str
    unit: str | None
    confidence: float
    reasons: tuple[str, ...]
    values: dict[str, str] = field(default_factory=dict)
    stoich: float | None = None

    def toml(self) -> str:
        """The line of a channel map."""
        parts = [f"column = {_quoted(self.column)}"]
        if self.unit is not None:
            parts.append(f"unit = {_quoted(self.unit)}")
        if self.stoich is not None:
            parts.append(f"stoich = {self.stoich:g}")
        if self.values:
            listed = ", ".join(f"{_quoted(text)} = {_quoted(gear)}" for text, gear in self.values.items())
            parts.append(f"values = {{ {listed} }}")
        return f"{self.channel} = {{ {', '.join(parts)} }}"


@dataclass(frozen=True)
class Proposal:
    """A proposed channel map.

    `chosen` are sure enough to stand, `maybe` are mentioned only; `lacking` are channels without a column, `unused`
    columns without a channel; `engines` the engine names found in column names; `problems` why a log cannot be read.
    """

    file: str
    chosen: tuple[ColumnProposal, ...] = ()
    maybe: tuple[ColumnProposal, ...] = ()
    lacking: tuple[str, ...] = ()
    unused: tuple[str, ...] = ()
    engines: tuple[str, ...] = ()
    start: str = ""
    problems: tuple[Problem, ...] = ()

    def toml(self, name: str = "new") -> str:
        """Text for fleet.toml, ready to paste."""
        lines = [f"[channel_map.{name}]", f"# proposed from {self.file}; check every line"]
        lines += [f"# {self.start}"] if self.start else []
        lines += [f"{line.toml()}  # {line.confidence:.0%}: {'; '.join(line.reasons)}" for line in self.chosen]
        lines += [f"# unsure: {line.toml()}  # {line.confidence:.0%}: {'; '.join(line.reasons)}" for line in self.maybe]
        lines += [f"# lacking: {', '.join(self.lacking)}"] if self.lacking else []
        return "\n".join(lines) + "\n"


def propose(path: Path) -> Proposal:
    """A channel map for the log at `path`. A log that cannot be read gives a proposal with nothing but its problem."""
    try:
        seen = peek(scratch(), path)
    except Refusal as refusal:
        return Proposal(path.name, problems=(refusal.problem,))
    except (DatabaseError, OSError) as error:
        said = str(error).replace(str(path), path.name).splitlines()[0]
        problem = Problem(path.name, None, "damaged_file", "a log that can be read", said, "Copy the log again.")
        return Proposal(path.name, problems=(problem,))
    return _proposal(path, seen)


def _proposal(path: Path, seen: Peek) -> Proposal:
    engines, columns = _one_engine(seen.columns)
    time = None if seen.own_time else _time_column(columns)
    others = [column for column in columns if time is None or column.column.written != time.column]
    ranked = _assigned(others)
    chosen = [line for line in ranked if line.confidence >= SURE_FROM]
    held = {line.channel for line in chosen}
    maybe = [line for line in ranked if line.confidence < SURE_FROM]
    used = {line.column for line in ranked} | ({time.column} if time else set())
    return Proposal(
        file=path.name,
        chosen=(*((time,) if time else ()), *chosen),
        maybe=tuple(maybe),
        lacking=(*(() if time or seen.own_time else ("time",)), *(name for name in CHANNELS if name not in held)),
        unused=tuple(column.column.written for column in columns if column.column.written not in used),
        engines=engines,
        start=_start_said(path, seen, time),
    )


def _start_said(path: Path, seen: Peek, time: ColumnProposal | None) -> str:
    """What is known of the log's start, where the time column needs one."""
    if time is None or time.unit not in {"s", "ms", "clock"}:
        return ""
    start = find_start(seen.metadata, path, "UTC")
    if start.assumed:
        return "no start in the metadata or the file's name: the file's own time will be assumed"
    return "the start stands in the metadata or the file's name"


# ---- several engines in one log -----------------------------------------------------------------------------------

_ENGINE_WORD: Final = re.compile(
    r"(?<![A-Za-z0-9])(" + "|".join(sorted(map(re.escape, ENGINE_WORDS), key=len, reverse=True)) + r")(?![A-Za-z0-9])",
    re.IGNORECASE,
)


def _one_engine(columns: Sequence[PeekedColumn]) -> tuple[tuple[str, ...], list[PeekedColumn]]:
    """Engine names found, and the columns of the first engine with `{engine}` in place of its name, and shared ones."""
    owned = [(column, _templated(column.column.written)) for column in columns]
    names = list(dict.fromkeys(name for _, (_, name) in owned if name))
    templates = {template for _, (template, name) in owned if name}
    repeated = sum(name is not None for _, (_, name) in owned) > len(templates)
    if len(names) < 2 or not repeated:
        return (), list(columns)
    kept = [_renamed(column, template) for column, (template, name) in owned if name in {None, names[0]}]
    return tuple(names), kept


def _templated(name: str) -> tuple[str, str | None]:
    found = _ENGINE_WORD.search(name.replace("_", " "))
    if not found:
        return name, None
    return f"{name[: found.start()]}{{engine}}{name[found.end() :]}", name[found.start() : found.end()]


def _renamed(column: PeekedColumn, template: str) -> PeekedColumn:
    bare = template if column.column.unit is None else re.sub(r"\s*[\[({][^\[\](){}]*[\])}]\s*$", "", template)
    renamed = type(column.column)(template, bare, column.column.unit)
    return PeekedColumn(renamed, column.numbers, column.texts, column.first, column.is_time)


# ---- the time -----------------------------------------------------------------------------------------------------


def _time_column(columns: Sequence[PeekedColumn]) -> ColumnProposal | None:
    scored = [found for place, column in enumerate(columns) if (found := _as_time(column, place)) is not None]
    best = max(scored, key=lambda line: line.confidence, default=None)
    return best if best is not None and best.confidence >= SURE_FROM else None


def _as_time(column: PeekedColumn, place: int) -> ColumnProposal | None:
    unit = _time_unit_of(column)
    if unit is None:
        return None
    likeness = max(_likeness(_words(column.column.name), _words(name)) for name in TIME_NAMES)
    rising = _rising_share(column.numbers) if unit not in {"iso8601", "clock"} else 1.0
    if rising < 0.95:
        return None
    shape = 1.0 if column.is_time or unit in {"iso8601", "clock"} else 0.6
    confidence = 0.5 * likeness + 0.4 * shape * rising + 0.1 / (1 + place)
    reasons = [f"called like a time ({likeness:.0%})"] if likeness > 0.5 else []
    reasons.append("reads as a date or time" if unit in {"iso8601", "clock"} else f"never falls, in {unit}")
    return ColumnProposal("time", column.column.written, unit, min(confidence, 0.99), tuple(reasons))


def _time_unit_of(column: PeekedColumn) -> str | None:
    """The contract's time unit the column's looks suggest; None where it can be no time."""
    finite = column.numbers[np.isfinite(column.numbers)]
    if finite.size * 2 > column.numbers.size:
        return _numeric_time_unit(finite, column.column.unit)
    if column.is_time:
        return "iso8601"
    try:
        kind, _ = kind_of(None, [column.first], "")
    except Refusal:
        return None
    return {"clock": "clock", "zoned": "iso8601", "local": "iso8601"}.get(kind)


def _numeric_time_unit(values: NDArray[np.float64], unit: str | None) -> str | None:
    if unit is not None and time_unit(unit) is None:
        return None
    if values[0] > 1e9:
        return "epoch_ms" if values[0] > 1e11 else "epoch_s"
    steps = np.diff(values)
    steps = steps[steps > 0]
    if not steps.size:
        return None
    # Samples come at 1 to 200 Hz: a usual step of 5 or more cannot be seconds.
    return time_unit(unit or "") or ("ms" if float(np.median(steps)) >= 5 else "s")


def _rising_share(values: NDArray[np.float64]) -> float:
    steps = np.diff(values[np.isfinite(values)])
    return float(np.mean(steps >= 0)) if steps.size else 0.0


# ---- the channels -------------------------------------------------------------------------------------------------


def _assigned(columns: Sequence[PeekedColumn]) -> list[ColumnProposal]:
    """The likeliest column of each channel, no column twice: the surest pairs first."""
    pairs = [line for column in columns for channel in CHANNELS if (line := _as_channel(channel, column)) is not None]
    pairs.sort(key=lambda line: -line.confidence)
    held: dict[str, ColumnProposal] = {}
    used: set[str] = set()
    for line in pairs:
        if line.channel not in held and line.column not in used and line.confidence >= MAYBE_FROM:
            held[line.channel] = line
            used.add(line.column)
    return [held[name] for name in CHANNELS if name in held]


def _as_channel(channel: str, column: PeekedColumn) -> ColumnProposal | None:
    named = _name_likeness(channel, column.column.name)
    if channel == "shift_target" and _has_gear_levels(column.numbers):
        named = max(named, _LIKE_ENOUGH)
    unit = column.column.unit
    if named < _LIKE_ENOUGH or (unit is not None and not fits(channel, unit)):
        return None
    inferred, within = _unit_in_force(channel, unit, column.numbers)
    habit, why = _habit(channel, column)
    has_unit = 0.5 if unit is None else 1.0
    confidence = _NAME_WEIGHT * named + _UNIT_WEIGHT * has_unit + _RANGE_WEIGHT * within + _HABIT_WEIGHT * habit
    if not np.isfinite(column.numbers).any() and not column.texts:
        confidence = min(confidence, MAYBE_FROM)
        why = "empty in this log"
    reasons = [f"name {named:.0%}", _unit_reason(unit, inferred, within), *([why] if why else [])]
    is_ratio = fold_unit(inferred or "") in {AIR_FUEL_RATIO, "a/f", "air/fuel"}
    return ColumnProposal(
        channel, column.column.written, inferred, min(confidence, 0.99), tuple(reasons), _gear_values(channel, column),
        _DEFAULT_STOICH if is_ratio else None,
    )  # fmt: skip


def _unit_reason(given: str | None, inferred: str | None, within: float) -> str:
    fit = f"{within:.0%} of values in the usual range"
    if given is not None:
        return f"unit in the header, {fit}"
    return f"no unit in the header, {inferred} by its values ({fit})" if inferred else f"no unit in the header, {fit}"


def _name_likeness(channel: str, name: str) -> float:
    words = _words(name)
    if not words or words & CONTRARY.get(channel, frozenset()):
        return 0.0
    return max(_likeness(words, _words(known)) for known in (*NAMES[channel], channel))


def _words(name: str) -> frozenset[str]:
    """The words of a name in lower case, split at signs and at humps ('oilTemp'), abbreviations spelled out."""
    humps = re.sub(r"([a-z])([A-Z])", r"\1 \2", name.replace("{engine}", " "))
    words = re.findall(r"[a-zλ]+|\d+", humps.casefold())
    return frozenset(SAME_WORD.get(word, word) for word in words)


def _likeness(words: Iterable[str], known: frozenset[str]) -> float:
    """Share of words two names have in common (Dice), where a slip of the pen still counts for most of a word."""
    mine = list(words)
    met = sum(max((_same(word, other) for other in mine), default=0.0) for word in known)
    return 2 * met / (len(mine) + len(known)) if mine else 0.0


def _same(word: str, other: str) -> float:
    if word == other:
        return 1.0
    ratio = difflib.SequenceMatcher(None, word, other).ratio() if min(len(word), len(other)) >= 4 else 0.0
    return ratio if ratio >= 0.75 else 0.0


def _within(channel: str, unit: str | None, values: NDArray[np.float64]) -> float:
    """Share of values inside the channel's usual range, read in `unit`; 0 where there are none."""
    finite = values[np.isfinite(values)]
    if not finite.size:
        return 0.0
    low, high = _USUAL[channel]
    convert = affine(channel, unit, _DEFAULT_STOICH)
    read = finite * convert.factor + convert.offset
    return float(np.mean((read >= low) & (read <= high)))


def _has_gear_levels(values: NDArray[np.float64]) -> bool:
    """Whether a column holds two or three levels far apart, as the target of a shift actuator does."""
    levels = np.unique(values[np.isfinite(values)][:5000])
    return 2 <= levels.size <= 3 and levels[0] >= 0 and levels[-1] <= 100 and float(np.diff(levels).min()) > 10


def _unit_in_force(channel: str, unit: str | None, values: NDArray[np.float64]) -> tuple[str | None, float]:
    """The unit to write into the map (None where it is the canonical one), and how well the values fit it."""
    if unit is None:
        return _unit_by_range(channel, values)
    is_canonical = affine(channel, unit, _DEFAULT_STOICH) == IDENTITY
    return (None if is_canonical else unit), _within(channel, unit, values)


def _unit_by_range(channel: str, values: NDArray[np.float64]) -> tuple[str | None, float]:
    """The unit that puts most values into the usual range: canonical (None) unless another does clearly better."""
    share = _within(channel, None, values)
    canonical = CHANNELS[channel].unit
    if canonical == "%" and not _is_fraction(values):
        return None, share
    for unit in _OTHER_UNITS.get(canonical, ()):
        other = _within(channel, unit, values)
        if other > share + 0.3 or (canonical == "%" and other >= share):
            return unit, other
    return None, share


def _is_fraction(values: NDArray[np.float64]) -> bool:
    """Whether values that should be percent never leave 0…1, though they move."""
    finite = values[np.isfinite(values)]
    return bool(finite.size) and finite.min() >= 0.0 and finite.max() <= 1.0 and float(np.ptp(finite)) > 0.05


def _habit(channel: str, column: PeekedColumn) -> tuple[float, str]:
    """How well the values behave like the channel's, 0…1, with what was seen; 0.5 where nothing is expected of them."""
    values = column.numbers[np.isfinite(column.numbers)]
    if channel == "gear" and column.texts:
        known = all(text.casefold() in GEAR_WORDS for text in column.texts)
        return (1.0, "words for gears") if known else (0.0, "")
    if not values.size:
        return 0.0, ""
    return _habit_of_numbers(channel, values)


_MOST_LEVELS: Final = {"gear": 3, "shift_target": 3, "idle_active": 2, "fuel_closed_loop": 2}


def _habit_of_numbers(channel: str, values: NDArray[np.float64]) -> tuple[float, str]:
    levels = len(np.unique(values[:5000]))
    if channel in _MOST_LEVELS:
        return (1.0, f"{levels} levels") if levels <= _MOST_LEVELS[channel] else (0.0, "")
    if channel == "engine_hours":
        return (1.0, "never falls") if _rising_share(values) == 1.0 else (0.0, "")
    if channel in {"fuel_trim", "idle_integral"} and values.min() < 0 < values.max():
        return 1.0, "both signs"
    return 0.5, ""


def _gear_values(channel: str, column: PeekedColumn) -> dict[str, str]:
    """Codes for a gear column with other words than reverse, neutral and forward."""
    words = {text: GEAR_WORDS[text.casefold()] for text in column.texts if text.casefold() in GEAR_WORDS}
    is_plain = all(text.casefold() == gear for text, gear in words.items())
    return {} if channel != "gear" or is_plain else words


def _quoted(text: str) -> str:
    """A TOML basic string."""
    return json.dumps(text, ensure_ascii=False)
