"""The lists of words that the outside reads, each word with its meaning."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from pipeline import wording
from pipeline.aftermath import Outcome
from pipeline.logbook import ANSWERING, REBASING, Kind
from pipeline.method.parts import Word
from pipeline.season.epochs import Reason
from pipeline.season.movement import PatternWord
from pipeline.states import STATUSES

_PATTERNS: Final[dict[PatternWord, str]] = {
    "constant": "the same since the epoch began",
    "growing": "moving steadily since a day",
    "step": "moved at a day and stayed there",
    "scattered": "scattering more than it did, about the same level",
    "new": "too few runs since the epoch began to tell",
}

_REASONS: Final[dict[Reason, str]] = {
    "commissioning": "the engine was first seen",
    "calibration": "a target or a table value changed",
    "note": "a note says to compare anew from here on",
    "improvement": "it became clearly better: a repair or a correction",
}

_OUTCOMES: Final[dict[Outcome, str]] = {
    "held": "what stood out is gone and has stayed away",
    "came back": "it was gone and stands out again",
    "not mended": "it stood out in the first runs after the note too",
    "not seen yet": "too few runs since to say",
    "nothing stood out": "there was nothing to mend before the note",
}


def lists() -> dict[str, Iterable[Word]]:
    """Every list of words that the outside reads."""
    return {
        "status": (Word(status, wording.STATUS_MEANINGS[status]) for status in STATUSES),
        "pattern": _words(_PATTERNS),
        "epoch": _words(_REASONS),
        "note": (Word(kind.value, _kind(kind)) for kind in Kind),
        "after a note": _words(_OUTCOMES),
    }


def _words(meanings: dict[PatternWord, str] | dict[Reason, str] | dict[Outcome, str]) -> Iterable[Word]:
    return (Word(str(word), meaning) for word, meaning in meanings.items())


def _kind(kind: Kind) -> str:
    """What a note of a kind tells, and what follows from it."""
    follows = [
        *(["answers what stood before it"] if kind in ANSWERING else []),
        *(["starts the comparison anew"] if kind in REBASING else []),
    ]
    return f"{kind.meaning}{'; ' if follows else ''}{' and '.join(follows)}"
