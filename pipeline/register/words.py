"""The known word nearest to a wrong one, for messages that end with the way out."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

_LIKE_ENOUGH: Final = 0.5
"""Similarity (0 to 1, `difflib`) from which a word is offered: common practice, no published source."""

_FEW: Final = 60
"""So many known words are still listed in full."""


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like `word`, upper and lower case being alike; None where none comes near."""
    by_folded = {candidate.casefold(): candidate for candidate in known}
    found = difflib.get_close_matches(word.casefold(), by_folded, n=1, cutoff=_LIKE_ENOUGH)
    return by_folded[found[0]] if found else None


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """The way out of a wrong word: the nearest known one where any comes near, and all of them where they are few."""
    choices = list(known)
    like = nearest(word, choices)
    offer = f"Did you mean {like}?" if like else ""
    listed = f"Known: {', '.join(choices)}." if 0 < len(choices) <= _FEW else ""
    return f"{offer} {listed}".strip() or ("None is known yet." if not choices else "No known name is like it.")
