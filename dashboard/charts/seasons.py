"""An indicator over the season: readings of one boat's engines with limits and what happened, and where it leads."""

from __future__ import annotations

import string
from collections.abc import Sequence
from datetime import datetime
from itertools import groupby
from typing import Final
from zoneinfo import ZoneInfo

import altair as alt
import numpy as np
import pandas as pd

from dashboard.charts import believing, drawing, palette
from pipeline.happenings import Happening, HappeningKind
from pipeline.projections import Projection
from pipeline.screen_data import local_ms

PICK: Final = "run"
"""Name of the selection: a clicked reading, by its run and engine."""

_DASHES: Final[dict[HappeningKind, list[int]]] = {
    "note": [1, 0],
    "service": [10, 4],
    "calibration": [8, 3, 2, 3],
    "compared anew": [2, 3],
    "whole fleet": [4, 2],
}
_WIDTHS: Final[dict[HappeningKind, float]] = {"whole fleet": 3.5}

_NO_HAPPENING: Final = pd.DataFrame(columns=["mark", "local_ms", "when", "kind", "who", "what"])


def season_rows(found: pd.DataFrame, engine_ids: Sequence[str], *, own: bool) -> pd.DataFrame:
    """The readings of some engines; `shown` is the reading as it came, or without the fleet's part if `own`."""
    mine = found[found["engine_id"].isin(list(engine_ids))]
    return mine.assign(shown=mine["own"] if own else mine["value"])


def happening_rows(happened: Sequence[Happening], zone: ZoneInfo) -> pd.DataFrame:
    """What happened as rows in time order, marked with a letter a day: `mark`, `local_ms`, `when`, `kind`, `who`."""
    rows = []
    days = groupby(happened, key=lambda each: each.at.astimezone(zone).date())
    for place, (_, together) in enumerate(days):
        for each in together:
            at = each.at.astimezone(zone)
            moment = {"local_ms": local_ms(at.timestamp(), zone), "when": _when(each, at)}
            rows.append({"mark": _letters(place), **moment, "kind": each.kind, "who": each.who, "what": each.what})
    return pd.DataFrame(rows) if rows else _NO_HAPPENING


def _when(happening: Happening, at: datetime) -> str:
    """The day, with the hour where somebody did something at one."""
    day = f"{at:%a} {at.day} {at:%b %Y}"
    return f"{day}, {at:%H:%M}" if happening.kind in {"note", "service"} else day


def _letters(place: int) -> str:
    """A, B … Z, then AA, AB and on."""
    first, last = divmod(place, len(string.ascii_uppercase))
    return (_letters(first - 1) if first else "") + string.ascii_uppercase[last]


def season(
    rows: pd.DataFrame, engines: Sequence[str], happened: pd.DataFrame, unit: str, limits: pd.DataFrame
) -> drawing.Chart:
    """Readings over time, engines told by shape and colour, with limits and a lettered rule for what happened."""
    found = believing.marks(rows, "engine", "shown", _engine_looks(engines), beside=limits["value"].tolist())
    encoding = {
        "x": drawing.time_axis(),
        "y": alt.Y("drawn:Q", title=unit, scale=alt.Scale(zero=False)),
        "color": alt.Color("mark:N", scale=found.colours, legend=alt.Legend(columns=2)),
    }
    pick = alt.selection_point(name=PICK, fields=["run_id", "engine_id"], on="click", empty=False)
    dots = (
        alt.Chart(found.rows)
        .mark_point(filled=True, opacity=0.9)
        .encode(
            **encoding,
            size=alt.condition(pick, alt.value(240), alt.value(70)),
            shape=alt.Shape("mark:N", scale=found.shapes, legend=alt.Legend(columns=2)),
            tooltip=[
                alt.Tooltip("when:N", title="run of"),
                alt.Tooltip("engine:N"),
                alt.Tooltip("value:Q", title="as read", format="+.2f"),
                alt.Tooltip("own:Q", title="its own", format="+.2f"),
                alt.Tooltip("n:Q", title="samples"),
                alt.Tooltip("temp_c:Q", title="temperature °C", format=".0f"),
                alt.Tooltip("battery_v:Q", title="battery V", format=".1f"),
                alt.Tooltip("file:N", title="log"),
                *found.tips,
            ],
        )
    )
    lines = alt.Chart(found.believed).mark_line(strokeWidth=1.2, opacity=0.6).encode(**encoding)
    layers = [*drawing.limit_rules(limits), *_happened(happened), lines, dots.add_params(pick)]
    return drawing.finished(alt.layer(*layers), 360)


def _engine_looks(engines: Sequence[str]) -> dict[str, tuple[str, str]]:
    """A colour and a shape for each engine, by its place in the boat, whatever the readings are of."""
    colours, shapes = palette.ENGINES, palette.ENGINE_SHAPES
    return {
        engine: (colours[place % len(colours)], shapes[place % len(shapes)]) for place, engine in enumerate(engines)
    }


def _happened(rows: pd.DataFrame) -> list[alt.Chart]:
    """A rule for each thing that happened, dashed by its kind, and its day's letter at the top."""
    tips = [alt.Tooltip(name, type="nominal") for name in ("mark", "when", "kind", "who", "what")]
    drawn = [
        alt.Chart(rows[rows["kind"] == kind])
        .mark_rule(color=palette.NOTE, strokeWidth=_WIDTHS.get(kind, 2.0), strokeDash=dash)
        .encode(x=drawing.time_axis(), tooltip=tips)
        for kind, dash in _DASHES.items()
        if (rows["kind"] == kind).any()
    ]
    if not drawn:
        return []
    days = rows.drop_duplicates("mark")
    letters = alt.Chart(days).mark_text(fontSize=drawing.LABEL_PX, fontWeight="bold", dy=-8)
    return [*drawn, letters.encode(x=drawing.time_axis(), y=alt.value(0), text="mark:N", tooltip=tips)]


def reach_rows(found: Projection) -> pd.DataFrame:
    """Where the line reaches each limit that lies ahead: `value`, `limit`, `at`, `low`, `high` (h), `more` if open."""
    edge = float(found.along[-1])
    rows = [
        {
            "value": each.limit,
            "limit": each.word,
            "at": found.now_hours + each.hours,
            "low": found.now_hours + (each.low or 0.0),
            "high": edge if each.high is None else min(found.now_hours + each.high, edge),
            "more": "or more" if each.high is None else "",
        }
        for each in found.reaches
        if each.hours is not None and each.outlook != "reached" and found.now_hours + each.hours <= edge
    ]
    return pd.DataFrame(rows, columns=["value", "limit", "at", "low", "high", "more"])


def fan(found: Projection, unit: str) -> drawing.Chart:
    """The readings since growth began, the line through them and its band ahead, and the limits that it reaches."""
    x = alt.X("hours:Q", title=_HOURS, scale=alt.Scale(zero=False, nice=False), axis=alt.Axis(tickCount=6))
    y = alt.Y("value:Q", title=unit, scale=alt.Scale(zero=False))
    read = alt.Chart(pd.DataFrame({"hours": found.hours, "value": found.readings}))
    tips = [alt.Tooltip("hours:Q", format=".1f"), alt.Tooltip("value:Q", format="+.2f")]
    dots = read.mark_point(filled=True, size=60, color=palette.ENGINES[0]).encode(x=x, y=y, tooltip=tips)
    rules = pd.DataFrame([{"value": each.limit, "limit": each.word} for each in found.reaches])
    rules = rules if len(rules) else drawing.NO_LIMITS
    here = alt.Chart(pd.DataFrame({"hours": [found.now_hours], "said": ["now"]}))
    now = here.mark_rule(color=palette.QUIET, strokeDash=[2, 3], strokeWidth=1.5).encode(x=x)
    said = here.mark_text(fontSize=drawing.LABEL_PX, dy=-8).encode(x=x, y=alt.value(0), text="said:N")
    return drawing.finished(
        alt.layer(*drawing.limit_rules(rules), *_band(found, x, y, unit), now, said, dots, *_reached(found)), 320
    )


_HOURS: Final = "engine hours"


def _band(found: Projection, x: alt.X, y: alt.Y, unit: str) -> list[alt.Chart]:
    """The line, whole up to now and dashed ahead, on its band; an open band is not drawn."""
    rows = pd.DataFrame(
        {"hours": found.along, "value": found.band.middle, "low": found.band.low, "high": found.band.high}
    )
    ahead = rows["hours"] >= found.now_hours
    lines = [
        alt.Chart(part).mark_line(color=palette.ENGINES[0], strokeWidth=2, strokeDash=dash).encode(x=x, y=y)
        for part, dash in ((rows[~ahead], [1, 0]), (rows[ahead], [5, 4]))
    ]
    shown = rows[np.isfinite(rows["low"]) & np.isfinite(rows["high"])]
    if shown.empty:
        return lines
    area = alt.Chart(shown).mark_area(color=palette.ENGINES[0], opacity=0.18)
    return [area.encode(x=x, y=alt.Y("low:Q", title=unit), y2="high:Q"), *lines]


def _reached(found: Projection) -> list[alt.Chart]:
    """On each limit the stretch of hours in which it is reached: a thick bar, a diamond at the likeliest."""
    rows = reach_rows(found)
    layers = []
    for word in drawing.LIMIT_WORDS:
        mine = alt.Chart(rows[rows["limit"] == word])
        bar = mine.mark_rule(strokeWidth=7, opacity=0.75, color=palette.STATUS[word])
        tips = [alt.Tooltip("limit:N"), *(alt.Tooltip(f"{name}:Q", format=".0f") for name in ("low", "at", "high"))]
        layers.append(bar.encode(x=alt.X("low:Q", title=_HOURS), x2="high:Q", y="value:Q", tooltip=tips))
        at = mine.mark_point(shape="diamond", filled=True, size=150, opacity=1, color=palette.STATUS[word])
        layers.append(at.encode(x=alt.X("at:Q", title=_HOURS), y="value:Q", tooltip=tips))
        more = mine.mark_text(fontSize=drawing.LABEL_PX, align="right", dy=-12)
        layers.append(more.encode(x=alt.X("high:Q", title=_HOURS), y="value:Q", text="more:N"))
    return layers if len(rows) else []
