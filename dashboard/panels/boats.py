"""Parts of the Morning screen: boats with what was found on them, boats that are ready, and every engine side by side.

A boat is one piece of markup with plain links in it, so that a screen of two hundred stays light.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Final

from dashboard import parts
from dashboard.charts import marks
from dashboard.markup import Html, join, tag
from pipeline import telling, wording
from pipeline.changes import Change
from pipeline.findings import Finding
from pipeline.morning import Morning
from pipeline.ranking import BoatLine, EngineLine
from pipeline.states import Status
from pipeline.telling import Told

Rows = Mapping[str, Mapping[marks.Column, marks.Mark]]

FINDINGS_SHOWN: Final = 4
"""Findings that stand open on a boat, holds always; the others are folded behind their count."""

NEXT_SHOWN: Final = 8
"""Departures that stand open, so that the boats that stay in are not far below."""

READY_OPEN: Final = 24
"""Ready boats up to which their list stands open."""


def next_out(leaving: Sequence[BoatLine]) -> Html:
    """The next departures, each with its boat's status; of many, the later ones are folded."""
    if not leaving:
        return tag(
            "div", tag("span", "No departure is planned for the rest of the day.", class_="mw-quiet"), class_="mw-next"
        )
    shown, later = leaving[:NEXT_SHOWN], leaving[NEXT_SHOWN:]
    folded = tag("details", tag("summary", f"and {len(later)} later"), *map(_leaving, later)) if later else None
    return tag("div", tag("b", "Next out"), *map(_leaving, shown), folded, class_="mw-next")


def of_status(status: Status, morning: Morning, rows: Rows) -> Html | None:
    """The boats of one status that ask for something, under their heading; None where there is none."""
    lines = [line for line in morning.boats if line.status == status]
    if not lines:
        return None
    word = wording.STATUS_WORDS[status]
    title = tag(
        "h2", f"{word} ", tag("span", wording.STATUS_MEANINGS[status], class_="mw-quiet"), class_="mw-group-head"
    )
    return tag("section", title, *(_boat(line, morning.as_of, rows) for line in lines), class_=f"mw-boats mw-{status}")


def ready(morning: Morning) -> Html | None:
    """The ready boats, a line each; None where there is none."""
    lines = [line for line in morning.boats if line.status == "ready"]
    if not lines:
        return None
    title = tag(
        "h2", "Ready ", tag("span", wording.STATUS_MEANINGS["ready"], class_="mw-quiet"), class_="mw-group-head"
    )
    listed = tag("ul", *(_ready(line, morning.as_of) for line in lines), class_="mw-readies")
    if len(lines) > READY_OPEN:
        listed = tag("details", tag("summary", wording.count(len(lines), "boat")), listed)
    return tag("section", title, listed, class_="mw-boats mw-ready")


def whole_fleet(morning: Morning) -> Html | None:
    """What moved on most engines at once; None where nothing did."""
    if not morning.fleet_findings:
        return None
    told = [telling.told(found, morning.as_of) for found in morning.fleet_findings]
    listed = tag("ul", *(_found(each, tag("b", each.headline), None) for each in told), class_="mw-founds")
    return tag(
        "section",
        _title("Whole fleet", "no engine's own"),
        tag("article", listed, class_="mw-boat"),
        class_="mw-boats mw-watch",
    )


def side_by_side(lines: Iterable[BoatLine], columns: Sequence[marks.Group], rows: Rows) -> Html:
    """Every engine of these boats, a line each, all numbers in their columns."""
    drawn = [
        marks.row(_who(line, engine), columns, rows.get(f"{line.boat}/{engine.engine}", {}), engine.status)
        for line in lines
        for engine in line.engines
    ]
    return tag("div", marks.heading(columns), *drawn, class_="mw-marks")


def turned(changes: Sequence[Change], morning: Morning) -> Html:
    """What changed since the morning before, boat by boat."""
    listed = [
        tag("li", tag("b", line.name), f" {said}")
        for line in morning.boats
        for said in telling.turns([each for each in changes if each.boat == line.boat])
    ]
    return tag("ul", *listed)


def _leaving(line: BoatLine) -> Html:
    return tag(
        "span",
        tag("b", f"{line.departs:%H:%M}"),
        f" {line.name} ",
        parts.badge(line.status, small=True),
        class_="mw-out",
    )


def _title(word: str, meaning: str) -> Html:
    return tag("h2", f"{word} ", tag("span", meaning, class_="mw-quiet"), class_="mw-group-head")


def _boat(line: BoatLine, now: datetime, rows: Rows) -> Html:
    open_ones = max(FINDINGS_SHOWN, sum(found.status == "hold" for found in line.findings))
    founds = [_finding(found, line, now, rows) for found in line.findings]
    folded = founds[open_ones:]
    more = tag("summary", f"and {len(folded)} more")
    return tag(
        "article",
        tag("div", _head(line), *_about(line, now), class_="mw-whose-boat mw-quiet"),
        tag(
            "div",
            tag("ul", *founds[:open_ones], class_="mw-founds"),
            tag("details", more, tag("ul", *folded, class_="mw-founds")) if folded else None,
            *(tag("p", said, class_="mw-quiet") for said in telling.remarks(line, now, ())),
        ),
        class_=f"mw-boat mw-{line.status}",
    )


def _head(line: BoatLine) -> Html:
    return tag("h3", parts.badge(line.status), " ", parts.anchor("boat", line.name, boat=line.boat))


def _about(line: BoatLine, now: datetime) -> Iterator[str]:
    leaves = parts.departure(line.departs, now)
    if leaves:
        yield tag("b", leaves, class_="mw-leaves")
    yield tag("span", wording.last_log_says(line.last_log, now))


def _finding(found: Finding, line: BoatLine, now: datetime, rows: Rows) -> Html:
    told = telling.told(found, now, line.name)
    drawn = rows.get(f"{line.boat}/{found.engine}", {}).get((found.indicator, found.facet or ""))
    place = parts.anchor("engine", told.place, boat=line.boat, engine=found.engine) if found.engine else told.place
    name = join([place, ": ", tag("b", told.headline or told.short)])
    return _found(told, name, marks.cell(drawn) if drawn else None)


def _found(told: Told, name: Html, drawn: Html | None) -> Html:
    """A finding at arm's length: what it is, the deciding number, what to do; the whole reason on demand."""
    is_more = told.reason.rstrip(".") != told.short
    sure = f"  {telling.unsplit(told.sure)}" if told.sure else None
    return tag(
        "li",
        tag("div", drawn, class_="mw-found-mark"),
        tag(
            "div",
            tag("p", _symbol(told.status), name, sure, class_="mw-found-head"),
            tag("p", telling.unsplit(told.short), class_="mw-short") if told.headline else None,
            tag("details", tag("summary", "Whole reason"), tag("p", told.reason)) if is_more else None,
        ),
        tag("p", tag("b", "Do: "), told.do, class_="mw-found-do"),
        class_=f"mw-found mw-{told.status}",
    )


def _ready(line: BoatLine, now: datetime) -> Html:
    engines = [parts.anchor("engine", engine.engine, boat=line.boat, engine=engine.engine) for engine in line.engines]
    return tag(
        "li",
        tag("h3", _symbol("ready", aloud=False), parts.anchor("boat", line.name, boat=line.boat)),
        tag("b", parts.departure(line.departs, now), class_="mw-leaves"),
        tag("span", wording.last_log_says(line.last_log, now), class_="mw-quiet"),
        tag("span", *(piece for each in engines for piece in (each, " ")), class_="mw-engine-links"),
        tag("span", " ".join(telling.remarks(line, now, ())), class_="mw-quiet"),
    )


def _symbol(status: Status, *, aloud: bool = True) -> Html:
    """A status as its shape; said aloud unless its word stands beside it."""
    word = wording.STATUS_WORDS[status]
    said = {"role": "img", "aria_label": word} if aloud else {"aria_hidden": "true"}
    return tag("span", wording.STATUS_SYMBOLS[status], class_=f"mw-symbol mw-{status}", **said)


def _who(line: BoatLine, engine: EngineLine) -> Html:
    hours = f" {engine.hours:.0f} h" if engine.hours is not None else " no hours"
    name = parts.anchor("engine", f"{line.name}, {engine.engine}", boat=line.boat, engine=engine.engine)
    return join([_symbol(engine.status), name, tag("span", hours, class_="mw-quiet")])
