"""Markup of the screens: elements that escape what they hold, and text for labels that are read as Markdown."""

from __future__ import annotations

from typing import Final

from pipeline.markup import Html, join, tag

__all__ = ["Html", "join", "plain", "tag"]

_ESCAPED: Final = {mark: f"\\{mark}" for mark in "\\`*_{}[]()#+-.!|~$<>&^=\"'"}
_PARTED: Final = {":": ":\u2060"}
"""No escape keeps `:name:` from being an icon, so an invisible joiner parts it."""

_MARKS: Final = str.maketrans(_ESCAPED | _PARTED)


def plain(text: str) -> str:
    """Text for a label that Streamlit reads as Markdown, so that nothing in it is taken for a mark."""
    return " ".join(text.split()).translate(_MARKS)
