"""How an engine idles: the integral against temperature, gear by gear, and the fuel trim, cold, hot and between."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import altair as alt
import pandas as pd

from dashboard.charts import believing, drawing, palette, picking
from dashboard.charts.thinning import thinned
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

MOST_DRAWN: Final = 200
"""Windows of a kind up to which every one is drawn."""


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


def integral(
    rows: pd.DataFrame, expected: pd.DataFrame, limits: Limits, wanted: tuple[float, float]
) -> drawing.Picture:
    """Integral against temperature over what the baseline expects, with the wanted band; a window can be picked."""
    places = drawing.limit_rows(limits, wanted)
    looks = {age: look for age, look in _AGE_LOOKS.items() if age in set(rows["age"])}
    found = believing.marks(rows, "age", "integral_pct", looks, beside=places["value"].tolist(), across="temp_c")
    drawn = {
        "windows": _told(found.rows, "integral_pct", "withheld"),
        "wanted": pd.DataFrame([{"low": wanted[0], "high": wanted[1]}]),
        "expected": expected,
        drawing.LIMITS: places,
    }
    return drawing.Picture(_integral(found.looks), drawn)


@drawing.framed
def _integral(looks: believing.Looks) -> drawing.Chart:
    pick = picking.pick(PICK)
    band = drawing.rows_named("wanted")
    zone = band.mark_rect(color=palette.STATUS["ready"], opacity=0.22).encode(y=alt.Y("low:Q"), y2=alt.Y2("high"))
    word = drawing.word_at_the_end(band, alt.Y("high:Q"), alt.TextValue("wanted"))
    along, held = (
        alt.X(f"{name}:Q", title="temperature, °C", scale=alt.Scale(zero=False), axis=alt.Axis(tickCount=6))
        for name in ("along", "at")
    )
    dots = (
        drawing.rows_named("windows")
        .mark_point(strokeWidth=1.4)
        .encode(
            x=along,
            y=alt.Y("drawn:Q", title="integral, %"),
            color=alt.Color("mark:N", scale=believing.colours(looks), legend=alt.Legend(columns=2)),
            shape=alt.Shape("mark:N", scale=believing.shapes(looks), legend=alt.Legend(columns=2)),
            size=picking.sized(pick, 50),
            tooltip=alt.Tooltip("says:N"),
            description=alt.Description("says:N"),
        )
        .add_params(pick)
    )
    rules = (*drawing.limit_rules(), drawing.limit_words())
    return drawing.finished(alt.layer(zone, word, *rules, *drawing.expectation("expected", held), dots), 290)


def trim_rows(windows: pd.DataFrame) -> pd.DataFrame:
    """The windows with a trim, cold or hot: while the engine warms up, a trim belongs to neither."""
    return windows[windows["fuel_trim_pct"].notna() & windows["thermal"].isin(THERMALS)]


def trim(rows: pd.DataFrame, days: pd.DataFrame, steps: pd.DataFrame, limits: Limits) -> drawing.Picture:
    """Fuel trim of idle windows over the season, cold and hot told by shape and colour, and the middle of each day.

    `steps` (`local_ms`, `what`) are the moments at which the whole fleet moved.
    """
    places = drawing.limit_rows(limits)
    beside = places["value"].tolist()
    found = believing.marks(rows, "thermal", "fuel_trim_pct", _THERMAL_LOOKS, why="trim_withheld", beside=beside)
    windows = _told(found.rows, "fuel_trim_pct", "trim_withheld")
    drawn = {"windows": windows, "days": days, "first": days.head(1), "steps": steps, drawing.LIMITS: places}
    return drawing.Picture(_trim(found.looks), drawn)


@drawing.framed
def _trim(looks: believing.Looks) -> drawing.Chart:
    pick = picking.pick(PICK)
    dots = (
        drawing.rows_named("windows")
        .mark_point(filled=True, opacity=0.65)
        .encode(
            x=drawing.time_axis(),
            y=alt.Y("drawn:Q", title="fuel trim, %"),
            color=alt.Color("mark:N", scale=believing.colours(looks)),
            shape=alt.Shape("mark:N", scale=believing.shapes(looks)),
            size=picking.sized(pick, 42),
            tooltip=alt.Tooltip("says:N"),
            description=alt.Description("says:N"),
        )
        .add_params(pick)
    )
    middle = alt.Y("middle_pct:Q")
    line = drawing.rows_named("days").mark_line(strokeWidth=2.5, color=palette.QUIET)
    line = line.encode(x=drawing.time_axis(), y=middle, tooltip=_DAY_TIPS)
    named = drawing.rows_named("first").mark_text(align="left", dy=18, fontSize=drawing.LABEL_PX - 1)
    named = named.encode(x=drawing.time_axis(), y=middle, text=alt.TextValue("middle"))
    rules = (*drawing.limit_rules(), drawing.limit_words())
    return drawing.finished(alt.layer(*rules, *drawing.happenings("steps"), dots, line, named), 340)


_DAY_TIPS: Final = [
    alt.Tooltip("when:N", title="day"),
    alt.Tooltip("cold_pct:Q", title="cold %", format="+.1f"),
    alt.Tooltip("hot_pct:Q", title="hot %", format="+.1f"),
    alt.Tooltip("middle_pct:Q", title="middle %", format="+.1f"),
    alt.Tooltip("windows:Q"),
]


def _told(windows: pd.DataFrame, value: str, why: str) -> pd.DataFrame:
    """The windows that are drawn, each in words (`says`); of many of a mark the newest and those that stand out."""
    found = thinned(windows, "mark", value, MOST_DRAWN)
    return found.assign(says=[_says(row, why) for row in found.to_dict("records")])


def _says(row: Mapping[Any, Any], why: str) -> str:
    """An idle window in words, for whoever points at its mark; `why` is where it stands why it is withheld."""
    what = f"idle in {row['gear']}, {row['thermal']}"
    return believing.with_reason(row[why], believing.told(row, what, _WORDS))


_WORDS: Final = {
    "temp_c": "{:.0f} °C",
    "integral_pct": "integral {:+.1f} %",
    "fuel_trim_pct": "fuel trim {:+.1f} %",
    "rpm_mean": "{:.0f} rpm",
    "duration_s": "{:.0f} s long",
}
