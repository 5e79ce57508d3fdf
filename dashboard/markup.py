"""Small pieces of HTML that cannot carry anybody else's: text is escaped unless it was made here."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Final


class Html(str):
    """Markup made by `tag`; everything that is a plain `str` is text and gets escaped."""

    __slots__ = ()


def tag(name: str, *inside: str | None, **attributes: str | None) -> Html:
    """An element. Plain text inside is escaped, None is left out.

    An attribute of value None is left out; a trailing underscore is dropped and others become hyphens, so `class_` and
    `aria_label` can be written.
    """
    given = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    return Html(f"<{name}{given}>{join(inside)}</{name}>")


def join(parts: Iterable[str | None]) -> Html:
    """Several pieces one after the other; plain text is escaped, None is left out."""
    return Html("".join(part if isinstance(part, Html) else escape(part) for part in parts if part is not None))


_ESCAPED: Final = {mark: f"\\{mark}" for mark in "\\`*_{}[]()#+-.!|~$<>&^=\"'"}
_PARTED: Final = {":": ":\u2060"}
"""No escape keeps `:name:` from being an icon, so an invisible joiner parts it."""

_MARKS: Final = str.maketrans(_ESCAPED | _PARTED)


def plain(text: str) -> str:
    """Text for a label that Streamlit reads as Markdown, so that nothing in it is taken for a mark."""
    return " ".join(text.split()).translate(_MARKS)
