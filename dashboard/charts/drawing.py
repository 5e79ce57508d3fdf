"""What all charts share: time axes in the fleet's zone, limits as rules, sizes that can be read at arm's length."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final, Literal

import altair as alt
import pandas as pd

from dashboard.charts import palette
from pipeline.catalogue import Limits

Chart = alt.LayerChart | alt.Chart | alt.FacetChart | alt.VConcatChart

LABEL_PX: Final = 14

LimitWord = Literal["watch", "hold"]
LIMIT_WORDS: Final[tuple[LimitWord, ...]] = ("watch", "hold")
DASHES: Final[dict[LimitWord, list[int]]] = {"watch": [6, 4], "hold": [1, 0]}

LABELS_ON_LIGHT: Final = "#4A555D"
LABELS_ON_DARK: Final = "#B7C1C7"


def time_axis(title: str | None = None) -> alt.X:
    """The wall clock of the fleet's zone: `local_ms` on a UTC scale, so that the browser's zone does not matter."""
    return alt.X("local_ms:T", title=title, scale=alt.Scale(type="utc"), axis=alt.Axis(format="%d %b", tickCount=6))


NO_LIMITS: Final = pd.DataFrame({"value": pd.Series(dtype="float"), "limit": pd.Series(dtype="str")})


def limit_rows(limits: Limits, band: tuple[float, float] = (0.0, 0.0), worse: str = "away") -> pd.DataFrame:
    """The values at which the limits stand, on the bad sides of what is wanted: `value`, `limit` (watch or hold)."""
    rows = []
    for word, limit in (("watch", limits.watch), ("hold", limits.hold)):
        if limit is not None:
            places = [band[0] - limit, band[1] + limit] if worse == "away" else [limit]
            rows += [{"value": place, "limit": word} for place in places]
    return pd.DataFrame(rows, columns=["value", "limit"])


def limit_rules(rows: pd.DataFrame) -> list[alt.Chart]:
    """Watch limits as dashed, hold limits as solid rules, a layer each: dots share no colour scale with them."""
    return [
        alt.Chart(rows[rows["limit"] == word])
        .mark_rule(strokeWidth=1.5, color=palette.STATUS[word], strokeDash=DASHES[word])
        .encode(y="value:Q", tooltip=[alt.Tooltip("limit:N"), alt.Tooltip("value:Q")])
        for word in LIMIT_WORDS
    ]


def limit_words(rows: pd.DataFrame) -> alt.Chart:
    """The word of each limit at the right end of its rule: colour and dash are not the only cue."""
    words = alt.Chart(rows).mark_text(align="right", dy=-7, fontSize=LABEL_PX - 1)
    named: alt.Chart = words.encode(x=alt.value("width"), y="value:Q", text="limit:N")
    return named


def word_at_the_end(rows: alt.Chart, y: alt.Y, word: str) -> alt.Chart:
    """One word above the right end of a line or a rule."""
    mark = rows.mark_text(align="right", dy=-7, fontSize=LABEL_PX - 1)
    named: alt.Chart = mark.encode(x=alt.value("width"), y=y, text=alt.value(word))
    return named


def expectation(expected: pd.DataFrame, title: str) -> list[alt.Chart]:
    """What a baseline expects along a quantity: a dashed line in a band that holds nine readings in ten."""
    base = alt.Chart(expected).encode(x=alt.X("at:Q", title=title, scale=alt.Scale(zero=False)))
    return [
        base.mark_area(color=palette.QUIET, opacity=0.3).encode(y="low:Q", y2="high:Q"),
        base.mark_line(color=palette.QUIET, strokeWidth=2.5, strokeDash=[6, 3]).encode(
            y="expected:Q", tooltip=[alt.Tooltip("expected:Q", title="baseline expects", format=".3~g")]
        ),
    ]


def happenings(rows: pd.DataFrame) -> list[alt.Chart]:
    """Upright rules with their words beside them: `local_ms`, `what`."""
    base = alt.Chart(rows).encode(x=time_axis(), tooltip=[alt.Tooltip("what:N")])
    return [
        base.mark_rule(color=palette.NOTE, strokeWidth=2, strokeDash=[2, 3]),
        base.mark_text(align="left", dx=5, fontSize=LABEL_PX - 1).encode(y=alt.value(8), text="what:N"),
    ]


def named_scale(colours: Any, names: Sequence[str]) -> alt.Scale:
    """A fixed colour for each name, whatever else is in the data."""
    return alt.Scale(domain=list(names), range=[colours[name] for name in names])


def finished(chart: Chart, height: int) -> Chart:
    """The chart at its height, as wide as its place, with labels that can be read in poor light."""
    sized: Chart = chart.properties(height=height, width="container")
    return _readable(sized)


def stacked(panels: Sequence[alt.LayerChart], zoom: str) -> Chart:
    """Panels under each other, each with its own scales; the app makes them as wide as it is.

    Dragging and the wheel move and widen their common time; `zoom` is the name of that selection.
    """
    own: Any = dict.fromkeys(("x", "y", "color", "shape", "strokeDash"), "independent")
    found = alt.vconcat(*panels, spacing=14, resolve=alt.Resolve(scale=alt.ScaleResolveMap(**own)))
    # said once for all panels: added to each of them, the library copies every panel for every other
    select = alt.IntervalSelectionConfig(type="interval", encodings=["x"])
    views = [panel.layer[-1].name for panel in found.vconcat]
    found.params = [alt.TopLevelSelectionParameter(name=zoom, bind="scales", select=select, views=views)]
    return _readable(found)


def panel_title(text: str) -> alt.TitleParams:
    """The name of a panel, above it at the left."""
    return alt.TitleParams(text, anchor="start", fontSize=LABEL_PX, fontWeight="bold", offset=4)


def _readable(chart: Chart) -> Chart:
    text: dict[str, Any] = {"labelFontSize": LABEL_PX, "titleFontSize": LABEL_PX}
    done: Chart = chart.configure(
        axis=alt.AxisConfig(**text, titleFontWeight="normal", labelLimit=220),
        legend=alt.LegendConfig(**text, orient="top", symbolSize=110, title=None),
        title=alt.TitleConfig(fontSize=LABEL_PX),
        view=alt.ViewConfig(stroke=None),
    )
    return done


def inked(chart: Chart, *, dark: bool) -> Chart:
    """The chart with labels for the ground it stands on: at least 4.5:1."""
    ink = LABELS_ON_DARK if dark else LABELS_ON_LIGHT
    done = chart.copy()
    for part in (done.config.axis, done.config.legend):
        part.labelColor = part.titleColor = ink
    done.config.title.color = ink
    # words written into a chart stand on the ground itself; a mark's own colour goes before this
    done.config.text = alt.MarkConfig(color=ink)
    return done
