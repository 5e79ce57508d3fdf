"""How an engine idles: the integral against temperature, gear by gear, and the fuel trim, cold, hot and between."""

from __future__ import annotations

from typing import Final

import altair as alt
import pandas as pd

from dashboard.charts import drawing, palette, picking
from pipeline.baselines import ThenNow
from pipeline.catalogue import Limits

PICK: Final = "window"
"""Name of the selection: a clicked idle window."""

AGES: Final = ("last runs", "between", "first runs", "before")
"""When a window was, against the level now and the baseline; before: another table or target was in force."""

_AGE_SHAPES: Final = ("triangle-up", "circle", "square", "cross")
_AGE_COLOURS: Final = (palette.GEARS["forward"], palette.QUIET, palette.ENGINES[1], palette.QUIET)

THERMALS: Final = ("cold", "hot")


def integral_rows(windows: pd.DataFrame, gear: str, compared: ThenNow | None) -> pd.DataFrame:
    """The windows in a gear with integral and temperature; `age` tells first runs from last ones.

    Without a comparison (too few runs) every window is among the last.
    """
    found = windows[(windows["gear"] == gear) & windows["integral_pct"].notna() & windows["temp_c"].notna()]
    if compared is None:
        return found.assign(age=AGES[0])
    # a run's windows lie after its beginning, so the last run of the baseline ends where the next one begins
    age = pd.Series(AGES[1], index=found.index)
    age[found["run_s"] <= compared.baseline_to_s] = AGES[2]
    age[found["run_s"] >= compared.now_from_s] = AGES[0]
    age[found["run_s"] < compared.since_s] = AGES[3]
    return found.assign(age=age)


def integral(rows: pd.DataFrame, expected: pd.DataFrame, limits: Limits, wanted: tuple[float, float]) -> drawing.Chart:
    """Integral against temperature over what the baseline expects, with the wanted band; a window can be picked."""
    pick = picking.pick(PICK)
    shown = [age for age in AGES if age in set(rows["age"])]
    band = alt.Chart(pd.DataFrame([{"low": wanted[0], "high": wanted[1]}]))
    zone = band.mark_rect(color=palette.STATUS["ready"], opacity=0.22).encode(y="low:Q", y2="high:Q")
    word = drawing.word_at_the_end(band, alt.Y("high:Q"), "wanted")
    colours = drawing.named_scale(dict(zip(AGES, _AGE_COLOURS, strict=True)), shown)
    shapes = drawing.named_scale(dict(zip(AGES, _AGE_SHAPES, strict=True)), shown)
    dots = (
        alt.Chart(rows)
        .mark_point(strokeWidth=1.4)
        .encode(
            x=alt.X("temp_c:Q", title="temperature, °C", scale=alt.Scale(zero=False), axis=alt.Axis(tickCount=6)),
            y=alt.Y("integral_pct:Q", title="integral, %"),
            color=alt.Color("age:N", scale=colours, legend=alt.Legend(columns=2)),
            shape=alt.Shape("age:N", scale=shapes, legend=alt.Legend(columns=2)),
            size=picking.sized(pick, 50),
            tooltip=_TIPS,
        )
        .add_params(pick)
    )
    places = drawing.limit_rows(limits, wanted)
    rules = (*drawing.limit_rules(places), drawing.limit_words(places))
    return drawing.finished(alt.layer(zone, word, *rules, *drawing.expectation(expected, "temperature, °C"), dots), 290)


def trim_rows(windows: pd.DataFrame) -> pd.DataFrame:
    """The windows with a trim, cold or hot: while the engine warms up, a trim belongs to neither."""
    return windows[windows["fuel_trim_pct"].notna() & windows["thermal"].isin(THERMALS)]


def trim(rows: pd.DataFrame, days: pd.DataFrame, steps: pd.DataFrame, limits: Limits) -> drawing.Chart:
    """Fuel trim of idle windows over the season, cold and hot told by shape and colour, and the middle of each day.

    `steps` (`local_ms`, `what`) are the moments at which the whole fleet moved.
    """
    pick = picking.pick(PICK)
    dots = (
        alt.Chart(rows)
        .mark_point(filled=True, opacity=0.65)
        .encode(
            x=drawing.time_axis(),
            y=alt.Y("fuel_trim_pct:Q", title="fuel trim, %"),
            color=alt.Color("thermal:N", scale=drawing.named_scale(palette.THERMAL, THERMALS)),
            shape=alt.Shape("thermal:N", scale=alt.Scale(domain=list(THERMALS), range=["square", "triangle-up"])),
            size=picking.sized(pick, 42),
            tooltip=_TIPS,
        )
        .add_params(pick)
    )
    middle = alt.Chart(days).encode(x=drawing.time_axis(), y="middle_pct:Q", tooltip=_DAY_TIPS)
    line = middle.mark_line(strokeWidth=2.5, color=palette.QUIET)
    named = alt.Chart(days.head(1)).mark_text(align="left", dy=18, fontSize=drawing.LABEL_PX - 1)
    named = named.encode(x=drawing.time_axis(), y="middle_pct:Q", text=alt.value("middle"))
    places = drawing.limit_rows(limits)
    rules = (*drawing.limit_rules(places), drawing.limit_words(places))
    return drawing.finished(alt.layer(*rules, *drawing.happenings(steps), dots, line, named), 340)


_DAY_TIPS: Final = [
    alt.Tooltip("when:N", title="day"),
    alt.Tooltip("cold_pct:Q", title="cold %", format="+.1f"),
    alt.Tooltip("hot_pct:Q", title="hot %", format="+.1f"),
    alt.Tooltip("middle_pct:Q", title="middle %", format="+.1f"),
    alt.Tooltip("windows:Q"),
]

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
