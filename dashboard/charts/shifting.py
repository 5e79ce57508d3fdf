"""How an engine shifts: where each gear settles against its target, and how long it takes."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any, Final

import altair as alt
import pandas as pd

from dashboard.charts import drawing, palette
from pipeline.catalogue import Limits

GEARS: Final = ("reverse", "neutral", "forward")
PICK: Final = "shift"
"""Name of the selection: a clicked shift, by its log and moment."""


def position_rows(shifts: pd.DataFrame, gear: str, limits: Limits) -> pd.DataFrame:
    """The shifts into a gear with a settled position, and where the limits about their target stand, % of travel."""
    found = shifts[(shifts["to_gear"] == gear) & shifts["settled_pct"].notna()]
    bands = {
        f"{word}_{side}": found["target_pct"] + sign * limit
        for word, limit in (("watch", limits.watch), ("hold", limits.hold))
        if limit is not None
        for side, sign in (("low", -1), ("high", 1))
    }
    return found.assign(**bands)


def positions(rows: pd.DataFrame) -> drawing.Chart:
    """Target as a thick line, limits as thin ones about it, settled positions as dots."""
    base = alt.Chart(rows).encode(x=drawing.time_axis())
    bands = [
        base.mark_line(
            interpolate="step-after", color=palette.STATUS[word], strokeWidth=1.5, strokeDash=drawing.DASHES[word]
        ).encode(y=_travel(f"{word}_{side}"))
        for word in drawing.LIMIT_WORDS
        for side in ("low", "high")
        if f"{word}_{side}" in rows
    ]
    target = base.mark_line(interpolate="step-after", color=palette.QUIET, strokeWidth=2.5).encode(
        y=_travel("target_pct")
    )
    dots = base.mark_point(filled=True, size=46, opacity=0.8).encode(
        y=_travel("settled_pct"),
        color=alt.Color("to_gear:N", scale=drawing.named_scale(palette.GEARS, GEARS), legend=None),
        tooltip=_TIPS,
    )
    return drawing.finished(alt.layer(*bands, target, dots), 190)


def _travel(column: str) -> alt.Y:
    return alt.Y(f"{column}:Q", title="% of travel", scale=alt.Scale(zero=False))


def reach_rows(shifts: pd.DataFrame) -> pd.DataFrame:
    """The shifts that have a reach error."""
    return shifts[shifts["reach_error_pct"].notna() & shifts["to_gear"].notna()]


def picked_row(rows: pd.DataFrame, chosen: Mapping[str, Any] | None) -> dict[Hashable, Any] | None:
    """The clicked shift, found by its log and moment; None where nothing is clicked or it is not among the rows."""
    if chosen is None:
        return None
    found = rows[(rows["log_id"] == chosen.get("log_id")) & (rows["at_s"] == chosen.get("at_s"))]
    return None if found.empty else dict(found.to_dict("records")[0])


def reach(rows: pd.DataFrame, limits: Limits) -> drawing.Chart:
    """Reach error of every shift, the gear told by shape and colour; a dot can be picked."""
    pick = alt.selection_point(name=PICK, fields=["log_id", "at_s"], on="click", empty=False)
    dots = (
        alt.Chart(rows)
        .mark_point(filled=True, opacity=0.85)
        .encode(
            x=drawing.time_axis(),
            y=alt.Y("reach_error_pct:Q", title="reach error, % of travel"),
            color=alt.Color("to_gear:N", scale=drawing.named_scale(palette.GEARS, GEARS)),
            shape=alt.Shape("to_gear:N", scale=drawing.named_scale(palette.GEAR_SHAPES, GEARS)),
            size=alt.condition(pick, alt.value(220), alt.value(60)),
            tooltip=_TIPS,
        )
        .add_params(pick)
    )
    return drawing.finished(alt.layer(*drawing.limit_rules(drawing.limit_rows(limits)), dots), 300)


def transit_rows(shifts: pd.DataFrame, against: str) -> pd.DataFrame:
    """The shifts from or to neutral that have a transit time and the quantity it is held against."""
    beside_neutral = (shifts["from_gear"] == "neutral") | (shifts["to_gear"] == "neutral")
    return shifts[beside_neutral & shifts["transit_s"].notna() & shifts[against].notna()]


def transit(rows: pd.DataFrame, against: str, title: str) -> drawing.Chart:
    """Transit time against battery voltage or temperature: what they explain is no wear."""
    chart = (
        alt.Chart(rows)
        .mark_point(filled=True, opacity=0.75, size=50)
        .encode(
            x=alt.X(f"{against}:Q", title=title, scale=alt.Scale(zero=False, nice=True)),
            y=alt.Y("transit_s:Q", title="transit, s"),
            color=alt.Color("to_gear:N", scale=drawing.named_scale(palette.GEARS, GEARS)),
            shape=alt.Shape("to_gear:N", scale=drawing.named_scale(palette.GEAR_SHAPES, GEARS)),
            tooltip=_TIPS,
        )
    )
    return drawing.finished(alt.layer(chart), 260)


_TIPS: Final = [
    alt.Tooltip("when:N", title="at"),
    alt.Tooltip("from_gear:N", title="from"),
    alt.Tooltip("to_gear:N", title="to"),
    alt.Tooltip("target_pct:Q", title="target %", format=".1f"),
    alt.Tooltip("settled_pct:Q", title="settled %", format=".2f"),
    alt.Tooltip("reach_error_pct:Q", title="reach error %", format="+.2f"),
    alt.Tooltip("transit_s:Q", title="transit s", format=".2f"),
    alt.Tooltip("battery_v:Q", title="battery V", format=".1f"),
    alt.Tooltip("temp_c:Q", title="temperature °C", format=".0f"),
    alt.Tooltip("file:N", title="log"),
]
