"""The sheet as one HTML page that needs nothing else: no script, no font, no picture from outside; for the printer."""

from __future__ import annotations

from collections.abc import Iterable
from importlib import resources
from typing import Final

from pipeline import telling, wording
from pipeline.markup import Html, join, tag
from pipeline.report.sheet import ADVICE, BOXES, Sheet, SheetBoat
from pipeline.states import Status
from pipeline.telling import Told

_SHAPES: Final[dict[Status, str]] = {
    "hold": '<rect x="1" y="1" width="10" height="10"/>',
    "watch": '<path d="M6 .5 11.7 11H.3z"/>',
    "unchecked": (
        '<path d="M3 4.2a3 2.9 0 1 1 4.6 2.4C6.4 7.3 6 7.6 6 8.5" fill="none" stroke="currentColor"'
        ' stroke-width="1.7"/>'
        '<circle cx="6" cy="10.8" r="1.1"/>'
    ),
    "ready": '<circle cx="6" cy="6" r="5"/>',
}
"""One shape a status, told apart without colour; drawn, so that no font has to hold them."""


def as_html(sheet: Sheet) -> str:
    """The whole page."""
    head = join(
        [
            Html('<meta charset="utf-8">'),
            Html('<meta name="viewport" content="width=device-width, initial-scale=1">'),
            tag("title", f"{sheet.fleet}: morning sheet, {sheet.as_of}"),
            tag("style", Html((resources.files("pipeline.report") / "page.css").read_text(encoding="utf-8"))),
        ]
    )
    body = tag("main", _head(sheet), _boats(sheet), _fleet(sheet), _cautions(sheet), _signed())
    return f"<!doctype html>\n{tag('html', tag('head', head), tag('body', body), lang='en-GB')}\n"


def _head(sheet: Sheet) -> Html:
    simulated = tag("strong", "simulated data", class_="simulated") if sheet.simulated else None
    return tag(
        "header",
        tag("div", tag("h1", sheet.fleet), tag("p", tag("b", sheet.as_of), simulated), class_="about"),
        tag("p", sheet.answer, class_="answer"),
        tag(
            "div",
            tag("p", *(_count(status, number) for status, number in sheet.counts), class_="counts"),
            tag("p", sheet.newest_log),
            class_="numbers",
        ),
        *(tag("p", problem, class_="problem") for problem in sheet.problems),
    )


def _count(status: Status, number: int) -> Html:
    return tag("span", symbol(status), f"{number} {wording.STATUS_WORDS[status].lower()}", class_=status)


def _boats(sheet: Sheet) -> Html:
    long = [_boat(boat) for boat in sheet.boats if not boat.is_short]
    short = [_short(boat) for boat in sheet.boats if boat.is_short]
    said = f"What the {'simulated ' if sheet.simulated else ''}logs say"
    heads = (("who", tag("h2", "Boats in order")), ("what", said), ("do", "Do"))
    head = tag("thead", tag("tr", *(tag("th", said, scope="col", class_=column) for column, said in heads)))
    return tag(
        "section",
        tag("table", head, *long, class_="boats") if long else tag("h2", "Boats in order"),
        tag("div", *short, class_="short") if short else None,
    )


def _boat(boat: SheetBoat) -> Html:
    """A boat as a part of the table, a row a finding; its name stands beside all of them."""
    rows = [_cells(found) for found in boat.gathered] or [tag("td", colspan="2")]
    rows += [tag("td", said, class_="quiet", colspan="2") for said in boat.remarks]
    who = tag("th", _name(boat), _about(boat), _boxes(BOXES), scope="rowgroup", rowspan=str(len(rows)))
    lines = [tag("tr", who if place == 0 else None, cells) for place, cells in enumerate(rows)]
    return tag("tbody", *lines, class_=boat.status if boat.is_kept else f"{boat.status} long")


def _short(boat: SheetBoat) -> Html:
    """A boat with nothing to say against it: a tick is all it takes."""
    said = [tag("p", each, class_="quiet") for each in boat.remarks]
    return tag("article", _name(boat), _about(boat), _boxes(BOXES[1:]), *said, class_=boat.status)


def _name(boat: SheetBoat) -> Html:
    word = tag("span", symbol(boat.status), wording.STATUS_WORDS[boat.status].upper(), class_="state")
    return tag("h3", tag("span", f"{boat.rank} ", class_="rank"), word, " ", tag("span", boat.name, class_="name"))


def _about(boat: SheetBoat) -> Html:
    parts = [tag("span", each, class_="part") for each in boat.about]
    return tag("p", join(parts[:1]), *(join([", ", each]) for each in parts[1:]), class_="quiet")


def _boxes(boxes: Iterable[str]) -> Html:
    ticks = [tag("span", tag("i", class_="box"), f" {box}", class_="tick") for box in boxes]
    return tag("div", *ticks, tag("span", " by ", tag("i", class_="rule"), class_="by"), class_="boxes")


def _cells(found: Told) -> Html:
    do = tag("td", tag("b", "Do: ", class_="label"), found.do, class_="do")
    return join([tag("td", _reason(found)), do])


def _reason(found: Told) -> Html:
    """What it is and how sure, then the numbers; the engine alone where there is no cause."""
    named = found.named if found.headline else found.place
    apart = f"{f' {found.sure}' if found.sure else ''}. " if found.headline else ": "
    return tag(
        "p",
        symbol(found.status, wording.STATUS_WORDS[found.status]),
        tag("b", named) if named else None,
        apart if named else None,
        telling.unsplit(found.reason),
        class_=found.status,
    )


def _fleet(sheet: Sheet) -> Html | None:
    """What the whole fleet did: no boat's, so nothing to tick."""
    if not sheet.fleet_findings:
        return None
    told = [
        tag("div", _reason(found), " ", tag("p", tag("b", "Do: "), found.do, " ")) for found in sheet.fleet_findings
    ]
    return tag("section", tag("h2", "Whole fleet "), *told, class_="fleet")


def _cautions(sheet: Sheet) -> Html:
    return tag(
        "section",
        tag("h2", "Before you run an engine"),
        tag("ul", *(tag("li", caution) for caution in sheet.cautions)),
        class_="cautions",
    )


def _signed() -> Html:
    places = [
        tag("span", f"{label} ", tag("i", class_="rule"), class_="tick") for label in ("Name", "Time", "Signature")
    ]
    return tag("footer", tag("p", ADVICE, class_="quiet"), *places)


def symbol(status: Status, word: str | None = None) -> Html:
    """A status as its shape. With a `word` it stands alone and says it; without, the word stands beside it."""
    told = f'role="img" aria-label="{word}"' if word else 'aria-hidden="true"'
    return Html(f'<svg class="symbol" viewBox="0 0 12 12" {told}>{_SHAPES[status]}</svg>')
