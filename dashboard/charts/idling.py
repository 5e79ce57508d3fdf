"""How an engine idles: the integral against temperature, gear by gear, and the fuel trim, cold and hot."""

from __future__ import annotations

from typing import Final

import altair as alt
import pandas as pd

from dashboard.charts import drawing, palette
from pipeline.catalogue import Limits

RECENT_RUNS: Final = 5
"""Runs that count as recent: as many as make the level now."""

AGES: Final = (f"last {RECENT_RUNS} runs", "earlier")


def integral_rows(windows: pd.DataFrame, gear: str) -> pd.DataFrame:
    """The windows in a gear with integral and temperature; `age` tells the last runs from earlier ones."""
    found = windows[(windows["gear"] == gear) & windows["integral_pct"].notna() & windows["temp_c"].notna()]
    return found.assign(age=found["runs_ago"].lt(RECENT_RUNS).map({True: AGES[0], False: AGES[1]}))


def integral(rows: pd.DataFrame, limits: Limits, wanted: tuple[float, float]) -> drawing.Chart:
    """Integral against temperature with the wanted band; the last runs are filled, earlier ones hollow."""
    band = alt.Chart(pd.DataFrame([{"low": wanted[0], "high": wanted[1]}])).mark_rect(
        color=palette.STATUS["ready"], opacity=0.22
    )
    dots = (
        alt.Chart(rows)
        .mark_point(size=55, strokeWidth=1.4)
        .encode(
            x=alt.X("temp_c:Q", title="temperature, °C", scale=alt.Scale(zero=False)),
            y=alt.Y("integral_pct:Q", title="integral, %"),
            color=alt.Color(
                "age:N", scale=alt.Scale(domain=list(AGES), range=[palette.GEARS["forward"], palette.QUIET])
            ),
            shape=alt.Shape("age:N", scale=alt.Scale(domain=list(AGES), range=["triangle-up", "circle"])),
            opacity=alt.condition(alt.datum.age == AGES[0], alt.value(1), alt.value(0.6)),
            tooltip=_TIPS,
        )
    )
    rules = drawing.limit_rules(drawing.limit_rows(limits, wanted))
    return drawing.finished(alt.layer(band.encode(y="low:Q", y2="high:Q"), *rules, dots), 270)


def trim_rows(windows: pd.DataFrame) -> pd.DataFrame:
    """The windows with a trim, cold or hot: while the engine warms up, a trim belongs to neither."""
    return windows[windows["fuel_trim_pct"].notna() & windows["thermal"].isin(["cold", "hot"])]


def trim(rows: pd.DataFrame, limits: Limits) -> drawing.Chart:
    """Fuel trim of idle windows over time, cold and hot told by shape and colour; the line is the day's median."""
    thermals = ["cold", "hot"]
    colour = alt.Color("thermal:N", scale=drawing.named_scale(palette.THERMAL, thermals))
    base = alt.Chart(rows)
    dots = base.mark_point(filled=True, size=42, opacity=0.65).encode(
        x=drawing.time_axis(),
        y=alt.Y("fuel_trim_pct:Q", title="fuel trim, %"),
        color=colour,
        shape=alt.Shape("thermal:N", scale=alt.Scale(domain=thermals, range=["square", "triangle-up"])),
        tooltip=_TIPS,
    )
    days = base.mark_line(strokeWidth=2.5).encode(
        x=alt.X("utcyearmonthdate(local_ms):T", title=None), y="median(fuel_trim_pct):Q", color=colour
    )
    return drawing.finished(alt.layer(*drawing.limit_rules(drawing.limit_rows(limits)), dots, days), 320)


_TIPS: Final = [
    alt.Tooltip("when:N", title="at"),
    alt.Tooltip("gear:N"),
    alt.Tooltip("thermal:N"),
    alt.Tooltip("temp_c:Q", title="temperature °C", format=".0f"),
    alt.Tooltip("integral_pct:Q", title="integral %", format="+.1f"),
    alt.Tooltip("fuel_trim_pct:Q", title="fuel trim %", format="+.1f"),
    alt.Tooltip("rpm_mean:Q", title="rpm", format=".0f"),
    alt.Tooltip("duration_s:Q", title="length s", format=".0f"),
    alt.Tooltip("file:N", title="log"),
]
