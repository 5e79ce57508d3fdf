"""The answers of the command line as text: a list a tired person can read, symbol and word and reason.

Colour is only a third cue; rich leaves it out where NO_COLOR is set or nobody looks at a terminal.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from datetime import datetime
from typing import Final

from rich.text import Text

from pipeline import wording
from pipeline.columns import Proposal
from pipeline.findings import Finding
from pipeline.ingest import IngestResult
from pipeline.morning import Morning
from pipeline.ranking import BoatLine
from pipeline.states import Status

STYLES: Final[dict[Status, str]] = {
    "hold": "bold red",
    "watch": "bold yellow",
    "unchecked": "bold magenta",
    "ready": "bold green",
}

FINDINGS_SHOWN: Final = 4
"""Findings listed under a boat; the rest are counted. `--json` and the dashboard give them all."""


def morning_text(morning: Morning, width: int) -> Text:
    """The ranked boats, each with its reasons and what to do."""
    text = Text()
    simulated = "  SIMULATED DATA" if morning.simulated else ""
    text.append(f"{morning.fleet}, as of {morning.as_of:%a %d %b %Y %H:%M %Z}{simulated}\n", "bold")
    text.append(f"{_counts(morning)}\n\n")
    for found in morning.fleet_findings:
        text.append_text(_finding_lines("whole fleet", found, morning.as_of, width))
    for line in morning.boats:
        text.append_text(_boat(line, morning.as_of, width))
    text.append(f"\n{wording.CAUTIONS[-1]}", "dim")
    return text


def ingest_line(result: IngestResult) -> str:
    """What an ingest did, in one line."""
    return (
        f"{result.taken} logs taken, {result.replaced} replaced, {result.known} known, "
        f"{len(result.refused)} refused in {result.seconds:.1f} s"
    )


def ingest_text(result: IngestResult) -> str:
    """What an ingest did, with every refusal."""
    refusals = [_place(each.file, each.line) + each.reason for each in result.refused]
    return "\n".join([ingest_line(result), *refusals])


def proposal_text(proposal: Proposal) -> str:
    """A proposed channel map as TOML with its reasons, or why the log cannot be read."""
    return "\n".join([problem.sentence() for problem in proposal.problems] or [proposal.toml().rstrip()])


def _place(file: str, line: int | None) -> str:
    return f"{file}: " if line is None else f"{file}, line {line}: "


def _counts(morning: Morning) -> str:
    return ", ".join(f"{number} {wording.STATUS_WORDS[status].lower()}" for status, number in morning.counts().items())


def _boat(line: BoatLine, now: datetime, width: int) -> Text:
    text = Text()
    text.append(f"{line.rank:>3}  ")
    text.append(
        f"{wording.STATUS_SYMBOLS[line.status]} {wording.STATUS_WORDS[line.status].upper():<10}", STYLES[line.status]
    )
    text.append(f"{line.name}", "bold")
    text.append(f"  {', '.join(_about(line, now))}\n", "dim")
    for found in line.findings[:FINDINGS_SHOWN]:
        text.append_text(_finding_lines(found.engine or line.name, found, now, width))
    if len(line.findings) > FINDINGS_SHOWN:
        text.append(f"{_INDENT}and {len(line.findings) - FINDINGS_SHOWN} more\n", "dim")
    return text


def _about(line: BoatLine, now: datetime) -> Iterator[str]:
    if line.departs:
        yield (
            f"departs {line.departs:%H:%M}" if line.departs.date() == now.date() else f"departs {line.departs:%a %H:%M}"
        )
    yield f"last log {wording.age(line.last_log, now)}" if line.last_log else "no log"
    not_logged = sorted({each for engine in line.engines for each in engine.not_logged})
    if not_logged:
        yield f"not logged: {', '.join(not_logged)}"


_INDENT: Final = " " * 7


def _finding_lines(place: str, found: Finding, now: datetime, width: int) -> Text:
    seen = (
        f" Newest reading {wording.age(found.latest_at, now)}." if found.latest_at and found.value is not None else ""
    )
    text = Text()
    text.append(f"     {wording.STATUS_SYMBOLS[found.status]} ", STYLES[found.status])
    text.append(_wrapped("", f"{place}: ", found.says + seen, width))
    text.append(_wrapped(_INDENT, "Do: ", found.do, width), "dim")
    return text


def _wrapped(first: str, head: str, body: str, width: int) -> str:
    """A paragraph hung under its head, so that the eye can skip from head to head."""
    lines = textwrap.wrap(f"{head}{body}", max(40, width - len(_INDENT) - 1), subsequent_indent="  ")
    return first + f"\n{_INDENT}".join(lines) + "\n"
