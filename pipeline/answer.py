"""The first question of the day in words: which boats may leave, which with care, which stay, which are not known."""

from __future__ import annotations

from typing import Final

from pipeline.morning import Morning
from pipeline.ranking import BoatLine
from pipeline.states import Status

ORDER: Final[tuple[Status, ...]] = ("ready", "watch", "hold", "unchecked")
"""From those that may go to those that nobody knows about: the order in which it is asked."""


def answer(morning: Morning) -> str:
    """Which boats can go, in one or two sentences; unknown is never counted as ready."""
    counts = morning.counts()
    total = len(morning.boats)
    if not total:
        return "There are no boats in the register."
    may_go = counts["ready"] + counts["watch"]
    said = [_may_go(may_go, counts["watch"], _without_fresh_log(morning), total)]
    if counts["hold"]:
        said.append(f"{_so_many(counts['hold'], total)} {'stays' if counts['hold'] == 1 else 'stay'} in until seen to.")
    if counts["unchecked"]:
        said.append(f"{_so_many(counts['unchecked'], total)} {'is' if counts['unchecked'] == 1 else 'are'} not known.")
    return " ".join(said)


def _so_many(n: int, total: int) -> str:
    """A part of the fleet as the subject of a sentence; a boat alone needs no number."""
    return "It" if total == 1 else str(n)


def names(morning: Morning, status: Status) -> tuple[str, ...]:
    """The boats of one status by name, the most pressing first."""
    return tuple(line.name for line in morning.boats if line.status == status)


def next_out(morning: Morning) -> tuple[BoatLine, ...]:
    """The boats that leave today, the earliest first."""
    leaving = [line for line in morning.boats if line.departs and line.departs.date() == morning.as_of.date()]
    return tuple(sorted(leaving, key=lambda line: (line.departs is None, line.departs, line.boat)))


def _without_fresh_log(morning: Morning) -> int:
    """How many boats that may go have an engine whose newest log is too old to count."""
    watched = (line for line in morning.boats if line.status == "watch")
    return sum(any((each.indicator, each.facet) == ("evidence", "age") for each in line.findings) for line in watched)


def _may_go(may_go: int, watched: int, silent: int, total: int) -> str:
    if not may_go:
        return f"None of the {total} boats may go." if total > 1 else "The boat may not go."
    who = f"{may_go} of {total} boats may go" if total > 1 else "The boat may go"
    if not watched:
        return f"{who}."
    look = "with a look first" if watched == may_go else f"{watched} of them with a look first"
    unknown = "" if not silent else "; without a fresh log" if total == 1 else f"; {silent} of them without a fresh log"
    return f"{who}, {look}{unknown}."
