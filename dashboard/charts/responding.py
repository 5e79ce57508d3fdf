"""How an engine answers: an indicator over the season, each facet with where a movement would be watched."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import altair as alt
import pandas as pd

from dashboard.charts import believing, drawing, palette, picking
from pipeline.baselines import Watched

PICK: Final = "run"
"""Name of the selection: a clicked run."""

ALL: Final = "all"
_COLOURS: Final = {**palette.GEARS, ALL: palette.ENGINES[0]}
_SHAPES: Final = {**palette.GEAR_SHAPES, ALL: "circle"}


def response_rows(readings: pd.DataFrame, indicator: str) -> pd.DataFrame:
    """The readings of one indicator; a reading without a facet is of all."""
    found = readings[readings["indicator"] == indicator]
    return found.assign(facet=found["facet"].replace("", ALL))


def response(rows: pd.DataFrame, watched: Sequence[Watched], unit: str, limits: pd.DataFrame) -> drawing.Chart:
    """Readings run by run, a facet by shape and colour; a rule where each would be watched, with its word."""
    facets = [facet for facet in _COLOURS if facet in set(rows["facet"])]
    pick = picking.pick(PICK)
    looks = {facet: (_COLOURS[facet], _SHAPES[facet]) for facet in facets}
    found = believing.marks(rows, "facet", "value", looks, beside=limits["value"].tolist())
    dots = (
        alt.Chart(found.rows)
        .mark_point(filled=True, opacity=0.8)
        .encode(
            x=drawing.time_axis(),
            y=alt.Y("drawn:Q", title=unit),
            color=alt.Color("mark:N", scale=found.colours),
            shape=alt.Shape("mark:N", scale=found.shapes),
            size=picking.sized(pick, 48),
            tooltip=[*_TIPS, *found.tips],
        )
        .add_params(pick)
    )
    watched_at = [
        {"facet": each.facet or ALL, "value": at, "word": "watch"} for each in watched for at in each.watched_from
    ]
    table = pd.DataFrame(watched_at, columns=["facet", "value", "word"])
    places = table[table["facet"].isin(facets)].assign(mark=lambda each: each["facet"])
    base = alt.Chart(places).encode(y="value:Q", color=alt.Color("mark:N", scale=found.colours))
    rules = base.mark_rule(strokeDash=drawing.DASHES["watch"], strokeWidth=1.3).encode(
        tooltip=[alt.Tooltip("facet:N"), alt.Tooltip("value:Q", title="watched from", format=".3~g")]
    )
    words = drawing.word_at_the_end(alt.Chart(table.drop_duplicates("word")), alt.Y("value:Q"), "watch")
    held = (*drawing.limit_rules(limits), drawing.limit_words(limits))
    return drawing.finished(alt.layer(*held, rules, words, dots), 230)


_TIPS: Final = [
    alt.Tooltip("when:N", title="run of"),
    alt.Tooltip("facet:N"),
    alt.Tooltip("value:Q", format=".3~g"),
    alt.Tooltip("n:Q"),
    alt.Tooltip("temp_c:Q", title="temperature °C", format=".0f"),
    alt.Tooltip("file:N", title="log"),
]
