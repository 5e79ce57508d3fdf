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
) -> drawing.Picture:
    """Readings over time, engines told by shape and colour, with limits and a lettered rule for what happened."""
    found = believing.marks(rows, "engine", "shown", _engine_looks(engines), beside=limits["value"].tolist())
    kinds = tuple(kind for kind in _DASHES if (happened["kind"] == kind).any())
    drawn = {"runs": found.rows, "believed": found.believed, "happened": happened, drawing.LIMITS: limits}
    return drawing.Picture(_season(found.looks, kinds, unit), {**drawn, "days": happened.drop_duplicates("mark")})


@drawing.framed
def _season(looks: believing.Looks, kinds: tuple[HappeningKind, ...], unit: str) -> drawing.Chart:
    encoding = {
        "x": drawing.time_axis(),
        "y": alt.Y("drawn:Q", title=unit, scale=alt.Scale(zero=False)),
        "color": alt.Color("mark:N", scale=believing.colours(looks), legend=alt.Legend(columns=2)),
    }
    pick = alt.selection_point(name=PICK, fields=["run_id", "engine_id"], on="click", empty=False)
    marks = drawing.rows_named("runs").mark_point(filled=True, opacity=0.9)
    dots = marks.encode(
        **encoding,
        size=alt.condition(pick, alt.value(240), alt.value(70)),
        shape=alt.Shape("mark:N", scale=believing.shapes(looks), legend=alt.Legend(columns=2)),
        tooltip=[
            alt.Tooltip("when:N", title="run of"),
            alt.Tooltip("engine:N"),
            alt.Tooltip("value:Q", title="as read", format="+.2f"),
            alt.Tooltip("own:Q", title="its own", format="+.2f"),
            alt.Tooltip("n:Q", title="samples"),
            alt.Tooltip("temp_c:Q", title="temperature °C", format=".0f"),
            alt.Tooltip("battery_v:Q", title="battery V", format=".1f"),
            alt.Tooltip("file:N", title="log"),
            *believing.tips(looks),
        ],
    )
    lines = drawing.rows_named("believed").mark_line(strokeWidth=1.2, opacity=0.6).encode(**encoding)
    rules = [*drawing.limit_rules(), drawing.limit_words()]
    layers = [*rules, *_happened(kinds), lines, dots.add_params(pick)]
    return drawing.finished(alt.layer(*layers), 360)


def _engine_looks(engines: Sequence[str]) -> dict[str, tuple[str, str]]:
    """A colour and a shape for each engine, by its place in the boat, whatever the readings are of."""
    colours, shapes = palette.ENGINES, palette.ENGINE_SHAPES
    return {
        engine: (colours[place % len(colours)], shapes[place % len(shapes)]) for place, engine in enumerate(engines)
    }


def _happened(kinds: Sequence[HappeningKind]) -> list[alt.Chart]:
    """A rule for each thing that happened, dashed by its kind, and its day's letter at the top."""
    tips = [alt.Tooltip(name, type="nominal") for name in ("mark", "when", "kind", "who", "what")]
    drawn = [
        drawing.rows_named("happened")
        .transform_filter(f"datum.kind == '{kind}'")
        .mark_rule(color=palette.NOTE, strokeWidth=_WIDTHS.get(kind, 2.0), strokeDash=_DASHES[kind])
        .encode(x=drawing.time_axis(), tooltip=tips)
        for kind in kinds
    ]
    if not drawn:
        return []
    letters = drawing.rows_named("days").mark_text(fontSize=drawing.LABEL_PX, fontWeight="bold", dy=-8)
    text = alt.Text("mark:N")
    return [*drawn, letters.encode(x=drawing.time_axis(), y=alt.value(0), text=text, tooltip=tips)]


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


def fan(found: Projection, unit: str) -> drawing.Picture:
    """The readings since growth began, the line through them and its band ahead, and the limits that it reaches."""
    along = pd.DataFrame(
        {"hours": found.along, "value": found.band.middle, "low": found.band.low, "high": found.band.high}
    )
    closed = along[np.isfinite(along["low"]) & np.isfinite(along["high"])]
    ahead = along["hours"] >= found.now_hours
    limits = pd.DataFrame([{"value": each.limit, "limit": each.word} for each in found.reaches])
    rows = {
        "read": pd.DataFrame({"hours": found.hours, "value": found.readings}),
        "until": along.loc[~ahead, ["hours", "value"]],
        "ahead": along.loc[ahead, ["hours", "value"]],
        "band": closed,
        "now": pd.DataFrame({"hours": [found.now_hours], "said": ["now"]}),
        "reached": reach_rows(found),
        drawing.LIMITS: limits if len(limits) else drawing.NO_LIMITS,
    }
    return drawing.Picture(_fan(unit, has_band=len(closed) > 0, is_reached=len(rows["reached"]) > 0), rows)


@drawing.framed
def _fan(unit: str, *, has_band: bool, is_reached: bool) -> drawing.Chart:
    x = alt.X("hours:Q", title=_HOURS, scale=alt.Scale(zero=False, nice=False), axis=alt.Axis(tickCount=6))
    y = alt.Y("value:Q", title=unit, scale=alt.Scale(zero=False))
    tips = [alt.Tooltip("hours:Q", format=".1f"), alt.Tooltip("value:Q", format="+.2f")]
    dots = drawing.rows_named("read").mark_point(filled=True, size=60, color=palette.ENGINES[0])
    here = drawing.rows_named("now")
    now = here.mark_rule(color=palette.QUIET, strokeDash=[2, 3], strokeWidth=1.5).encode(x=x)
    said = here.mark_text(fontSize=drawing.LABEL_PX, dy=-8).encode(x=x, y=alt.value(0), text=alt.Text("said:N"))
    layers = [*drawing.limit_rules(), *_band(x, y, unit, has_band=has_band), now, said]
    layers += [dots.encode(x=x, y=y, tooltip=tips), *(_reached() if is_reached else []), drawing.limit_words()]
    return drawing.finished(alt.layer(*layers), 320)


_HOURS: Final = "engine hours"


def _band(x: alt.X, y: alt.Y, unit: str, *, has_band: bool) -> list[alt.Chart]:
    """The line, whole up to now and dashed ahead, on its band; an open band is not drawn."""
    lines = [
        drawing.rows_named(name).mark_line(color=palette.ENGINES[0], strokeWidth=2, strokeDash=dash).encode(x=x, y=y)
        for name, dash in (("until", [1, 0]), ("ahead", [5, 4]))
    ]
    if not has_band:
        return lines
    area = drawing.rows_named("band").mark_area(color=palette.ENGINES[0], opacity=0.18)
    return [area.encode(x=x, y=alt.Y("low:Q", title=unit), y2=alt.Y2("high")), *lines]


def _reached() -> list[alt.Chart]:
    """On each limit the stretch of hours in which it is reached: a thick bar, a diamond at the likeliest."""
    layers = []
    y = alt.Y("value:Q")
    for word in drawing.LIMIT_WORDS:
        mine = drawing.rows_named("reached").transform_filter(f"datum.limit == '{word}'")
        bar = mine.mark_rule(strokeWidth=7, opacity=0.75, color=palette.STATUS[word])
        tips = [alt.Tooltip("limit:N"), *(alt.Tooltip(f"{name}:Q", format=".0f") for name in ("low", "at", "high"))]
        layers.append(bar.encode(x=alt.X("low:Q", title=_HOURS), x2=alt.X2("high"), y=y, tooltip=tips))
        at = mine.mark_point(shape="diamond", filled=True, size=150, opacity=1, color=palette.STATUS[word])
        layers.append(at.encode(x=alt.X("at:Q", title=_HOURS), y=y, tooltip=tips))
        more = mine.mark_text(fontSize=drawing.LABEL_PX, align="right", dy=-12)
        layers.append(more.encode(x=alt.X("high:Q", title=_HOURS), y=y, text=alt.Text("more:N")))
    return layers
