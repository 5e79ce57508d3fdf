"""What a proposal says: lines of a channel map, each with its reasons, and the questions that the log cannot answer."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.problems import Problem

SURE_FROM: Final = 0.65
"""Confidence from which a column is proposed outright; below, down to `MAYBE_FROM`, it is only mentioned."""
MAYBE_FROM: Final = 0.3


@dataclass(frozen=True)
class ColumnProposal:
    """One channel's column: as written in the log (with `{engine}` for an engine's name), unit, confidence 0…1, why.

    `unit` None is the canonical one. `zero` is the logged value that means nothing. `doubt` says what is unlikely.
    """

    channel: str
    column: str
    unit: str | None
    confidence: float
    reasons: tuple[str, ...]
    values: dict[str, str] = field(default_factory=dict)
    stoich: float | None = None
    zero: float | None = None
    doubt: str | None = None

    def entry(self) -> dict[str, Any]:
        """The line as the register holds it."""
        parts = {"column": self.column, "unit": self.unit, "stoich": self.stoich, "zero": self.zero}
        return {key: value for key, value in (*parts.items(), ("values", self.values)) if value not in (None, {})}

    def toml(self) -> str:
        """The line of a channel map."""
        return f"{self.channel} = {_inline(self.entry())}"

    def why(self) -> str:
        """How sure, and the reasons."""
        return f"{self.confidence:.0%}: {'; '.join((*self.reasons, *([self.doubt] if self.doubt else [])))}"


@dataclass(frozen=True)
class Question:
    """What the log cannot tell: the channels it is about, the question, and what could be the answer.

    `answers` are words for `--set`, each of which answers it; empty where the answer is given elsewhere.
    """

    channels: tuple[str, ...]
    text: str
    answers: tuple[str, ...] = ()


@dataclass(frozen=True)
class Proposal:
    """A proposed channel map.

    `chosen` are sure enough to stand, `maybe` are mentioned only; `questions` are what a person has to say. `lacking`
    are channels without a column, `unused` columns without a channel; `engines` the engine names found in column names;
    `columns` every column that a channel can be given, as a map names it; `problems` why a log cannot be read.
    `gear_words` and `rests` say of a column how its words for gears read, and where it would rest as a pedal.
    """

    file: str
    chosen: tuple[ColumnProposal, ...] = ()
    maybe: tuple[ColumnProposal, ...] = ()
    lacking: tuple[str, ...] = ()
    unused: tuple[str, ...] = ()
    engines: tuple[str, ...] = ()
    start: str = ""
    problems: tuple[Problem, ...] = ()
    questions: tuple[Question, ...] = ()
    columns: tuple[str, ...] = ()
    has_own_time: bool = False
    gear_words: Mapping[str, dict[str, str]] = field(default_factory=dict)
    rests: Mapping[str, float] = field(default_factory=dict)

    @property
    def is_usable(self) -> bool:
        """Whether the map names a time, or the format has its own, and one more channel."""
        channels = {line.channel for line in self.chosen}
        return bool(channels - {"time"}) and ("time" in channels or self.has_own_time)

    def entries(self) -> dict[str, dict[str, Any]]:
        """The map as the register holds it."""
        return {line.channel: line.entry() for line in self.chosen}

    def toml(self, name: str = "new") -> str:
        """Text for fleet.toml, ready to paste."""
        lines = [f"[channel_map.{name}]", *self.table_lines()]
        lines += [f"# unsure: {_comment(line.toml())}  # {_comment(line.why())}" for line in self.maybe]
        lines += [f"# asked: {_comment(each.text)}" for each in self.questions]
        lines += [f"# lacking: {', '.join(self.lacking)}"] if self.lacking else []
        return "\n".join(lines) + "\n"

    def table_lines(self) -> list[str]:
        """The lines of the map's table that stand, each with its reasons."""
        head = [
            f"# proposed from {_comment(self.file)}; check every line",
            *([f"# {self.start}"] if self.start else []),
        ]
        return [*head, *(f"{line.toml()}  # {_comment(line.why())}" for line in self.chosen)]

    def document(self) -> dict[str, Any]:
        """The proposal as plain data, for JSON."""
        return {
            "file": self.file,
            "problems": [problem.sentence() for problem in self.problems],
            "proposed": [_line_document(line) for line in self.chosen],
            "unsure": [_line_document(line) for line in self.maybe],
            "questions": [
                {"channels": list(each.channels), "asks": each.text, "set": list(each.answers)}
                for each in self.questions
            ],
            "engines": list(self.engines),
            "lacking": list(self.lacking),
            "unused": list(self.unused),
        }


def _line_document(line: ColumnProposal) -> dict[str, Any]:
    return {
        "channel": line.channel,
        **line.entry(),
        "confidence": round(line.confidence, 3),
        "reasons": list(line.reasons),
        **({"doubt": line.doubt} if line.doubt else {}),
    }


def _inline(table: dict[str, Any]) -> str:
    return f"{{ {', '.join(f'{_key(key)} = {_value(value)}' for key, value in table.items())} }}"


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return _inline(value)
    return f"{value:.10g}" if isinstance(value, float) else _quoted(str(value))


def _key(key: str) -> str:
    return key if key.isascii() and key.replace("_", "").replace("-", "").isalnum() else _quoted(key)


def _quoted(text: str) -> str:
    """A TOML basic string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _comment(text: str) -> str:
    """Text that stays on its line and holds nothing a TOML comment may not."""
    return "".join(sign if sign.isprintable() else " " for sign in text)
