"""The proposal for one log: its columns weighed, assigned together, and put into lines and questions."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from pipeline.channel_words import GEAR_WORDS
from pipeline.channels import CHANNELS
from pipeline.database import DatabaseError, scratch
from pipeline.problems import Problem
from pipeline.proposal.assign import assigned, confidences
from pipeline.proposal.engines import one_engine
from pipeline.proposal.gear_codes import gear_codes
from pipeline.proposal.lines import MAYBE_FROM, SURE_FROM, ColumnProposal, Proposal, Question
from pipeline.proposal.overrides import with_overrides
from pipeline.proposal.questions import questions
from pipeline.proposal.scores import Table, Weighed, weigh
from pipeline.proposal.signals import Signal
from pipeline.proposal.timeline import seconds_of, time_column
from pipeline.proposal.units import STOICH, is_ratio
from pipeline.readers.peek import Peek, PeekedColumn, peek
from pipeline.readers.request import Refusal
from pipeline.readers.start import find_start

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from pipeline.proposal.overrides import Override
    from pipeline.register import Boat, ReadingLimits

_SUREST: Final = 0.99
_ZERO_FROM: Final = 1.0
_ZERO_TO: Final = 40.0
"""A pedal sensor rests anywhere up to there, in %; at 1 % or less the helm counts as at rest anyway (contract)."""


@dataclass(frozen=True)
class _Weighed:
    """The columns of one engine, weighed; `beliefs` by channel (in the contract's order) and column."""

    columns: tuple[PeekedColumn, ...]
    table: Table
    beliefs: NDArray[np.float64]
    pairs: tuple[tuple[int, int], ...]

    @property
    def speed(self) -> Signal | None:
        """The column that is taken for the speed."""
        row = list(CHANNELS).index("rpm")
        return next((Signal(self.columns[at].numbers) for channel, at in self.pairs if channel == row), None)


def propose(
    path: Path,
    boat: Boat | None = None,
    overrides: Sequence[Override] = (),
    limits: ReadingLimits | None = None,
) -> Proposal:
    """A channel map for the log at `path`. A log that cannot be read gives a proposal with nothing but its problem.

    `boat` is whose log it is, if that is known; `overrides` are a person's own answers; `limits` are what one log may
    take in the fleet, else the usual ones.

    Raises:
        OverrideError: an answer names no column of the log, or a unit that does not fit.
    """
    try:
        seen = peek(scratch(), path, limits)
    except Refusal as refusal:
        return Proposal(path.name, problems=(refusal.problem,))
    except (DatabaseError, OSError) as error:
        said = str(error).replace(str(path), path.name).splitlines()[0]
        problem = Problem(path.name, None, "damaged_file", "a log that can be read", said, "Copy the log again.")
        return Proposal(path.name, problems=(problem,))
    engines = () if boat is None else boat.engines
    proposal = proposal_of(path, seen, [name for each in engines for name in (each.id, each.label)])
    if len(engines) > 1 and not proposal.engines:
        ids = ", ".join(each.id for each in engines)
        asked = Question(("engine",), f"Of which engine is it ({ids})? Put it into a folder named after the engine.")
        proposal = replace(proposal, questions=(*proposal.questions, asked))
    return with_overrides(proposal, overrides)


def proposal_of(path: Path, seen: Peek, engines: Iterable[str] = ()) -> Proposal:
    """The proposal for columns that have been looked at; `engines` are names that may stand in the columns' names."""
    found, columns = one_engine(seen.columns, engines)
    time = None if seen.own_time else time_column(columns)
    clock = next((column for column in columns if time is not None and column.column.written == time.column), None)
    others = tuple(column for column in columns if column is not clock)
    weighed = _weighed(others, seconds_of(clock, time.unit if time else None))
    lines = [_line(weighed, row, at) for row, at in weighed.pairs]
    chosen = [line for line in lines if line.confidence >= SURE_FROM]
    maybe = [line for line in lines if MAYBE_FROM <= line.confidence < SURE_FROM]
    held = {line.channel for line in chosen}
    used = {line.column for line in (*chosen, *maybe)} | ({time.column} if time else set())
    names = tuple(column.column.written for column in columns)
    return Proposal(
        file=path.name,
        chosen=(*((time,) if time else ()), *chosen),
        maybe=tuple(maybe),
        lacking=(*(() if time or seen.own_time else ("time",)), *(name for name in CHANNELS if name not in held)),
        unused=tuple(name for name in names if name not in used),
        engines=found,
        start=_start_said(path, seen, time),
        questions=questions(chosen, others, weighed.table, weighed.beliefs, clock),
        columns=names,
        has_own_time=seen.own_time,
        gear_words={
            column.column.written: words for column in columns if (words := _gear_values(column, weighed.speed))
        },
        rests={column.column.written: rest for column in columns if (rest := _rest(column)) is not None},
    )


def _weighed(columns: tuple[PeekedColumn, ...], time_s: NDArray[np.float64] | None) -> _Weighed:
    table = weigh(columns, time_s)
    log_odds = np.full((len(CHANNELS), len(columns)), -np.inf)
    for row, channel in enumerate(CHANNELS):
        for at in range(len(columns)):
            if (channel, at) in table:
                log_odds[row, at] = table[channel, at].weight
    pairs = tuple(assigned(log_odds)) if columns else ()
    return _Weighed(columns, table, confidences(log_odds), pairs)


def _line(weighed: _Weighed, row: int, at: int) -> ColumnProposal:
    channel = tuple(CHANNELS)[row]
    column = weighed.columns[at]
    each: Weighed = weighed.table[channel, at]
    zero = _rest(column) if channel == "pedal" and each.read.unit is None else None
    reasons = each.reasons if zero is None else (*each.reasons, f"rests at {zero:.4g}, taken as 0")
    return ColumnProposal(
        channel=channel,
        column=column.column.written,
        unit=each.read.unit,
        confidence=min(float(weighed.beliefs[row, at]), _SUREST),
        reasons=reasons,
        values=_gear_values(column, weighed.speed) if channel == "gear" else {},
        stoich=STOICH if is_ratio(each.read.unit) else None,
        zero=zero,
        doubt=each.read.doubt,
    )


def _rest(column: PeekedColumn) -> float | None:
    """The value a pedal's sensor rests at, where it is its lowest, its most frequent, and not near 0."""
    values, counts = np.unique(column.numbers[np.isfinite(column.numbers)], return_counts=True)
    if not values.size or counts[0] < 0.1 * counts.sum() or not _ZERO_FROM < values[0] < _ZERO_TO:
        return None
    return round(float(values[0]), 4)


def _gear_values(column: PeekedColumn, speed: Signal | None) -> dict[str, str]:
    """What a gear column's own words or codes mean, where they are not reverse, neutral and forward or −1, 0 and 1."""
    codes = gear_codes(Signal(column.numbers), speed)
    if codes is not None:
        return codes.values()
    words = {text: GEAR_WORDS[text.casefold()] for text in column.texts if text.casefold() in GEAR_WORDS}
    return {} if all(text.casefold() == gear for text, gear in words.items()) else words


def _start_said(path: Path, seen: Peek, time: ColumnProposal | None) -> str:
    """What is known of the log's start, where the time column needs one."""
    if time is None or time.unit not in {"s", "ms", "clock"}:
        return ""
    start = find_start(seen.metadata, path, "UTC")
    if start.assumed:
        return "no start in the metadata or the file's name: the file's own time will be assumed"
    return "the start stands in the metadata or the file's name"
