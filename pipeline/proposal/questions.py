"""What the log cannot tell, as questions to a person: which of two columns, which unit, which fuel."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from pipeline.channels import CHANNELS
from pipeline.proposal.gear_codes import gear_codes
from pipeline.proposal.lines import SURE_FROM, ColumnProposal, Question
from pipeline.proposal.names import name_evidence
from pipeline.proposal.signals import Signal
from pipeline.proposal.units import STOICHS, is_ratio

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from pipeline.proposal.scores import Table
    from pipeline.readers.peek import PeekedColumn

_CALLED_FROM: Final = 4.5
"""Name evidence from which a name means a channel."""

_CANDIDATE_FROM: Final = 0.2
"""Belief from which a column is named as a possible answer."""


def questions(
    chosen: Sequence[ColumnProposal],
    columns: Sequence[PeekedColumn],
    table: Table,
    beliefs: NDArray[np.float64],
    clock: PeekedColumn | None,
) -> tuple[Question, ...]:
    """Every question, channels in the contract's order; channels that share their candidates are asked of together."""
    names = [column.column.written for column in columns]
    return (
        *_which_time(clock),
        *_which_column(chosen, names, beliefs),
        *_which_unit(chosen, names, table),
        *_which_fuel(chosen),
        *_which_way(chosen, columns),
        *_cannot_be(chosen, columns, table),
    )


def _which_time(clock: PeekedColumn | None) -> Iterator[Question]:
    """A column that rises by exactly 1 a row may be a clock of one second, or only count the rows."""
    steps = np.diff(clock.numbers) if clock is not None else np.empty(0)
    if clock is not None and steps.size > 1 and bool(np.all(steps == 1)) and clock.column.unit is None:
        name = clock.column.written
        asked = f"Does {name!r} count seconds, or only the rows? It rises by 1 a row."
        yield Question(("time",), asked, (f"time={name}:s", f"time={name}:ms"))


def _cannot_be(chosen: Sequence[ColumnProposal], columns: Sequence[PeekedColumn], table: Table) -> Iterator[Question]:
    """A column that is called like a channel, but whose values cannot be it, so that it was left out."""
    held, used = {line.channel for line in chosen}, {line.column for line in chosen}
    for at, column in enumerate(columns):
        name, found = column.column.written, column.numbers[np.isfinite(column.numbers)]
        for channel in CHANNELS:
            is_called = name_evidence(channel, column.column.name)[0] >= _CALLED_FROM
            if is_called and found.size and (channel, at) not in table and channel not in held and name not in used:
                asked = f"{name!r} is called like {channel}, but holds {found.min():.4g} to {found.max():.4g}. Is it?"
                yield Question((channel,), asked, (f"{channel}={name}",))


def _which_column(
    chosen: Sequence[ColumnProposal], columns: Sequence[str], beliefs: NDArray[np.float64]
) -> Iterator[Question]:
    held = {line.channel for line in chosen}
    taken = {line.column for line in chosen if line.confidence >= SURE_FROM}
    groups: dict[tuple[str, ...], list[str]] = {}
    for row, channel in enumerate(CHANNELS):
        fits = tuple(
            name for at, name in enumerate(columns) if beliefs[row, at] >= _CANDIDATE_FROM and name not in taken
        )
        if channel not in held and len(fits) > 1:
            groups.setdefault(fits, []).append(channel)
    for fits, channels in groups.items():
        answers = tuple(f"{channel}={name}" for channel in channels for name in fits)
        yield Question(tuple(channels), f"Which of {_either(fits)}, if any, is {_and(channels)}?", answers)
    yield from _which_channel(held, taken, columns, beliefs, {name for fits in groups for name in fits})


def _which_channel(
    held: set[str], taken: set[str], columns: Sequence[str], beliefs: NDArray[np.float64], asked: set[str]
) -> Iterator[Question]:
    """A column that could be one of several channels, and nothing tells which."""
    for at, name in enumerate(columns):
        fits = [each for row, each in enumerate(CHANNELS) if beliefs[row, at] >= _CANDIDATE_FROM and each not in held]
        if name not in taken | asked and len(fits) > 1:
            answers = tuple(f"{channel}={name}" for channel in fits)
            yield Question(tuple(fits), f"Is {name!r} {_either(fits, quoted=False)}?", answers)


def _which_unit(chosen: Sequence[ColumnProposal], columns: Sequence[str], table: Table) -> Iterator[Question]:
    places = {name: at for at, name in enumerate(columns)}
    for line in chosen:
        weighed = table.get((line.channel, places.get(line.column, -1)))
        if weighed is None:
            continue
        canonical = CHANNELS[line.channel].unit
        if weighed.read.rival is not None:
            units = (
                line.unit or canonical,
                canonical if weighed.read.rival == "the canonical one" else weighed.read.rival,
            )
            answers = tuple(f"{line.channel}={line.column}:{unit}" for unit in units)
            yield Question((line.channel,), f"Is {line.column!r} ({line.channel}) in {' or '.join(units)}?", answers)
        elif line.doubt is not None:
            yield Question((line.channel,), f"Is the unit of {line.column!r} right? {line.doubt}.")


def _which_fuel(chosen: Sequence[ColumnProposal]) -> Iterator[Question]:
    ratios = [line for line in chosen if is_ratio(line.unit)]
    if ratios:
        fuels = ", ".join(f"{ratio:g} for {fuel}" for fuel, ratio in STOICHS)
        channels = tuple(line.channel for line in ratios)
        answers = tuple(f"stoich={ratio:g}" for _, ratio in STOICHS)
        yield Question(channels, f"Which stoichiometric air-fuel ratio does the logger use? {fuels}.", answers)


def _which_way(chosen: Sequence[ColumnProposal], columns: Sequence[PeekedColumn]) -> Iterator[Question]:
    """Codes of a gear whose speeds do not tell forward from reverse."""
    signals = {column.column.written: Signal(column.numbers) for column in columns}
    speed = next((signals.get(line.column) for line in chosen if line.channel == "rpm"), None)
    for line in chosen:
        codes = gear_codes(signals[line.column], speed) if line.channel == "gear" else None
        if codes is not None and not codes.is_told:
            ahead, astern = f"{codes.forward:g}", f"{codes.reverse:g}"
            asked = f"Is {ahead} forward and {astern} reverse in {line.column!r}? The speed does not tell. "
            yield Question(("gear",), f"{asked}Where it is not, exchange them in the map's values.")


def _either(words: Sequence[str], *, quoted: bool = True) -> str:
    shown = [repr(each) if quoted else each for each in words]
    return f"{', '.join(shown[:-1])} and {shown[-1]}" if quoted else f"{', '.join(shown[:-1])} or {shown[-1]}"


def _and(channels: Sequence[str]) -> str:
    return channels[0] if len(channels) == 1 else f"{', '.join(channels[:-1])} and which {channels[-1]}"
