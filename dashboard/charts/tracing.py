"""A stretch of a log: channels stacked on one time axis, what is wanted and what is reached in one panel."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

import altair as alt
import pandas as pd

from dashboard.charts import drawing, palette
from pipeline.channels import CHANNELS


@dataclass(frozen=True)
class Panel:
    """Channels that share a panel and a unit: the measured one first, its target after it."""

    title: str
    channels: tuple[str, ...]


PANELS: Final = (
    Panel("shift", ("shift_position", "shift_target")),
    Panel("gear asked for", ("gear",)),
    Panel("speed", ("rpm", "rpm_target")),
    Panel("throttle and helm", ("throttle", "pedal")),
    Panel("idle controller", ("idle_integral", "idle_feedforward")),
    Panel("lambda", ("lambda", "lambda_target")),
    Panel("fuel trim", ("fuel_trim",)),
    Panel("temperatures", ("oil_temp", "coolant_temp", "air_temp")),
    Panel("battery", ("battery",)),
    Panel("oil pressure", ("oil_pressure",)),
    Panel("manifold pressure", ("manifold_pressure",)),
)

_COLOURS: Final = (palette.ENGINES[0], palette.ENGINES[1], palette.ENGINES[2])
_DASHES: Final = ([1, 0], [6, 3], [2, 2])
_EXTENT_PX: Final = 60
_GEAR_NAMES: Final = "datum.value < 0 ? 'reverse' : datum.value > 0 ? 'forward' : 'neutral'"
_UNITS: Final = {"degC": "°C", "lambda": ""}


def panel_rows(trace: pd.DataFrame) -> Iterator[tuple[Panel, pd.DataFrame]]:
    """The panels for which the stretch holds at least one channel, with their rows."""
    for panel in PANELS:
        found = trace[trace["channel"].isin(panel.channels)]
        if not found.empty:
            yield panel, found[["channel", "local_ms", "value"]]


def panel(which: Panel, rows: pd.DataFrame, span: Sequence[float]) -> drawing.Chart:
    """One panel; `span` is the stretch in `local_ms`, the same for all, so that they stand under each other."""
    held = [name for name in which.channels if name in set(rows["channel"])]
    unit = _UNITS.get(CHANNELS[held[0]].unit, CHANNELS[held[0]].unit)
    chart = (
        alt.Chart(rows)
        .mark_line(strokeWidth=1.7, interpolate="linear")
        .encode(
            x=alt.X(
                "local_ms:T",
                title=None,
                scale=alt.Scale(type="utc", domain=[_clock(each) for each in span], nice=False),
                axis=alt.Axis(format="%H:%M:%S", tickCount=5),
            ),
            y=_upright(which, unit),
            color=alt.Color("channel:N", scale=alt.Scale(domain=held, range=list(_COLOURS[: len(held)]))),
            strokeDash=alt.StrokeDash("channel:N", scale=alt.Scale(domain=held, range=list(_DASHES[: len(held)]))),
        )
    )
    return drawing.finished(chart, 180)


def _upright(which: Panel, unit: str) -> alt.Y:
    """The value's axis, equally wide in every panel, so that the times stand under each other; gears are named."""
    if which.channels == ("gear",):
        axis = alt.Axis(minExtent=_EXTENT_PX, maxExtent=_EXTENT_PX, values=[-1, 0, 1], labelExpr=_GEAR_NAMES)
        return alt.Y("value:Q", title=" ", scale=alt.Scale(domain=[-1, 1]), axis=axis)
    axis = alt.Axis(minExtent=_EXTENT_PX, maxExtent=_EXTENT_PX, tickCount=4)
    return alt.Y("value:Q", title=unit or " ", scale=alt.Scale(zero=False), axis=axis)


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
