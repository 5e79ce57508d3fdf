"""From the bytes of a text log to its characters: which encoding, and characters that were encoded twice."""

from __future__ import annotations

import codecs
from typing import Final

BARE_MARKS: Final = (codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
"""Byte order marks: a file that holds nothing else is empty."""


def encoding_of(raw: bytes) -> str:
    """'utf-8', 'utf-16', 'utf-16-le', 'utf-16-be' or 'cp1252': by byte order mark, by zero bytes, by what decodes.

    Windows-1252 stands for Latin-1 too: it is the same but for signs where Latin-1 has control characters.
    """
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    sides = (raw[:400:2].count(0), raw[1:400:2].count(0))
    half = min(len(raw), 400) // 2
    if max(sides) > 0.6 * half and min(sides) < 0.2 * half:
        return "utf-16-be" if sides[0] > sides[1] else "utf-16-le"
    try:
        codecs.getincrementaldecoder("utf-8")().decode(raw)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def decode(raw: bytes, encoding: str) -> str:
    """The text without its byte order mark; a character cut by the end of `raw` is left out."""
    return codecs.getincrementaldecoder(encoding)(errors="replace").decode(raw).removeprefix("\ufeff")


def mended(text: str) -> str:
    """`text` with a twice-encoded character undone ('Â°' → '°'), or unchanged where it was not twice encoded."""
    if text.isascii():
        return text
    for encoding in ("latin-1", "cp1252"):
        try:
            return text.encode(encoding).decode("utf-8")
        except (UnicodeEncodeError, UnicodeDecodeError):
            continue
    return text
