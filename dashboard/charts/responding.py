"""How an engine answers: an indicator over the season, each facet with where a movement would be watched."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import altair as alt
import pandas as pd

from dashboard.charts import believing, drawing, palette, picking
from dashboard.charts.thinning import thinned
from pipeline.baselines import Watched

PICK: Final = "run"
"""Name of the selection: a clicked run."""

ALL: Final = "all"

MOST_DRAWN: Final = 120
"""Readings of a facet up to which every one is drawn."""

_COLOURS: Final = {**palette.GEARS, ALL: palette.ENGINES[0]}
_SHAPES: Final = {**palette.GEAR_SHAPES, ALL: "circle"}


def response_rows(readings: pd.DataFrame, indicator: str) -> pd.DataFrame:
    """The readings of one indicator; a reading without a facet is of all."""
    found = readings[readings["indicator"] == indicator]
    return found.assign(facet=found["facet"].replace("", ALL))


def response(rows: pd.DataFrame, watched: Sequence[Watched], unit: str, limits: pd.DataFrame) -> drawing.Picture:
    """Readings run by run, a facet by shape and colour; a rule where each would be watched, with its word."""
    looks = {facet: (_COLOURS[facet], _SHAPES[facet]) for facet in _COLOURS if facet in set(rows["facet"])}
    found = believing.marks(rows, "facet", "value", looks, beside=limits["value"].tolist())
    places = [{"mark": each.facet or ALL, "value": at, "word": "watch"} for each in watched for at in each.watched_from]
    table = pd.DataFrame(places, columns=["mark", "value", "word"])
    drawn = thinned(found.rows, "mark", "value", MOST_DRAWN)
    shown = {
        "runs": drawn.assign(says=[_says(row, unit) for row in drawn.to_dict("records")]),
        "watched": table[table["mark"].isin(list(looks))],
        "words": table.drop_duplicates("word"),
    }
    return drawing.Picture(_response(found.looks, unit), {**shown, drawing.LIMITS: limits})


@drawing.framed
def _response(looks: believing.Looks, unit: str) -> drawing.Chart:
    pick = picking.pick(PICK)
    colour = alt.Color("mark:N", scale=believing.colours(looks))
    dots = (
        drawing.rows_named("runs")
        .mark_point(filled=True, opacity=0.8)
        .encode(
            x=drawing.time_axis(),
            y=alt.Y("drawn:Q", title=unit),
            color=colour,
            shape=alt.Shape("mark:N", scale=believing.shapes(looks)),
            size=picking.sized(pick, 48),
            tooltip=alt.Tooltip("says:N"),
            description=alt.Description("says:N"),
        )
        .add_params(pick)
    )
    base = drawing.rows_named("watched").encode(y=alt.Y("value:Q"), color=colour)
    rules = base.mark_rule(strokeDash=drawing.DASHES["watch"], strokeWidth=1.3).encode(
        tooltip=[alt.Tooltip("mark:N", title="facet"), alt.Tooltip("value:Q", title="watched from", format=".3~g")]
    )
    words = drawing.word_at_the_end(drawing.rows_named("words"), alt.Y("value:Q"), alt.TextValue("watch"))
    held = (*drawing.limit_rules(), drawing.limit_words())
    return drawing.finished(alt.layer(*held, rules, words, dots), 230)


def _says(row: Mapping[Any, Any], unit: str) -> str:
    """A reading in words, for whoever points at its mark."""
    facet = "" if row["facet"] == ALL else f"{row['facet']}: "
    at = "" if pd.isna(row["temp_c"]) else f" at {row['temp_c']:.0f} °C"
    value = f"{row['value']:.3g}".replace("-", "−")
    told = f"run of {row['when']}, {facet}{value} {unit}, {row['n']:.0f} samples{at}. {row['file']}"
    return believing.with_reason(row["withheld"], told)
