"""Every column weighed as every channel, in log odds: by name, unit and habit, and by what stands beside it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from pipeline.channels import CHANNELS, affine, fold_unit
from pipeline.proposal.case import IMPOSSIBLE, warms
from pipeline.proposal.gear_codes import gear_codes
from pipeline.proposal.names import name_evidence
from pipeline.proposal.pairs import followings, main_levels
from pipeline.proposal.signals import Around, Signal, alike, around, correlation
from pipeline.proposal.units import UnitRead, read_in_units

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pipeline.readers.peek import PeekedColumn

PRIOR: Final = -2.2
"""Log odds that a column is a given channel before anything is known of it: about one in ten."""

_UNIT_TELLS: Final = {"rpm": 1.5, "V": 1.5, "degC": 1.0, "kPa": 1.0, "h": 1.0, "lambda": 1.0, "%": 0.3}
"""What a fitting unit in the header speaks for, by the channel's canonical unit: the rarer, the more."""

_NAME_STANDS: Final = 4.5
"""Name evidence from which habits that do not fit count half: a log may show a channel at its dullest."""


@dataclass(frozen=True)
class Weighed:
    """One column as one channel: `weight` in log odds, the unit it is read in, and why."""

    weight: float
    read: UnitRead
    reasons: tuple[str, ...]

    def with_more(self, weight: float, reason: str) -> Weighed:
        """The same with one more piece of evidence."""
        said = (*self.reasons, reason) if reason and weight > 0 else self.reasons
        return replace(self, weight=self.weight + weight, reasons=said)


_GOES_WITH: Final = 0.97
"""Correlation from which one lever moves with another."""

_SOAKED_C: Final = 6.0
"""Within so many degrees of each other, temperatures of a rested engine are alike."""

Table = dict[tuple[str, int], Weighed]
"""By channel and place of the column; pairs that cannot be are left out."""


def weigh(columns: Sequence[PeekedColumn], time_s: NDArray[np.float64] | None) -> Table:
    """Every column as every channel that it can be."""
    rows = max((column.numbers.size for column in columns), default=0)
    signals = [Signal(column.numbers) for column in columns]
    bare = around(rows, time_s)
    speeds = _weighed("rpm", columns, signals, bare)
    known = bare.with_speed(_speed(signals, speeds))
    table: Table = {("rpm", at): each for at, each in speeds.items()}
    for channel in CHANNELS:
        if channel != "rpm":
            table |= {(channel, at): each for at, each in _weighed(channel, columns, signals, known).items()}
    _add_followings(table, signals, known)
    _add_gear_with_target(table, signals, known.speed)
    _add_throttle_with_pedal(table, signals)
    _add_order_of_warming(table, signals)
    _add_soak(table, signals)
    _add_lambda_beside(table, signals)
    return table


def _weighed(
    channel: str, columns: Sequence[PeekedColumn], signals: Sequence[Signal], known: Around
) -> dict[int, Weighed]:
    found = {}
    for at, (column, signal) in enumerate(zip(columns, signals, strict=True)):
        each = _one(channel, column, signal, known)
        if each is not None:
            found[at] = each
    return found


def _one(channel: str, column: PeekedColumn, signal: Signal, known: Around) -> Weighed | None:
    named, said = name_evidence(channel, column.column.name)
    read = read_in_units(channel, column.column.unit, signal, column.texts, known)
    if read is None or read.weight <= IMPOSSIBLE:
        return None
    habit = max(read.weight / 2, -3.0) if named >= _NAME_STANDS and read.weight < 0 else read.weight
    has_unit = column.column.unit is not None and fold_unit(column.column.unit) not in {"", "-", "–", "1"}
    told = _UNIT_TELLS.get(CHANNELS[channel].unit, 0.0) if has_unit else 0.0
    unit_said = f"in {column.column.unit}" if has_unit else f"in {read.unit} by its values" if read.unit else ""
    reasons = tuple(each for each in (said, unit_said, read.seen) if each)
    return Weighed(PRIOR + named + told + habit, read, reasons)


def _speed(signals: Sequence[Signal], weighed: dict[int, Weighed]) -> Signal | None:
    """The likeliest speed, in rpm as logged; without one nothing is known of when the engine turned."""
    likely = {at: each for at, each in weighed.items() if each.weight > 0 and each.read.unit is None}
    return signals[max(likely, key=lambda at: likely[at].weight)] if likely else None


def _add(table: Table, channel: str, at: int, weight: float, reason: str = "") -> None:
    if (channel, at) in table:
        table[channel, at] = table[channel, at].with_more(weight, reason)


def _add_followings(table: Table, signals: Sequence[Signal], known: Around) -> None:
    """A target is followed, a position follows it."""
    found = followings(signals, known.time_s)
    for at in {each.target for each in found}:
        _add(table, "shift_target", at, 3.0, "another column follows it")
        _add(table, "gear", at, -3.0)
    best = {each.position: each for each in sorted(found, key=lambda each: -each.apart)}
    for at, each in best.items():
        _add(table, "shift_position", at, 5.0, f"follows the target {each.lag_s:.2g} s behind")


def _add_gear_with_target(table: Table, signals: Sequence[Signal], speed: Signal | None) -> None:
    """A gear changes when the target does."""
    targets = [at for (channel, at), each in table.items() if channel == "shift_target" and each.weight > 0]
    for (channel, at), _ in list(table.items()):
        if channel == "gear" and signals[at].levels.size in {2, 3} and targets:
            codes = gear_codes(signals[at], speed)
            gear = signals[at].values if codes is None else codes.canonical(signals[at])
            tied = max(abs(correlation(gear, signals[target].values)) for target in targets)
            _add(table, "gear", at, 4.0 if tied > 0.9 else -2.0, "changes with the shift target")


def _add_throttle_with_pedal(table: Table, signals: Sequence[Signal]) -> None:
    """The plate goes with the helm's demand more closely than anything that the engine only answers with."""
    pedals = [at for (channel, at), each in table.items() if channel == "pedal" and each.weight > 1.5]
    for (channel, at), _ in list(table.items()):
        others = [pedal for pedal in pedals if pedal != at]
        if channel == "throttle" and others:
            tied = max(alike(signals[at].values, signals[pedal].values) for pedal in others)
            _add(table, "throttle", at, 2.0 if tied > _GOES_WITH else -1.5, "goes with the pedal")


def _add_order_of_warming(table: Table, signals: Sequence[Signal]) -> None:
    """Of two temperatures that rise, the coolant is the sooner: the oil is warmed by it and by friction."""
    warming = [
        at for at, signal in enumerate(signals)
        if (each := table.get(("coolant_temp", at))) is not None and each.weight > PRIOR and warms(signal)
        and ("oil_temp", at) in table
    ]  # fmt: skip
    if len(warming) < 2:
        return
    halves = {at: _half_way(signals[at]) for at in warming}
    first, last = min(halves, key=lambda at: halves[at]), max(halves, key=lambda at: halves[at])
    if halves[last] > 1.15 * halves[first]:
        _add(table, "coolant_temp", first, 1.5, "the first to warm up")
        _add(table, "oil_temp", first, -1.5)
        _add(table, "oil_temp", last, 1.5, "the last to warm up")
        _add(table, "coolant_temp", last, -1.5)


def _add_soak(table: Table, signals: Sequence[Signal]) -> None:
    """After a night at rest, what warms up starts at the temperature of the air."""
    began = [
        _first(each, channel, signals[at])
        for (channel, at), each in table.items()
        if channel in {"coolant_temp", "oil_temp"} and each.weight > PRIOR + 2 and warms(signals[at])
    ]
    for (channel, at), each in list(table.items()):
        if channel == "air_temp" and began and signals[at].found.size and not warms(signals[at]):
            near = min(abs(_first(each, channel, signals[at]) - other) for other in began) < _SOAKED_C
            _add(table, "air_temp", at, 2.5 if near else -0.7, "begins where what warms up begins")


def _first(each: Weighed, channel: str, signal: Signal) -> float:
    """The first reading in °C."""
    return affine(channel, each.read.unit)(float(np.median(signal.found[: max(1, signal.found.size // 100)])))


def _half_way(signal: Signal) -> int:
    """The row at which a rising signal has made half of its way."""
    half = (signal.low + signal.high) / 2
    return int(np.argmax(np.nan_to_num(signal.values, nan=-np.inf) >= half))


def _add_lambda_beside(table: Table, signals: Sequence[Signal]) -> None:
    """The measured lambda keeps near its target; both are read in one unit."""
    measured = [at for (channel, at), each in table.items() if channel == "lambda" and each.weight > 0]
    targets = [at for (channel, at), each in table.items() if channel == "lambda_target" and each.weight > PRIOR]
    for target in targets:
        near = [at for at in measured if at != target and _is_near(signals[target], signals[at])]
        _add(table, "lambda_target", target, 1.5 if near else 0.0, "another column keeps near it")
        for at in near:
            _add(table, "lambda", at, 1.5, "keeps near another column")


def _is_near(one: Signal, other: Signal) -> bool:
    both = one.known & other.known
    if not both.any() or main_levels(one).size == 1:
        return False
    apart = np.abs(one.values[both] - other.values[both]) / np.maximum(np.abs(other.values[both]), 1e-9)
    return float(np.median(apart)) < 0.05
