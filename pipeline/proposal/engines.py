"""Several engines in one log: their names in the columns' names, and the columns of one of them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from pipeline.channel_words import ENGINE_WORDS
from pipeline.readers.peek import PeekedColumn

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


def one_engine(columns: Sequence[PeekedColumn], also: Iterable[str] = ()) -> tuple[tuple[str, ...], list[PeekedColumn]]:
    """Engine names found, and the columns of the first engine with `{engine}` in place of its name, and shared ones.

    `also` are engine names beyond the usual ones: ids and labels of the boat.
    """
    pattern = _pattern(also)
    owned = [(column, _templated(column.column.written, pattern)) for column in columns]
    names = list(dict.fromkeys(name for _, (_, name) in owned if name))
    templates = {template for _, (template, name) in owned if name}
    repeated = sum(name is not None for _, (_, name) in owned) > len(templates)
    if len(names) < 2 or not repeated:
        return (), list(columns)
    kept = [_renamed(column, template) for column, (template, name) in owned if name in {None, names[0]}]
    return tuple(names), kept


def _pattern(also: Iterable[str]) -> re.Pattern[str]:
    words = sorted({*ENGINE_WORDS, *(each.replace("_", " ") for each in also)}, key=len, reverse=True)
    return re.compile(rf"(?<![A-Za-z0-9])({'|'.join(map(re.escape, words))})(?![A-Za-z0-9])", re.IGNORECASE)


def _templated(name: str, pattern: re.Pattern[str]) -> tuple[str, str | None]:
    found = pattern.search(name.replace("_", " "))
    if not found:
        return name, None
    return f"{name[: found.start()]}{{engine}}{name[found.end() :]}", name[found.start() : found.end()]


def _renamed(column: PeekedColumn, template: str) -> PeekedColumn:
    bare = template if column.column.unit is None else _UNIT_BEHIND.sub("", template)
    renamed = type(column.column)(template, bare, column.column.unit)
    return PeekedColumn(renamed, column.numbers, column.texts, column.first, column.is_time)


_UNIT_BEHIND: Final = re.compile(r"\s*[\[({][^\[\](){}]*[\])}]\s*$")
