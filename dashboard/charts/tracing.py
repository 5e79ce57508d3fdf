"""A stretch of a log: channels stacked on one time axis, target and position in one panel, events marked.

All panels zoom and move together. The whole log stands above them, to choose a stretch from.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

import altair as alt
import pandas as pd

from dashboard.charts import drawing, palette
from pipeline.channels import CHANNELS
from pipeline.log_events import LANES


@dataclass(frozen=True)
class Panel:
    """Channels that share a panel and a unit: the measured one first, its target after it."""

    title: str
    channels: tuple[str, ...]


PANELS: Final = (
    Panel("shift", ("shift_position", "shift_target")),
    Panel("speed", ("rpm", "rpm_target")),
    Panel("gear asked for", ("gear",)),
    Panel("throttle and helm", ("throttle", "pedal")),
    Panel("idle controller", ("idle_integral", "idle_feedforward")),
    Panel("loops active", ("idle_active", "fuel_closed_loop")),
    Panel("lambda", ("lambda", "lambda_target")),
    Panel("fuel trim", ("fuel_trim",)),
    Panel("temperatures", ("oil_temp", "coolant_temp", "air_temp")),
    Panel("battery", ("battery",)),
    Panel("oil pressure", ("oil_pressure",)),
    Panel("manifold pressure", ("manifold_pressure",)),
    Panel("engine hours", ("engine_hours",)),
)

STRETCH: Final = "stretch"
"""Name of the selection on the whole log: the stretch that is drawn over it."""

ZOOM: Final = "zoom"
"""Name of the selection that all panels share: their common time."""

MOST_RULES: Final = 60
"""With more events in the stretch the panels show no rules, only the strip does."""

MOST_NUMBERS: Final = 8
"""Up to so many shifts in the stretch have their number written beside them."""

_IN_VIEW: Final = {"param": ZOOM}
_COLOURS: Final = (palette.ENGINES[0], palette.ENGINES[1], palette.ENGINES[2])
_DASHES: Final = ([1, 0], [6, 3], [2, 2])
_LEFT_PX: Final = 92
_RIGHT_PX: Final = 14
_PANEL_PX: Final = 104
_LANE_PX: Final = 22
_LEGEND_PX: Final = 150
_WORDS: Final = {
    "shift_position": "position",
    "shift_target": "target",
    "rpm": "speed",
    "rpm_target": "target",
    "pedal": "helm",
    "idle_integral": "integral",
    "idle_feedforward": "feed-forward",
    "idle_active": "idle loop",
    "fuel_closed_loop": "fuel loop",
    "lambda_target": "target",
    "oil_temp": "oil",
    "coolant_temp": "coolant",
    "air_temp": "air",
}
"""What a line is called in its panel, where that is shorter than the channel's name."""

_GEAR_NAMES: Final = "datum.value < 0 ? 'reverse' : datum.value > 0 ? 'forward' : 'neutral'"
_UNITS: Final = {"degC": "°C", "lambda": ""}
_LANE_COLOURS: Final = {
    "into forward": palette.GEARS["forward"],
    "into neutral": palette.GEARS["neutral"],
    "into reverse": palette.GEARS["reverse"],
    "shift": palette.QUIET,
    "idle": palette.STATUS["ready"],
    "lift off idle": palette.ENGINES[1],
    "stall": palette.STATUS["hold"],
    "signal": palette.STATUS["watch"],
}
_LANE_SHAPES: Final = {
    "into forward": palette.GEAR_SHAPES["forward"],
    "into neutral": palette.GEAR_SHAPES["neutral"],
    "into reverse": palette.GEAR_SHAPES["reverse"],
    "shift": "circle",
    "idle": "square",
    "lift off idle": "square",
    "stall": "cross",
    "signal": "diamond",
}


def panels_of(channels: Sequence[str]) -> tuple[Panel, ...]:
    """The panels for which a log holds at least one channel."""
    return tuple(panel for panel in PANELS if set(panel.channels) & set(channels))


def panel_rows(trace: pd.DataFrame, panels: Sequence[Panel]) -> Iterator[tuple[Panel, pd.DataFrame]]:
    """Those of the panels for which the stretch holds at least one sample, with their rows."""
    for panel in panels:
        found = trace[trace["channel"].isin(panel.channels)]
        if not found.empty:
            yield panel, found[["channel", "local_ms", "value"]]


def event_rows(events: pd.DataFrame, from_s: float, to_s: float) -> pd.DataFrame:
    """The events that a stretch touches and that have a lane, cut at its ends."""
    found = events[events["lane"].ne("") & (events["to_s"] >= from_s) & (events["at_s"] <= to_s)]
    late, early = (found["at_s"] - from_s) * 1000, (found["to_s"] - to_s) * 1000
    return found.assign(
        local_ms=found["local_ms"] - late.clip(upper=0),
        local_to_ms=found["local_to_ms"] - early.clip(lower=0),
    )


def stacked(
    panels: Sequence[tuple[Panel, pd.DataFrame]], events: pd.DataFrame, span: Sequence[float]
) -> drawing.Picture:
    """The panels under each other with the events on top; `span` is the stretch in `local_ms`, the same for all."""
    moments = events[events["kind"].isin(["shift", "stall"])]
    rules = moments[["local_ms", "lane", "says"]] if len(moments) <= MOST_RULES else moments.iloc[:0]
    lanes = tuple(lane for lane in LANES if lane in set(events["lane"]))
    has_numbers = int(events["kind"].eq("shift").sum()) <= MOST_NUMBERS
    held = tuple(
        (panel, tuple(name for name in panel.channels if name in set(rows["channel"]))) for panel, rows in panels
    )
    frame = _stacked(held, lanes, tuple(span), has_numbers=has_numbers)
    return drawing.Picture(frame, {"events": events, "rules": rules, **{panel.title: rows for panel, rows in panels}})


@drawing.framed
def _stacked(
    panels: tuple[tuple[Panel, tuple[str, ...]], ...],
    lanes: tuple[str, ...],
    span: tuple[float, ...],
    *,
    has_numbers: bool,
) -> drawing.Chart:
    strips = [_strip(lanes, span, has_numbers=has_numbers)] if lanes else []
    return drawing.stacked([*strips, *(_panel(*each, span, is_last=each is panels[-1]) for each in panels)], ZOOM)


def overview(rows: pd.DataFrame, span: Sequence[float], chosen: Sequence[float] | None) -> drawing.Picture:
    """The whole log, small; a stretch can be drawn over it. `chosen` is the one it begins with (`local_ms`)."""
    return drawing.Picture(_overview(tuple(span), None if chosen is None else tuple(chosen)), {"log": rows})


@drawing.framed
def _overview(span: tuple[float, ...], chosen: tuple[float, ...] | None) -> drawing.Chart:
    initial: Any = {"x": [_clock(each) for each in chosen]} if chosen is not None else alt.Undefined
    brush = alt.selection_interval(name=STRETCH, encodings=["x"], value=initial)
    chart = (
        drawing.rows_named("log")
        .mark_area(color=palette.QUIET, opacity=0.75, line={"color": palette.ENGINES[0], "strokeWidth": 1})
        .encode(x=_along(span, labels=True), y=alt.Y("value:Q", title=None, axis=alt.Axis(tickCount=2, **_inside())))
        .add_params(brush)
    )
    return drawing.finished(alt.layer(chart), 120)


def _panel(which: Panel, held: Sequence[str], span: Sequence[float], *, is_last: bool) -> alt.LayerChart:
    """One panel: its lines, and a rule where a shift or a stall happened."""
    legend = _legend() if len(held) > 1 else None
    lines = (
        drawing.rows_named(which.title)
        .mark_line(strokeWidth=1.7, interpolate="linear")
        .encode(
            x=_along(span, labels=is_last),
            y=_upright(which),
            color=alt.Color(
                "channel:N", scale=alt.Scale(domain=list(held), range=list(_COLOURS[: len(held)])), legend=legend
            ),
            strokeDash=alt.StrokeDash(
                "channel:N", scale=alt.Scale(domain=list(held), range=list(_DASHES[: len(held)])), legend=legend
            ),
            tooltip=[
                alt.Tooltip("channel:N"),
                alt.Tooltip("value:Q", format=".4~g"),
                alt.Tooltip("utchoursminutesseconds(local_ms):T", title="at", format="%H:%M:%S"),
            ],
        )
        .transform_filter(_IN_VIEW)
    )
    rules = (
        drawing.rows_named("rules")
        .mark_rule(color=palette.QUIET, strokeWidth=1, strokeDash=[2, 3])
        .encode(x=_along(span, labels=is_last), tooltip=[alt.Tooltip("says:N", title="event")])
        .transform_filter(_IN_VIEW)
    )
    unit = _unit(held[0])
    title = f"{which.title}, {unit}" if unit not in {"", "0/1"} else which.title
    return _stacked_one([rules, lines], title, _PANEL_PX)


def _strip(lanes: Sequence[str], span: Sequence[float], *, has_numbers: bool) -> alt.LayerChart:
    """What happened, in lanes named in words: a mark for a moment, a bar for what lasted."""
    scale = alt.Scale(domain=list(lanes))
    events = drawing.rows_named("events")
    base = events.encode(
        x=_along(span, labels=False),
        y=alt.Y("lane:N", sort=list(lanes), title=None, scale=scale, axis=alt.Axis(grid=True, **_inside())),
        color=alt.Color("lane:N", scale=drawing.named_scale(_LANE_COLOURS, lanes), legend=None),
        tooltip=[alt.Tooltip("says:N", title="event")],
    )
    bars = base.transform_filter("datum.to_s > datum.at_s").mark_bar(height=7).encode(x2=alt.X2("local_to_ms"))
    marks = (
        base.transform_filter("datum.to_s <= datum.at_s")
        .mark_point(filled=True, size=95, opacity=1)
        .encode(shape=alt.Shape("lane:N", scale=drawing.named_scale(_LANE_SHAPES, lanes), legend=None))
    )
    numbers = (
        events.transform_filter("datum.kind == 'shift'")
        .mark_text(align="left", dx=9, fontSize=drawing.LABEL_PX)
        .encode(x=_along(span, labels=False), y=alt.Y("lane:N", sort=list(lanes), scale=scale))
    )
    layers = [bars, marks, *([numbers.encode(text=alt.Text("short:N"))] if has_numbers else [])]
    shown = [each.transform_filter(_IN_VIEW) for each in layers]
    return _stacked_one(shown, "what happened", _LANE_PX * len(lanes) + 4)


def _stacked_one(layers: Sequence[alt.Chart], title: str, height: int) -> alt.LayerChart:
    """One of the stack."""
    return alt.LayerChart(layer=list(layers), height=height, title=drawing.panel_title(title))


def _along(span: Sequence[float], *, labels: bool) -> alt.X:
    """The time axis, in every panel from the same place on, so that the times stand under each other."""
    scale = alt.Scale(
        type="utc",
        domain=[_clock(each) for each in span],
        nice=False,
        range=[_LEFT_PX, alt.ExprRef(f"width - {_RIGHT_PX}")],
    )
    axis = alt.Axis(format="%H:%M:%S", tickCount=5, labels=labels, ticks=labels, labelOverlap=True)
    return alt.X("local_ms:T", title=None, scale=scale, axis=axis)


def _inside() -> dict[str, Any]:
    """The value axis stands inside the room that the time axis leaves at the left."""
    return {"offset": -_LEFT_PX, "domain": False}


def _legend() -> alt.Legend:
    """The names of a panel's lines, on the height of its title."""
    words = " ".join(f"datum.value == '{name}' ? '{word}' :" for name, word in _WORDS.items())
    return alt.Legend(
        orient="none",
        legendX=_LEGEND_PX,
        legendY=-30,
        direction="horizontal",
        labelExpr=f"{words} datum.value",
        columnPadding=12,
    )


def _unit(channel: str) -> str:
    return _UNITS.get(CHANNELS[channel].unit, CHANNELS[channel].unit)


def _upright(which: Panel) -> alt.Y:
    """The value's axis; gears are named and states are 0 or 1."""
    if which.channels == ("gear",):
        axis = alt.Axis(values=[-1, 0, 1], labelExpr=_GEAR_NAMES, **_inside())
        return alt.Y("value:Q", title=None, scale=alt.Scale(domain=[-1.15, 1.15]), axis=axis)
    if which.title == "loops active":
        axis = alt.Axis(values=[0, 1], labelExpr="datum.value ? 'active' : 'off'", **_inside())
        return alt.Y("value:Q", title=None, scale=alt.Scale(domain=[-0.1, 1.1]), axis=axis)
    exact: dict[str, Any] = {"format": ".2f"} if which.channels == ("engine_hours",) else {}
    axis = alt.Axis(tickCount=4, **exact, **_inside())
    return alt.Y("value:Q", title=None, scale=alt.Scale(zero=False), axis=axis)


def _clock(wall_ms: float) -> alt.DateTime:
    """An end of the axis; written out, because a bare number is taken for a year."""
    at = datetime.fromtimestamp(wall_ms / 1000, UTC)
    return alt.DateTime(
        year=at.year,
        month=at.month,
        date=at.day,
        hours=at.hour,
        minutes=at.minute,
        seconds=at.second,
        milliseconds=at.microsecond // 1000,
        utc=True,
    )
