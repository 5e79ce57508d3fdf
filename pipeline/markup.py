"""Small pieces of HTML that cannot carry anybody else's: text is escaped unless it was made here."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape


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
