"""A person's own answers to a proposal: `channel=column`, `channel=column:unit`, `channel=` for none, `stoich=14.1`."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from pipeline.channels import CHANNELS, UnitError, affine, fits
from pipeline.proposal.lines import ColumnProposal
from pipeline.proposal.units import STOICH, is_ratio
from pipeline.register import TIME_UNITS
from pipeline.register.words import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pipeline.proposal.lines import Proposal

_STOICH: Final = "stoich"
_SAID: Final = ("said by a person",)


class OverrideError(ValueError):
    """An answer that names no channel, no column of the log, or a unit that does not fit; the message says which."""


@dataclass(frozen=True)
class Override:
    """One answer. `column` None: the log has no such channel. `stoich` answers for every air-fuel ratio."""

    channel: str
    column: str | None = None
    unit: str | None = None
    stoich: float | None = None


def parse_override(text: str) -> Override:
    """An answer as written on the command line.

    Raises:
        OverrideError: it is no answer, or names no channel.
    """
    channel, equals, rest = (part.strip() for part in text.partition("="))
    if not equals:
        raise OverrideError(f"{text!r} is no answer; write channel=column, channel=column:unit or stoich=14.6")
    if channel == _STOICH:
        return Override(_STOICH, stoich=_number(rest))
    if channel not in ("time", *CHANNELS):
        raise OverrideError(f"{channel!r} is no channel. {did_you_mean(channel, ('time', *CHANNELS))}")
    return Override(channel, rest or None)


def with_overrides(proposal: Proposal, overrides: Sequence[Override]) -> Proposal:
    """The proposal with a person's answers in it; what was asked and is answered is asked no more.

    Raises:
        OverrideError: an answer names no column of the log, or a unit that does not fit.
    """
    if proposal.problems:
        return proposal
    for each in overrides:
        proposal = _with_stoich(proposal, each) if each.channel == _STOICH else _with_line(proposal, each)
    return proposal


def with_picks(
    proposal: Proposal, picks: Mapping[str, tuple[str | None, str | None]], stoich: float | None = None
) -> Proposal:
    """The proposal with what somebody picked: by channel its column (None: none) and unit (None: the canonical one).

    A pick that is as proposed keeps its reasons; channels that are not picked stay as they are. A column may serve two
    channels if somebody says so.
    """
    known = {line.channel: line for line in (*proposal.maybe, *proposal.chosen)}
    lines = []
    for channel in ("time", *CHANNELS):
        line = next((each for each in proposal.chosen if each.channel == channel), None)
        if channel in picks:
            line = _picked(proposal, channel, picks[channel], known.get(channel), stoich)
        lines += [] if line is None else [line]
    held = {line.channel for line in lines}
    lacking = tuple(
        each for each in ("time", *CHANNELS) if each not in held and (each != "time" or not proposal.has_own_time)
    )
    used = {line.column for line in lines}
    return replace(
        proposal, chosen=tuple(lines), maybe=(), lacking=lacking, questions=(),
        unused=tuple(each for each in proposal.columns if each not in used),
    )  # fmt: skip


def _picked(
    proposal: Proposal,
    channel: str,
    pick: tuple[str | None, str | None],
    known: ColumnProposal | None,
    stoich: float | None,
) -> ColumnProposal | None:
    column, unit = pick
    if column is None:
        return None
    ratio = (stoich or STOICH) if channel != "time" and is_ratio(unit) else None
    if known is not None and (known.column, known.unit) == (column, unit):
        return replace(known, stoich=ratio)
    return _said(proposal, channel, column, unit, ratio)


def _with_stoich(proposal: Proposal, answer: Override) -> Proposal:
    lines = tuple(
        replace(line, stoich=answer.stoich, reasons=(*line.reasons, *_SAID)) if is_ratio(line.unit) else line
        for line in proposal.chosen
    )
    kept = tuple(each for each in proposal.questions if not any("stoich=" in word for word in each.answers))
    return replace(proposal, chosen=lines, questions=kept)


def _with_line(proposal: Proposal, answer: Override) -> Proposal:
    line = None if answer.column is None else _line(proposal, answer)
    column = line.column if line else None
    chosen = [each for each in proposal.chosen if answer.channel != each.channel and each.column != column]
    order = ("time", *CHANNELS)
    lines = tuple(sorted([*chosen, *([line] if line else [])], key=lambda each: order.index(each.channel)))
    held = {each.channel for each in lines}
    used = {each.column for each in lines}
    lacking = tuple(each for each in order if each not in held and (each != "time" or not proposal.has_own_time))
    maybe = tuple(
        each for each in proposal.maybe if each.channel not in held | {answer.channel} and each.column not in used
    )
    return replace(
        proposal,
        chosen=lines,
        maybe=maybe,
        lacking=lacking,
        unused=tuple(each for each in proposal.columns if each not in used | {line.column for line in maybe}),
        questions=tuple(each for each in proposal.questions if answer.channel not in each.channels),
    )


def _line(proposal: Proposal, answer: Override) -> ColumnProposal:
    column, unit = _parted(proposal, answer)
    known = next((each for each in (*proposal.chosen, *proposal.maybe) if each.channel == answer.channel), None)
    if answer.channel == "time":
        return ColumnProposal("time", column, _time_unit(unit, known), 1.0, _SAID)
    if unit is not None and not fits(answer.channel, unit):
        try:
            affine(answer.channel, unit, STOICH)
        except UnitError as error:
            raise OverrideError(str(error)) from error
    same = known if known is not None and known.column == column and unit is None else None
    if same is not None:
        return replace(same, confidence=1.0, reasons=(*same.reasons, *_SAID))
    return _said(proposal, answer.channel, column, unit, STOICH if is_ratio(unit) else None)


def _said(proposal: Proposal, channel: str, column: str, unit: str | None, stoich: float | None) -> ColumnProposal:
    """A line that a person said, with what is known of the column besides."""
    values = proposal.gear_words.get(column, {}) if channel == "gear" else {}
    zero = proposal.rests.get(column) if channel == "pedal" and unit is None else None
    return ColumnProposal(channel, column, unit, 1.0, _SAID, values, stoich, zero)


def _parted(proposal: Proposal, answer: Override) -> tuple[str, str | None]:
    """Column and unit; a column whose own name holds a colon is found whole first."""
    written = answer.column or ""
    if answer.unit is not None or written in proposal.columns:
        return _known(proposal, written), answer.unit
    column, colon, unit = written.rpartition(":")
    return (_known(proposal, column), unit.strip()) if colon else (_known(proposal, written), None)


def _known(proposal: Proposal, column: str) -> str:
    folded = {each.casefold().strip(): each for each in proposal.columns}
    found = folded.get(column.casefold().strip())
    if found is None:
        raise OverrideError(f"The log has no column {column!r}. {did_you_mean(column, proposal.columns)}")
    return found


def _time_unit(unit: str | None, known: ColumnProposal | None) -> str:
    if unit is not None and unit not in TIME_UNITS:
        raise OverrideError(f"{unit!r} is no unit of time; accepted: {', '.join(TIME_UNITS)}")
    return unit or (known.unit if known and known.unit else "s")


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError as error:
        raise OverrideError(f"stoich={text!r} is no number; write stoich=14.6") from error
