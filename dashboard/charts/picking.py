"""Marks that can be clicked: each is known by what it is, its log and its moment, never by its place among the rows."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any, Final

import altair as alt
import pandas as pd

from dashboard.charts import drawing

NAMED_BY: Final = ("file", "at_s")
"""What names a shift, an idle window or a run of one engine: its log and its moment."""


def pick(name: str) -> alt.Parameter:
    """A selection of one mark by a click."""
    return alt.selection_point(name=name, fields=list(NAMED_BY), on="click", empty=False)


def in_all(stack: alt.VConcatChart, name: str) -> alt.VConcatChart:
    """Panels whose last layers share one selection of a mark by a click."""
    select = alt.PointSelectionConfig(type="point", fields=list(NAMED_BY), on="click")
    stack.params = [alt.TopLevelSelectionParameter(name=name, select=select, views=drawing.named_views(stack))]
    return stack


def sized(chosen: alt.Parameter, size: int) -> Any:
    """The size of marks; the clicked one is larger."""
    return alt.condition(chosen, alt.value(4 * size), alt.value(size))


def picked_row(rows: pd.DataFrame, chosen: Mapping[str, Any] | None) -> dict[Hashable, Any] | None:
    """The clicked row by its log and moment; None where nothing is clicked or the click was among other rows."""
    if chosen is None:
        return None
    found = rows[(rows["file"] == chosen.get("file")) & (rows["at_s"] == chosen.get("at_s"))]
    return None if found.empty else dict(found.to_dict("records")[0])
