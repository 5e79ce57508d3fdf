"""In which unit a column stands: what its header says, else what its values are like; a header that cannot be right."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from pipeline.channels import AIR_FUEL_RATIO, CHANNELS, IDENTITY, affine, fits, fold_unit
from pipeline.proposal.case import Case
from pipeline.proposal.habits import habit

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pipeline.proposal.signals import Around, Signal

STOICH: Final = 14.6
"""Gasoline CH1.87: 14.60 (Heywood, Internal Combustion Engine Fundamentals, §3.4)."""

STOICHS: Final = (("gasoline", 14.6), ("gasoline with 10 % ethanol", 14.1), ("ethanol with 15 % gasoline", 9.8))
"""Fuels and their stoichiometric air-fuel ratios by mass (Heywood, table D.4, and mixtures of them)."""

_TRIED: Final[dict[str, tuple[str, ...]]] = {
    # Other units of a channel whose canonical unit is the key, for columns whose header gives none.
    "degC": ("degF", "K"), "V": ("mV",), "kPa": ("bar", "psi", "mbar", "Pa"), "%": ("fraction",), "lambda": ("afr",),
    "h": (),
}  # fmt: skip
_LESS_USUAL: Final = 0.8
"""What a unit other than the canonical one costs, in log odds, where no header names it."""
_DOUBTED: Final = 3.0
"""How much better, in log odds, another unit must fit for the header's to be doubted."""
_IMPROBABLE: Final = 2.0
"""What it costs to read a column against its header."""

_RATIOS: Final = frozenset({AIR_FUEL_RATIO, "a/f", "air/fuel"})


@dataclass(frozen=True)
class UnitRead:
    """A column read in a unit (None: the canonical one): how well it fits, in log odds, and what was seen.

    `doubt` says that the header's unit is an unlikely one; `rival` is another unit that fits as well, where the header
    names none.
    """

    unit: str | None
    weight: float
    seen: str
    doubt: str | None = None
    rival: str | None = None


def is_ratio(unit: str | None) -> bool:
    """Whether the unit is an air-fuel ratio, which needs a stoichiometric one beside it."""
    return unit is not None and fold_unit(unit) in _RATIOS


def read_in_units(
    channel: str, header: str | None, signal: Signal, texts: tuple[str, ...], around: Around
) -> UnitRead | None:
    """The column as the channel, in the header's unit or else in the likeliest; None where the header's cannot be."""
    if header is not None and not fits(channel, header):
        return None
    others = [_read(channel, unit, signal, texts, around) for unit in _units(channel)]
    if header is None:
        return _likeliest(others)
    told = _read(channel, _canonical_or(channel, header), signal, texts, around)
    best = max(others, key=lambda each: each.weight)
    if best.weight <= told.weight + _DOUBTED or best.unit == told.unit or _same(channel, best.unit, told.unit):
        return told
    fitting = best.unit or CHANNELS[channel].unit
    doubt = f"{header} is unlikely: its middle is {signal.middle:.4g}, as {fitting} it would fit"
    return UnitRead(told.unit, max(told.weight, best.weight - _IMPROBABLE), best.seen, doubt)


def _units(channel: str) -> Iterable[str | None]:
    return (None, *_TRIED.get(CHANNELS[channel].unit, ()))


def _canonical_or(channel: str, header: str) -> str | None:
    return None if affine(channel, header, STOICH) == IDENTITY else header


def _same(channel: str, one: str | None, other: str | None) -> bool:
    return affine(channel, one, STOICH) == affine(channel, other, STOICH)


def _read(channel: str, unit: str | None, signal: Signal, texts: tuple[str, ...], around: Around) -> UnitRead:
    convert = affine(channel, unit, STOICH)
    weight, seen = habit(channel, Case(signal.scaled(convert.factor, convert.offset), texts, around))
    return UnitRead(unit, weight, seen)


def _likeliest(reads: list[UnitRead]) -> UnitRead:
    weighed = [UnitRead(each.unit, each.weight - (_LESS_USUAL if each.unit else 0.0), each.seen) for each in reads]
    first, *rest = sorted(weighed, key=lambda each: -each.weight)
    rival = next((each for each in rest if first.weight > 0 and each.weight > first.weight - 0.5), None)
    return UnitRead(
        first.unit, first.weight, first.seen, rival=None if rival is None else rival.unit or "the canonical one"
    )
