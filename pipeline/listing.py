"""The answers of the command line as text: a list a tired person can read, symbol and word and reason.

Colour is only a third cue; rich leaves it out where NO_COLOR is set or nobody looks at a terminal.
"""

from __future__ import annotations

import shlex
import textwrap
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

from rich.text import Text

from pipeline import telling, wording
from pipeline.answer import answer
from pipeline.proposal.preview import preview_lines

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from pipeline.changes import Change
    from pipeline.findings import Finding
    from pipeline.ingest import IngestResult
    from pipeline.morning import Morning
    from pipeline.proposal import Proposal
    from pipeline.ranking import BoatLine
    from pipeline.register import Register
    from pipeline.states import Status
    from pipeline.telling import Told
    from pipeline.trial import Trial
    from pipeline.verify import Verified

STYLES: Final[dict[Status, str]] = {
    "hold": "bold red",
    "watch": "bold yellow",
    "unchecked": "bold magenta",
    "ready": "bold green",
}

FINDINGS_SHOWN: Final = 4
"""Findings listed under a boat, holds always; the rest are counted. `--json` and the dashboard give them all."""

WIDEST: Final = 100
"""Longer lines are hard to follow with the eye, however wide the terminal."""

_INDENT: Final = " " * 7


def morning_text(morning: Morning, width: int, changed: Sequence[Change] = ()) -> Text:
    """The ranked boats, each with its reasons and what to do; what the whole fleet did stands last.

    `changed` is what changed since the morning before; it stands under its boat.
    """
    width = min(width, WIDEST)
    text = Text()
    text.append(f"{morning.fleet}\n", "bold")
    text.append(telling.as_of_says(morning))
    text.append("   simulated data\n" if morning.simulated else "\n")
    text.append(textwrap.fill(answer(morning), width - 1) + "\n")
    text.append_text(_counts(morning))
    for place, line in enumerate(morning.boats):
        is_alone = bool(line.findings) or place == 0 or bool(morning.boats[place - 1].findings)
        text.append("\n" if is_alone else "")
        text.append_text(_boat(line, morning.as_of, width))
        for said in telling.remarks(line, morning.as_of, changed):
            text.append(_wrapped(said, width), "dim")
    if morning.fleet_findings:
        text.append("\nWhole fleet\n", "bold")
        text.append_text(_findings("", morning.fleet_findings, morning.as_of, width))
    text.append_text(_cautions(morning, width))
    return text


def ingest_line(result: IngestResult) -> str:
    """What an ingest did, in one line."""
    return (
        f"{wording.count(result.taken, 'log')} taken, {result.replaced} replaced, {result.known} known, "
        f"{len(result.refused)} refused in {result.seconds:.1f} s"
    )


def ingest_text(result: IngestResult) -> str:
    """What an ingest did, with every refusal."""
    refusals = [_place(each.file, each.line) + each.reason for each in result.refused]
    return "\n".join([ingest_line(result), *refusals])


def verified_text(found: Verified) -> str:
    """What was looked at, every fault, and which logs are nowhere else."""
    lines = [f"{wording.count(found.logs, 'log')} and {wording.count(found.samples, 'sample file')} looked at"]
    lines += [fault.sentence() for fault in found.faults]
    if found.waiting:
        new = wording.count(len(found.waiting), "file")
        lines.append(f"{new} of the inbox not read yet: the next ingest does")
    if found.only_in_store:
        gone = wording.count(len(found.only_in_store), "log")
        lines.append(f"{gone} no longer in the inbox, only in the store: morningwatch backup FILE --with-samples")
    return "\n".join([*lines, "" if found.faults else "all well"]).rstrip()


def proposal_text(proposal: Proposal, name: str = "new", trial: Trial | None = None) -> str:
    """A proposed channel map as TOML with its reasons and what the log gives by it, or why the log cannot be read."""
    shown = [] if trial is None else ["#", *(f"# {line}" for line in preview_lines(trial))]
    return "\n".join([problem.sentence() for problem in proposal.problems] or [proposal.toml(name).rstrip(), *shown])


def proposal_remarks(proposal: Proposal, register: Register | None, name: str) -> Iterator[str]:
    """What is left for a person to say, and the maps of the register that look alike."""
    for question in proposal.questions:
        answers = " or ".join(f"--set {shlex.quote(each)}" for each in question.answers)
        yield f"{question.text} {answers}".rstrip()
    for known, entries in ({} if register is None else register.channel_maps).items():
        found = {entry.column for entry in entries.values()} & {line.column for line in proposal.chosen}
        if found and known != name:
            yield f"channel map {known!r} of the register names {len(found)} of these columns already"


def proposal_document(proposal: Proposal, trial: Trial | None) -> dict[str, Any]:
    """A proposal and what the log gives by it, for JSON."""
    return proposal.document() | {"preview": None if trial is None else asdict(trial)}


def _place(file: str, line: int | None) -> str:
    return f"{file}: " if line is None else f"{file}, line {line}: "


def _counts(morning: Morning) -> Text:
    text = Text()
    for status, number in morning.counts().items():
        text.append(f"{wording.STATUS_SYMBOLS[status]} {number} {wording.STATUS_WORDS[status].lower()}", STYLES[status])
        text.append("   ")
    text.rstrip()
    text.append("\n")
    return text


def _boat(line: BoatLine, now: datetime, width: int) -> Text:
    text = Text(f"{line.rank:>3}  ")
    text.append(
        f"{wording.STATUS_SYMBOLS[line.status]} {wording.STATUS_WORDS[line.status].upper():<11}", STYLES[line.status]
    )
    text.append(line.name, "bold")
    text.append(f"  {', '.join(telling.about(line, now))}\n", "dim")
    shown = max(FINDINGS_SHOWN, sum(found.status == "hold" for found in line.findings))
    text.append_text(_findings(line.name, line.findings[:shown], now, width))
    if len(line.findings) > shown:
        text.append(f"{_INDENT}and {len(line.findings) - shown} more, in the dashboard or with --json\n", "dim")
    return text


def _findings(boat: str, findings: Sequence[Finding], now: datetime, width: int) -> Text:
    """Findings under one head; what to do is said once, however many findings ask for it."""
    text = Text()
    said: set[str] = set()
    for found in (telling.told(each, now, boat) for each in findings):
        text.append(f"     {wording.STATUS_SYMBOLS[found.status]} ", STYLES[found.status])
        if found.headline:
            text.append_text(_headed(found, width))
            text.append(_wrapped(found.reason, width))
        else:
            text.append(_wrapped(f"{found.place}: {found.reason}", width).lstrip())
        text.append(_wrapped("Do: as above." if found.do in said else f"Do: {found.do}", width))
        said.add(found.do)
    return text


def _headed(found: Told, width: int) -> Text:
    """Which engine, what it is, and how sure that is; the line begins behind the finding's symbol."""
    text = Text(_wrapped(f"{found.named}  {found.sure}".rstrip(), width).lstrip())
    text.stylize("bold", 0, len(found.named))
    return text


def _cautions(morning: Morning, width: int) -> Text:
    text = Text("\n")
    text.append("\n".join(textwrap.fill(each, width - 1) for each in telling.cautions(morning)), "dim")
    return text


def _wrapped(body: str, width: int) -> str:
    """A paragraph under a finding's symbol; lines after the first stand two further in, so the eye finds the next."""
    lines = textwrap.wrap(
        telling.unsplit(body), max(40, width - 1), initial_indent=_INDENT, subsequent_indent=f"{_INDENT}  "
    )
    return "\n".join(lines).replace("\N{NO-BREAK SPACE}", " ") + "\n"
