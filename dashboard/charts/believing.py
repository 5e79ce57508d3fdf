"""Readings that judgement withholds, told apart from the others: a violet × with its word, at the edge if far off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import altair as alt
import pandas as pd

from dashboard.charts import palette

WITHHELD: Final = "withheld"
"""What a withheld mark is called in a legend."""

SHAPE: Final = "M-1,-0.6L-0.6,-1L0,-0.4L0.6,-1L1,-0.6L0.4,0L1,0.6L0.6,1L0,0.4L-0.6,1L-1,0.6L-0.4,0Z"
"""A diagonal cross as an SVG path: no other mark has it."""

COLOUR: Final = palette.STATUS["unchecked"]

ROOM: Final = 0.15
"""How far beyond the believed marks, in shares of their span, a withheld one is drawn at most."""


Looks = tuple[tuple[str, str, str], ...]
"""What marks are called, each with its colour and its shape."""


@dataclass(frozen=True, eq=False)
class Marks:
    """Rows with `mark`, by which colour and shape are told, and where each stands; and how each mark looks.

    `drawn` is its height, `along` its place across where that was asked for.
    """

    rows: pd.DataFrame
    looks: Looks

    @property
    def believed(self) -> pd.DataFrame:
        """The rows that are not withheld."""
        return self.rows[self.rows["mark"] != WITHHELD]


def marks(
    rows: pd.DataFrame,
    by: str,
    value: str,
    looks: Mapping[str, tuple[str, str]],
    *,
    why: str = "withheld",
    beside: Sequence[float] = (),
    across: str | None = None,
) -> Marks:
    """The rows told apart by a column, its names looking as given (colour, shape), those with a reason `why` withheld.

    A withheld value far from all others is drawn at their edge, so that the others can still be read; its tooltip
    tells the value. `beside` are more values that the scale reaches, such as limits; `across` is the column of the
    other axis where that can be as far off.
    """
    kept = rows[why].isna()
    names = tuple((name, *look) for name, look in looks.items())
    told = rows.assign(mark=rows[by].where(kept, WITHHELD), drawn=beside_believed(rows[value], kept, beside))
    return Marks(
        told if across is None else told.assign(along=beside_believed(rows[across], kept)),
        names if kept.all() else (*names, (WITHHELD, COLOUR, SHAPE)),
    )


def colours(looks: Looks) -> alt.Scale:
    """A fixed colour for each mark, whatever else is in the rows."""
    return alt.Scale(domain=[name for name, _, _ in looks], range=[colour for _, colour, _ in looks])


def shapes(looks: Looks) -> alt.Scale:
    """A fixed shape for each mark, whatever else is in the rows."""
    return alt.Scale(domain=[name for name, _, _ in looks], range=[shape for _, _, shape in looks])


def tips(looks: Looks) -> list[alt.Tooltip]:
    """Why a mark is withheld, told where one is."""
    return [alt.Tooltip("withheld:N")] if looks[-1][0] == WITHHELD else []


def beside_believed(values: pd.Series[Any], kept: pd.Series[bool], beside: Sequence[float] = ()) -> pd.Series[Any]:
    """The values, those that are not `kept` held inside the range of the others and a little more."""
    reached = [*values[kept].dropna(), *beside]
    if not reached:
        return values
    room = ROOM * (max(reached) - min(reached))
    return values.where(kept, values.clip(min(reached) - room, max(reached) + room))


def told(row: Mapping[Any, Any], what: str, words: Mapping[str, str]) -> str:
    """A mark in words: when it was, what it is, what is known of it (a form by column), from which file."""
    known = [text.format(row[name]).replace("-", "−") for name, text in words.items() if pd.notna(row[name])]
    return f"{row['when']}, {what}: {', '.join(known)}. {row['file']}"


def with_reason(reason: str | None, said: str) -> str:
    """What is said of a mark, after why it is withheld where it is."""
    return said if pd.isna(reason) else f"Withheld, {reason}. {said}"
