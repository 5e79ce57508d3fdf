"""What a visit to a screen finds: everything that the tests of access and safety judge, gathered in one go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

SCREENS = ("morning", "boat", "engine", "season", "trace", "logs", "logbook", "method")
WIDTHS = (1440, 1024, 390)

NOT_LOOKED_AT = {
    "exclude": [
        [".role-mark:empty"],  # Vega leaves an empty group for a layer in which there is nothing to draw
        ["[class*='_brush']"],  # and for a brush while no stretch is drawn with it
    ]
}
"""What axe leaves out, by selector."""

_FITS = (
    "(() => { const main = document.querySelector('[data-testid=stMain]'); return main.scrollWidth <= innerWidth })()"
)
_HEADINGS = "[...document.querySelectorAll('h1,h2,h3,h4,h5,h6')].map(each => [each.tagName, each.innerText])"
_HARM = """({
    taken: document.body.dataset.taken ?? null,
    images: document.querySelectorAll('img[src="x"], [onerror], [onload]').length,
    links: document.querySelectorAll('a[href^="javascript:" i]').length,
    scripts: document.querySelectorAll('[data-testid=stMain] script').length,
})"""


@dataclass(frozen=True)
class Visit:
    """One screen as it was found. `wrong` are axe's serious and critical violations, light and dark, as text."""

    asked: list[str]
    errors: list[str]
    title: str
    lang: str
    headings: list[tuple[str, str]]
    text: str
    harm: dict[str, Any]
    wrong: list[str]
    wide: list[int]


def visit(page: Any, axe: Any) -> Visit:
    """Look at an open page from all sides, then close it."""
    text = page.locator("[data-testid=stMain]").inner_text()
    wrong = _violations(page, axe, {"resultTypes": ["violations"]})
    page.emulate_media(color_scheme="dark")
    page.wait_for_function("getComputedStyle(document.querySelector('.stApp')).colorScheme.includes('dark')")
    wrong += _violations(page, axe, {"runOnly": ["color-contrast"], "resultTypes": ["violations"]})
    found = Visit(
        asked=page.asked,
        errors=page.errors,
        title=page.title(),
        lang=page.evaluate("document.documentElement.lang"),
        headings=[(name, said) for name, said in page.evaluate(_HEADINGS)],
        text=text,
        harm=page.evaluate(_HARM),
        wrong=wrong,
        wide=[width for width in WIDTHS if not _fits(page, width)],
    )
    page.context.close()
    return found


def _violations(page: Any, axe: Any, options: dict[str, Any]) -> list[str]:
    found = axe.run(page, context=NOT_LOOKED_AT, options=options).response["violations"]
    return [
        f"{each['id']}: {node['target'][0]} {node['html'][:200]}"
        for each in found
        if each["impact"] in {"serious", "critical"}
        for node in each["nodes"]
    ]


def _fits(page: Any, width: int) -> bool:
    """Whether nothing sticks out sideways, once the screen has settled at that width."""
    page.set_viewport_size({"width": width, "height": 900})
    try:
        page.wait_for_function(_FITS, timeout=5_000)
    except Exception:  # noqa: BLE001 - a time-out is the answer
        return False
    return True
