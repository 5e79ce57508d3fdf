"""How an engine idles: the integral against temperature, gear by gear, and the fuel trim, cold, hot and between."""

from __future__ import annotations

from typing import Final

import altair as alt
import pandas as pd

from dashboard.charts import believing, drawing, palette, picking
from pipeline.baselines import ThenNow
from pipeline.catalogue import Limits

PICK: Final = "window"
"""Name of the selection: a clicked idle window."""

AGES: Final = ("last runs", "between", "first runs", "before")
"""When a window was, against the level now and the baseline; before: another table or target was in force."""

_AGE_LOOKS: Final = {
    "last runs": (palette.GEARS["forward"], "triangle-up"),
    "between": (palette.QUIET, "circle"),
    "first runs": (palette.ENGINES[1], "square"),
    "before": (palette.QUIET, "cross"),
}

THERMALS: Final = ("cold", "hot")
_THERMAL_LOOKS: Final = {"cold": (palette.THERMAL["cold"], "square"), "hot": (palette.THERMAL["hot"], "triangle-up")}


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
    pick, places = picking.pick(PICK), drawing.limit_rows(limits, wanted)
    looks = {age: look for age, look in _AGE_LOOKS.items() if age in set(rows["age"])}
    found = believing.marks(rows, "age", "integral_pct", looks, beside=places["value"].tolist(), across="temp_c")
    band = alt.Chart(pd.DataFrame([{"low": wanted[0], "high": wanted[1]}]))
    zone = band.mark_rect(color=palette.STATUS["ready"], opacity=0.22).encode(y="low:Q", y2="high:Q")
    word = drawing.word_at_the_end(band, alt.Y("high:Q"), "wanted")
    dots = (
        alt.Chart(found.rows)
        .mark_point(strokeWidth=1.4)
        .encode(
            x=alt.X("along:Q", title="temperature, °C", scale=alt.Scale(zero=False), axis=alt.Axis(tickCount=6)),
            y=alt.Y("drawn:Q", title="integral, %"),
            color=alt.Color("mark:N", scale=found.colours, legend=alt.Legend(columns=2)),
            shape=alt.Shape("mark:N", scale=found.shapes, legend=alt.Legend(columns=2)),
            size=picking.sized(pick, 50),
            tooltip=[*_TIPS, *found.tips],
        )
        .add_params(pick)
    )
    rules = (*drawing.limit_rules(places), drawing.limit_words(places))
    return drawing.finished(alt.layer(zone, word, *rules, *drawing.expectation(expected, "temperature, °C"), dots), 290)


def trim_rows(windows: pd.DataFrame) -> pd.DataFrame:
    """The windows with a trim, cold or hot: while the engine warms up, a trim belongs to neither."""
    return windows[windows["fuel_trim_pct"].notna() & windows["thermal"].isin(THERMALS)]


def trim(rows: pd.DataFrame, days: pd.DataFrame, steps: pd.DataFrame, limits: Limits) -> drawing.Chart:
    """Fuel trim of idle windows over the season, cold and hot told by shape and colour, and the middle of each day.

    `steps` (`local_ms`, `what`) are the moments at which the whole fleet moved.
    """
    pick, places = picking.pick(PICK), drawing.limit_rows(limits)
    beside = places["value"].tolist()
    found = believing.marks(rows, "thermal", "fuel_trim_pct", _THERMAL_LOOKS, why="trim_withheld", beside=beside)
    dots = (
        alt.Chart(found.rows)
        .mark_point(filled=True, opacity=0.65)
        .encode(
            x=drawing.time_axis(),
            y=alt.Y("drawn:Q", title="fuel trim, %"),
            color=alt.Color("mark:N", scale=found.colours),
            shape=alt.Shape("mark:N", scale=found.shapes),
            size=picking.sized(pick, 42),
            tooltip=[*_TIPS, *found.tips],
        )
        .add_params(pick)
    )
    middle = alt.Chart(days).encode(x=drawing.time_axis(), y="middle_pct:Q", tooltip=_DAY_TIPS)
    line = middle.mark_line(strokeWidth=2.5, color=palette.QUIET)
    named = alt.Chart(days.head(1)).mark_text(align="left", dy=18, fontSize=drawing.LABEL_PX - 1)
    named = named.encode(x=drawing.time_axis(), y="middle_pct:Q", text=alt.value("middle"))
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
