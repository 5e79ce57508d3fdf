"""A morning told: the pieces of sentence that list, sheet and screen set each in its own way, the same words in all.

Nothing here breaks lines, draws or escapes; that is left to whoever shows it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from pipeline import wording
from pipeline.causes import CAUSES
from pipeline.changes import Change
from pipeline.findings import Finding
from pipeline.morning import Morning
from pipeline.ranking import BoatLine
from pipeline.states import Status

NOTES_SHOWN: Final = timedelta(days=7)
"""How long it is told what came of a note."""


@dataclass(frozen=True)
class Told:
    """One finding in words. `place` is the engine; '' for the whole fleet's.

    `headline` is the cause and `sure` how sure it is; both are '' where it is only something not known. `short` is the
    deciding number against its limit (else what was seen), `body` the sentences of the whole reason, `do` what to do.
    """

    status: Status
    place: str
    headline: str
    sure: str
    short: str
    body: tuple[str, ...]
    do: str

    @property
    def named(self) -> str:
        """Where and what it is."""
        return ": ".join(part for part in (self.place, self.headline) if part)

    @property
    def reason(self) -> str:
        """The whole reason, the headline left out."""
        return " ".join(self.body)


def told(found: Finding, now: datetime, boat: str = "", last_log: datetime | None = None) -> Told:
    """A finding in words; `boat` is the boat's name, said where no engine is named.

    Where the age of the `last_log` is said beside it, a reading's own age is told only if it is a day older than that.
    """
    return Told(
        status=found.status,
        place=found.engine or boat,
        headline=wording.headline(found),
        sure=wording.lower_first(wording.certainty(found)).rstrip("."),
        short=found.short or named_apart(found).rstrip("."),
        body=tuple(part for part in _body(found, now, last_log) if part),
        do=found.do,
    )


def about(line: BoatLine, now: datetime) -> tuple[str, ...]:
    """When a boat leaves, if that is planned, and how old its newest log is."""
    leaves = wording.departs_says(line.departs, now) if line.departs else None
    return tuple(each for each in (leaves, wording.last_log_says(line.last_log, now)) if each)


def remarks(line: BoatLine, now: datetime, changed: Sequence[Change]) -> Iterator[str]:
    """What changed, what the logs cannot show, and what came of late notes that no finding speaks of."""
    turned = turns([each for each in changed if each.boat == line.boat])
    if turned:
        yield f"Since the morning before: {'; '.join(turned)}."
    not_logged = sorted({each for engine in line.engines for each in engine.not_logged})
    if not_logged:
        yield f"Not logged: {', '.join(not_logged)}."
    said_already = {found.after_note for found in line.findings}
    for each in line.notes:
        said = wording.aftermath_says(each)
        if now - each.note.at <= NOTES_SHOWN and said not in said_already:
            yield f"{each.note.engine or line.name}: {said}"


def named_apart(found: Finding) -> str:
    """What the finding says without its headline, which stands apart."""
    return found.says.removeprefix(f"{wording.headline(found)}. ")


def turns(changed: Sequence[Change]) -> tuple[str, ...]:
    """What changed on one boat, a phrase a thing; engines of which the same is said are named together."""
    engines: dict[str, list[str]] = {}
    for each in changed:
        engines.setdefault(_turn_says(each), []).append(each.engine or "boat")
    return tuple(f"{wording.listing(names)}: {said}" for said, names in engines.items())


def gathered(said: Sequence[Told]) -> tuple[Told, ...]:
    """The same with each thing that is not known said once, all its engines named before it."""
    places: dict[Told, list[str]] = {}
    for each in said:
        alike = each if each.headline else replace(each, place="")
        places.setdefault(alike, []).append(each.place)
    return tuple(replace(each, place=wording.listing(names)) for each, names in places.items())


def cautions(morning: Morning) -> tuple[str, ...]:
    """The tool's own caution always; those of running an engine wherever a finding suggests that."""
    shown = [*morning.fleet_findings, *(found for line in morning.boats for found in line.findings)]
    return wording.CAUTIONS if any(found.cautions for found in shown) else wording.CAUTIONS[-1:]


def as_of_says(morning: Morning) -> str:
    """The moment of the morning in the fleet's zone."""
    return f"{morning.as_of:%a} {morning.as_of.day} {morning.as_of:%b %Y %H:%M %Z}"


def newest_log_says(morning: Morning) -> str:
    """How old the newest log of the whole fleet is."""
    newest = max((line.last_log for line in morning.boats if line.last_log), default=None)
    return f"Newest log of the fleet: {wording.age(newest, morning.as_of) if newest else 'none'}."


def unsplit(text: str) -> str:
    """The text with no-break spaces between each number and its unit."""
    return _UNSPLIT.sub("\N{NO-BREAK SPACE}", text)


_UNSPLIT: Final = re.compile(
    r"(?<=\d) (?=(?:%|°C|V|kPa|rpm|s|h|min|runs?|days?|windows?|shifts?)\b|%)|(?<=[hns]) (?=ago\b)"
)
"""The gap between a number and its unit: no line ends there."""


def _body(found: Finding, now: datetime, last_log: datetime | None) -> Iterator[str]:
    """The numbers, how they came about, where they lead and how old they are."""
    yield named_apart(found)
    yield wording.outlook(found)
    yield found.after_note or ""
    yield wording.deferral_says(found, now.tzinfo)
    is_said = found.latest_at and last_log and last_log - found.latest_at < timedelta(days=1)
    if found.latest_at and not is_said and found.value is not None and found.indicator != "evidence":
        yield f"Newest reading {wording.age(found.latest_at, now)}."


def _turn_says(found: Change) -> str:
    if found.what == "evidence":
        return "known now (was unchecked)" if found.turn == "gone" else "not known now (unchecked)"
    what = CAUSES[found.what].title if found.what in CAUSES else found.what.replace("_", " ")
    turned = {"new": f"new, {found.now}", "gone": f"gone, was {found.before}"}
    return f"{what} ({turned.get(found.turn, f'{found.turn}, {found.before} to {found.now}')})"
