"""What a column's name says: how much it is like a channel's names, or that it names something else."""

from __future__ import annotations

import difflib
import re
import unicodedata
from functools import cache
from typing import TYPE_CHECKING, Final

from pipeline.channel_words import CONTRARY, FOREIGN, NAMES, OTHER_WORDS, SAME_WORD, TIME_NAMES

if TYPE_CHECKING:
    from collections.abc import Iterable

LIKE_ENOUGH: Final = 0.5
"""Names with less in common say nothing for a channel."""

CONTRADICTS: Final = -8.0
"""Evidence of a name with a word that makes it another quantity."""
NAMES_OTHER: Final = -4.0
"""Evidence of a name whose words are known, none of them the channel's."""
_WEIGHTS: Final = ((0.95, 6.0), (0.8, 4.5), (0.65, 3.0), (LIKE_ENOUGH, 1.5))
"""Evidence of a likeness from there on, in natural units of log odds."""


def name_evidence(channel: str, name: str) -> tuple[float, str]:
    """Log odds that a name speaks for a channel, with what was seen in it; 0 where the name says nothing."""
    words = words_of(name)
    if words & CONTRARY.get(channel, frozenset()):
        return CONTRADICTS, ""
    likeness = max((_likeness(words, words_of(known)) for known in (*NAMES[channel], channel)), default=0.0)
    for least, weight in _WEIGHTS:
        if likeness >= least:
            return weight, f"name {likeness:.0%}"
    return (NAMES_OTHER, "") if words & _vocabulary() else (0.0, "")


def time_likeness(name: str) -> float:
    """How much a name is like those of time columns, 0…1."""
    words = words_of(name)
    return max(_likeness(words, words_of(known)) for known in TIME_NAMES)


@cache
def words_of(name: str) -> frozenset[str]:
    """The words of a name in lower case and English, split at signs and humps, abbreviations spelled out."""
    humps = re.sub(r"([a-zäöüéèà])([A-ZÄÖÜ])", r"\1 \2", name.replace("{engine}", " "))
    found = re.findall(r"[^\W\d_]+|\d+", unicodedata.normalize("NFC", humps).casefold())
    english = [word for each in found for word in FOREIGN.get(each, each).split()]
    return frozenset(SAME_WORD.get(word, word) for word in english)


@cache
def _vocabulary() -> frozenset[str]:
    """Every word that means something in the name of a quantity; single letters and digits alone mean nothing."""
    known = (word for names in NAMES.values() for name in names for word in words_of(name))
    times = (word for name in TIME_NAMES for word in words_of(name))
    return frozenset(word for word in (*known, *times, *OTHER_WORDS) if len(word) > 1 and not word.isdigit())


def _likeness(words: Iterable[str], known: frozenset[str]) -> float:
    """Share of words two names have in common (Dice), where a slip of the pen still counts for most of a word."""
    mine = list(words)
    met = sum(max((_same(word, other) for other in mine), default=0.0) for word in known)
    return 2 * met / (len(mine) + len(known)) if mine else 0.0


@cache
def _same(word: str, other: str) -> float:
    if word == other:
        return 1.0
    ratio = difflib.SequenceMatcher(None, word, other).ratio() if min(len(word), len(other)) >= 4 else 0.0
    return ratio if ratio >= 0.75 else 0.0
