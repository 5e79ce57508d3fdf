"""Every engine week by week as a heat map about what is wanted, and what the whole fleet did at once."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import altair as alt
import numpy as np
import pandas as pd

from dashboard.charts import believing, drawing, palette
from pipeline.season_data import WEEK_MS, Centre

PICK: Final = "week"
"""Name of the selection: a clicked cell, by its engine and week."""

_SYMBOL_SIZE: Final = alt.ExprRef("clamp(pow(0.6 * bandwidth('x'), 2), 16, 90)")
"""Symbols shrink with their cells: a long season on a phone has narrow ones."""

_SHAPES: Final = {"watch": "triangle-up", "hold": "square"}

_UNKNOWN: Final = "unknown"
_WHO: Final = (alt.Tooltip("who:N", title="engine"), alt.Tooltip("week:N", title="week from"))


def heat_title(unit: str, centre: Centre) -> str:
    """What the colours say, in the indicator's unit."""
    return f"{unit}: " + ("off what is wanted" if centre == "wanted" else "off the engine's own baseline")


def week_order(rows: pd.DataFrame) -> list[str]:
    """Every week from the first to the last, those without a run too."""
    first, last = float(rows["week_ms"].min()), float(rows["week_ms"].max())
    mondays = pd.to_datetime(np.arange(first, last + 1, WEEK_MS), unit="ms")
    return [str(each) for each in mondays.strftime("%d %b")]


def heat(rows: pd.DataFrame, *, title: str, half: float, dark: bool) -> drawing.Picture:
    """Engines down by name (`who`), weeks across; colours part about 0 and reach `half` either way, beyond no further.

    A week beyond a limit bears its symbol. A week that cannot be compared is an open cell, one that is withheld an open
    cell with a ×. `dark` is the ground.
    """
    engines = tuple(str(each) for each in rows["who"].drop_duplicates())
    kinds = [word for word in _SHAPES if (rows["standing"] == word).any()]
    kinds += [_UNKNOWN] if rows["off"].isna().any() else []
    kinds += [believing.WITHHELD] if rows["withheld"].notna().any() else []
    frame = _heat(engines, tuple(week_order(rows)), tuple(kinds), title, half, dark=dark)
    return drawing.Picture(frame, {"weeks": rows})


@drawing.framed
def _heat(
    engines: tuple[str, ...],
    weeks: tuple[str, ...],
    kinds: tuple[str, ...],
    title: str,
    half: float,
    *,
    dark: bool,
) -> drawing.Chart:
    """`kinds` are the cells there are beside the coloured ones: beyond a limit, not known, withheld."""
    pick = alt.selection_point(name=PICK, fields=["engine_id", "week_ms"], on="click", empty=False)
    base = _cells(engines, weeks)
    colours = palette.DIVERGING_DARK if dark else palette.DIVERGING_LIGHT
    scale = alt.Scale(domain=[-half, 0, half], range=list(colours), clamp=True, interpolate="lab")
    legend = alt.Legend(title=title, gradientLength=150, format="+.2~f", values=[-half, 0, half], titleLimit=340)
    cells = (
        base.transform_filter("isValid(datum.off)")
        .mark_rect(cornerRadius=2)
        .encode(
            color=alt.Color("off:Q", scale=scale, legend=legend),
            stroke=alt.condition(pick, alt.value(palette.NOTE), alt.value(None)),
            strokeWidth=alt.condition(pick, alt.value(4), alt.value(0)),
        )
    )
    layers = [cells.add_params(pick)]
    if _UNKNOWN in kinds:
        unknown = base.transform_filter("!isValid(datum.off)")
        layers.append(unknown.mark_rect(filled=False, stroke=palette.QUIET, strokeDash=[2, 2]))
    if believing.WITHHELD in kinds:
        layers.append(_crosses(base))
    beyond = [word for word in _SHAPES if word in kinds]
    if beyond:
        layers.append(_symbols(base, beyond, dark=dark))
    return drawing.finished(alt.layer(*layers), 26 * len(engines) + 190)


def _cells(engines: Sequence[str], weeks: Sequence[str]) -> alt.Chart:
    """A cell an engine and week, its numbers told to whoever points at it."""
    across = alt.Axis(labelAngle=-60, labelOverlap="greedy")
    told: alt.Chart = drawing.rows_named("weeks").encode(
        x=alt.X("week:N", scale=alt.Scale(domain=list(weeks)), sort=None, title="week from", axis=across),
        y=alt.Y("who:N", sort=list(engines), title=None, axis=alt.Axis(labelOverlap=False, labelFlush=False)),
        tooltip=[
            *_WHO,
            alt.Tooltip("value:Q", title="median as read", format="+.2f"),
            alt.Tooltip("own:Q", title="median, its own", format="+.2f"),
            alt.Tooltip("off:Q", title="off the middle", format="+.2f"),
            alt.Tooltip("n:Q", title="samples"),
            alt.Tooltip("runs:Q"),
            alt.Tooltip("standing:N"),
        ],
    )
    return told


def _crosses(base: alt.Chart) -> alt.Chart:
    """A × in each week that is withheld, and why."""
    marks = base.transform_filter("isValid(datum.withheld)").mark_point(
        filled=True, shape=believing.SHAPE, color=believing.COLOUR, size=_SYMBOL_SIZE, opacity=1
    )
    told: alt.Chart = marks.encode(tooltip=[*_WHO, alt.Tooltip("withheld:N")])
    return told


def _symbols(base: alt.Chart, beyond: Sequence[str], *, dark: bool) -> alt.Chart:
    shapes = alt.Scale(domain=list(beyond), range=[_SHAPES[word] for word in beyond])
    ink = palette.CELL_INK_DARK if dark else palette.CELL_INK_LIGHT
    drawn = base.transform_filter(alt.FieldOneOfPredicate("standing", list(beyond)))
    marks = drawn.mark_point(filled=True, size=_SYMBOL_SIZE, opacity=1, color=ink)
    told: alt.Chart = marks.encode(shape=alt.Shape("standing:N", scale=shapes, legend=None))
    return told


def together(days: pd.DataFrame, line: pd.DataFrame, unit: str, watch: float) -> drawing.Picture:
    """What the fleet did at once: a dot a day, and the stair of the common steps with its interval.

    The scale reaches at least to `watch` either way, so that what is too small to matter looks small.
    """
    reach = max(watch, float(days["value"].abs().max()), float(line["high"].abs().max()))
    return drawing.Picture(_together(unit, reach), {"days": days, "line": line})


@drawing.framed
def _together(unit: str, reach: float) -> drawing.Chart:
    x, y = drawing.time_axis(), alt.Y("value:Q", title=unit, scale=alt.Scale(domain=[-reach, reach]))
    line = drawing.rows_named("line")
    band = line.mark_area(interpolate="step-after", opacity=0.3, color=palette.NOTE)
    stair = line.mark_line(interpolate="step-after", strokeWidth=2.5, color=palette.NOTE)
    tips = [alt.Tooltip(f"{name}:Q", format="+.2f") for name in ("value", "low", "high")]
    dots = drawing.rows_named("days").mark_point(filled=True, size=55, opacity=0.9, color=palette.QUIET)
    seen = [alt.Tooltip("when:N", title="day"), alt.Tooltip("value:Q", format="+.2f"), alt.Tooltip("engines:Q")]
    layers = [
        band.encode(x=x, y=alt.Y("low:Q", title=unit), y2=alt.Y2("high")),
        dots.encode(x=x, y=y, tooltip=seen),
        stair.encode(x=x, y=y, tooltip=tips),
    ]
    return drawing.finished(alt.layer(*layers), 220)
