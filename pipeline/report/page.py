"""The sheet as one HTML page that needs nothing else: no script, no font, no picture from outside; for the printer."""

from __future__ import annotations

from collections.abc import Iterable
from importlib import resources
from typing import Final

from pipeline import wording
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
    return tag(
        "header",
        tag("h1", sheet.fleet),
        tag(
            "p",
            tag("b", sheet.as_of),
            tag("span", sheet.newest_log),
            tag("strong", "simulated data", class_="simulated") if sheet.simulated else None,
            class_="about",
        ),
        tag("p", sheet.answer, class_="answer"),
        tag("p", *(_count(status, number) for status, number in sheet.counts), class_="counts"),
        *(tag("p", problem, class_="problem") for problem in sheet.problems),
    )


def _count(status: Status, number: int) -> Html:
    return tag("span", symbol(status), f" {number} {wording.STATUS_WORDS[status].lower()}", class_=status)


def _boats(sheet: Sheet) -> Html:
    long = [_boat(boat) for boat in sheet.boats if not boat.is_short]
    short = [_short(boat) for boat in sheet.boats if boat.is_short]
    return tag("section", tag("h2", "Boats in order"), *long, tag("div", *short, class_="short") if short else None)


def _boat(boat: SheetBoat) -> Html:
    return tag(
        "article",
        tag("div", _name(boat), tag("span", ", ".join(boat.about), class_="quiet"), _boxes(BOXES), class_="line"),
        *map(_finding, boat.findings),
        *_remarks(boat.remarks),
        class_=boat.status,
    )


def _short(boat: SheetBoat) -> Html:
    """A boat with nothing to say against it: a tick is all it takes."""
    return tag(
        "article",
        _name(boat),
        tag("div", tag("span", ", ".join(boat.about), class_="quiet"), _boxes(BOXES[1:]), class_="line"),
        *_remarks(boat.remarks),
        class_=boat.status,
    )


def _name(boat: SheetBoat) -> Html:
    word = tag("span", symbol(boat.status), f" {wording.STATUS_WORDS[boat.status].upper()}", class_="state")
    return tag("h3", tag("span", f"{boat.rank} ", class_="rank"), word, " ", tag("span", boat.name, class_="name"))


def _boxes(boxes: Iterable[str]) -> Html:
    ticks = [tag("span", tag("i", class_="box"), f" {box}", class_="tick") for box in boxes]
    return tag("span", *ticks, tag("span", " by ", tag("i", class_="rule"), class_="tick"), class_="boxes")


def _finding(found: Told) -> Html:
    return tag(
        "div",
        tag(
            "p",
            symbol(found.status, wording.STATUS_WORDS[found.status]),
            " ",
            tag("b", found.named),
            f"  {found.sure}" if found.sure else None,
        )
        if found.headline
        else None,
        tag(
            "p",
            None if found.headline else symbol(found.status, wording.STATUS_WORDS[found.status]),
            None if found.headline else " ",
            tag("b", f"{found.place}: ") if found.place and not found.headline else None,
            found.reason,
        ),
        tag("p", tag("b", "Do: "), found.do),
        class_=f"finding {found.status}",
    )


def _remarks(remarks: Iterable[str]) -> list[Html]:
    return [tag("p", said, class_="quiet") for said in remarks]


def _fleet(sheet: Sheet) -> Html | None:
    if not sheet.fleet_findings:
        return None
    return tag(
        "section", tag("h2", "Whole fleet"), tag("article", *map(_finding, sheet.fleet_findings), class_="watch")
    )


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
    return tag("footer", tag("p", *places, class_="signed"), tag("p", ADVICE, class_="quiet"))


def symbol(status: Status, word: str | None = None) -> Html:
    """A status as its shape. With a `word` it stands alone and says it; without, the word stands beside it."""
    told = f'role="img" aria-label="{word}"' if word else 'aria-hidden="true"'
    return Html(f'<svg class="symbol" viewBox="0 0 12 12" {told}>{_SHAPES[status]}</svg>')
