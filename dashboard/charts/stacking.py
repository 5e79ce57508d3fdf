"""Panels under each other that share what stands along them, as wide together as their place.

The numbers beside a panel stand inside it, and so do the words at the ends of its lines: else each panel would be as
much wider than its place as its own numbers are.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import altair as alt
import pandas as pd

from dashboard.charts import drawing

LEFT_PX: Final = 44
RIGHT_PX: Final = 52
"""Room beside the marks: for numbers, and for words."""

ENDS: Final = "ends"
"""Name of the rows that hold the two ends of what stands along all panels."""


def ends(rows: pd.DataFrame, along: str) -> pd.DataFrame:
    """The lowest and the highest value that any panel shows along it."""
    return pd.DataFrame({along: [rows[along].min(), rows[along].max()]})


def panels(found: Sequence[alt.LayerChart]) -> alt.VConcatChart:
    """The panels under each other, marks of one kind alike in all of them."""
    under: alt.VConcatChart = alt.vconcat(*found, spacing=8).resolve_scale(
        x="independent", color="shared", shape="shared"
    )
    return under


def panel(layers: Sequence[alt.Chart], along: alt.X, height: int, title: str) -> alt.LayerChart:
    """One of them, from end to end of what they share; the last layer holds its marks."""
    whole = drawing.rows_named(ENDS).mark_rule(opacity=0, aria=False).encode(x=along)
    return alt.LayerChart(layer=[whole, *layers], height=height, title=drawing.panel_title(title))


def time_along(*, is_last: bool) -> alt.X:
    """The wall clock of the fleet's zone, told under the last panel alone."""
    return along("local_ms:T", None, is_last=is_last, type="utc", axis={"format": "%d %b"})


def along(column: str, title: str | None, *, is_last: bool, axis: dict[str, Any] | None = None, **scale: Any) -> alt.X:
    """What stands along every panel, told under the last one alone."""
    place: Any = [LEFT_PX, alt.ExprRef(f"width - {RIGHT_PX}")]
    shown = alt.Axis(tickCount=6, labels=is_last, ticks=is_last, labelOverlap=True, **(axis or {}))
    return alt.X(column, title=title if is_last else None, scale=alt.Scale(range=place, **scale), axis=shown)


def upright(column: str) -> alt.Y:
    """What a panel shows, its numbers inside the room at the left."""
    axis = alt.Axis(tickCount=4, offset=-LEFT_PX, domain=False)
    return alt.Y(f"{column}:Q", title=None, scale=alt.Scale(zero=False), axis=axis)


def words(rows: alt.Chart, y: alt.Y, word: alt.Text) -> alt.Chart:
    """What lines are called, in the room at their right."""
    marks = rows.mark_text(align="left", baseline="middle", dx=4, fontSize=drawing.LABEL_PX - 1)
    named: alt.Chart = marks.encode(x=alt.value(alt.ExprRef(f"width - {RIGHT_PX}")), y=y, text=word)
    return named


def across() -> dict[str, Any]:
    """From where to where a rule goes across a panel."""
    return {"x": alt.value(LEFT_PX), "x2": alt.value(alt.ExprRef(f"width - {RIGHT_PX}"))}
