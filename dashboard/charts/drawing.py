"""What all charts share: pictures as a frame and its rows, time axes in the fleet's zone, limits as rules, sizes.

A frame is a picture without its rows. It is made once for each set of arguments and kept, because making it takes
longer than everything else a screen does; the rows are sent beside it, once each, and only the columns that are drawn.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache, wraps
from typing import Any, Final, Literal, ParamSpec

import altair as alt
import pandas as pd
from altair.utils.schemapi import debug_mode

from dashboard.charts import palette
from pipeline.catalogue import Limits

Chart = alt.LayerChart | alt.Chart | alt.FacetChart | alt.VConcatChart

LABEL_PX: Final = 14

LimitWord = Literal["watch", "hold"]
LIMIT_WORDS: Final[tuple[LimitWord, ...]] = ("watch", "hold")
DASHES: Final[dict[LimitWord, list[int]]] = {"watch": [6, 4], "hold": [1, 0]}

LABELS_ON_LIGHT: Final = "#4A555D"
LABELS_ON_DARK: Final = "#B7C1C7"

FRAMES_KEPT: Final = 128
"""Frames of one kind that are kept; limits and facets differ a little from engine to engine."""

LIMITS: Final = "limits"
"""Name of the rows that say where limits stand."""

_Asked = ParamSpec("_Asked")
_FIELD_IN_WORDS: Final = re.compile(r"datum\.(\w+)")

alt.theme.enable("none")
"""The app has its own sizes and colours; the library's would be written into every frame."""


@dataclass(frozen=True)
class Frame:
    """A picture without its rows, and the names of all columns that it draws."""

    spec: Mapping[str, Any]
    fields: frozenset[str]


@dataclass(frozen=True, eq=False)
class Picture:
    """A frame and the rows that fill it, by the names they have in it."""

    frame: Frame
    rows: Mapping[str, pd.DataFrame]

    def spec(self, *, dark: bool) -> dict[str, Any]:
        """What the browser is given: the frame, labels for the ground it stands on, the columns that are drawn."""
        return {**self.frame.spec, "config": _config(dark=dark), "datasets": dict(self._drawn())}

    def to_dict(self) -> dict[str, Any]:
        """The whole picture as one Vega-Lite specification that can be checked and kept, on a light ground."""
        return {**self.spec(dark=False), "datasets": {name: rows.to_dict("records") for name, rows in self._drawn()}}

    def _drawn(self) -> Iterator[tuple[str, pd.DataFrame]]:
        for name, rows in self.rows.items():
            yield name, rows[[each for each in rows if each in self.frame.fields]].reset_index(drop=True)


def framed(build: Callable[_Asked, Chart]) -> Callable[_Asked, Frame]:
    """Make a frame of what `build` draws, once for each set of arguments; they can be hashed.

    The library's check of every piece against its schema takes most of the time, and the frames are ours alone: the
    tests check each of them whole instead.
    """

    def made(*asked: Any, **named: Any) -> Frame:
        with debug_mode(arg=False):
            spec = build(*asked, **named).to_dict(validate=False)
        return Frame(spec, frozenset(_fields(spec)))

    kept: Callable[..., Frame] = lru_cache(maxsize=FRAMES_KEPT)(made)

    @wraps(build)
    def frame(*asked: _Asked.args, **named: _Asked.kwargs) -> Frame:
        return kept(*asked, **named)

    return frame


def rows_named(name: str) -> alt.Chart:
    """The beginning of a layer that draws the rows of that name."""
    return alt.Chart(alt.NamedData(name))


def _fields(spec: Any) -> Iterator[str]:
    """Every column that a specification names, by itself or in an expression."""
    if isinstance(spec, str):
        yield from _FIELD_IN_WORDS.findall(spec)
    elif isinstance(spec, Mapping):
        for key, inside in spec.items():
            if key == "field" and isinstance(inside, str):
                yield inside
            elif key == "fields":
                yield from inside
            else:
                yield from _fields(inside)
    elif isinstance(spec, Sequence):
        for each in spec:
            yield from _fields(each)


def time_axis() -> alt.X:
    """The wall clock of the fleet's zone: `local_ms` on a UTC scale, so that the browser's zone does not matter."""
    axis = alt.Axis(format="%d %b", tickCount=6, labelFlush=24)
    return alt.X("local_ms:T", title=None, scale=alt.Scale(type="utc"), axis=axis)


NO_LIMITS: Final = pd.DataFrame({"value": pd.Series(dtype="float"), "limit": pd.Series(dtype="str")})


def limit_rows(limits: Limits, band: tuple[float, float] = (0.0, 0.0), worse: str = "away") -> pd.DataFrame:
    """The values at which the limits stand, on the bad sides of what is wanted: `value`, `limit` (watch or hold)."""
    rows = []
    for word, limit in (("watch", limits.watch), ("hold", limits.hold)):
        if limit is not None:
            places = [band[0] - limit, band[1] + limit] if worse == "away" else [limit]
            rows += [{"value": place, "limit": word} for place in places]
    return pd.DataFrame(rows, columns=["value", "limit"])


def limit_rules(**ends: Any) -> list[alt.Chart]:
    """Watch limits as dashed, hold limits as solid rules, a layer each: dots share no colour scale with them.

    `ends` are where they begin and end, if not at the edges.
    """
    return [
        rows_named(LIMITS)
        .transform_filter(f"datum.limit == '{word}'")
        .mark_rule(strokeWidth=1.5, color=palette.STATUS[word], strokeDash=DASHES[word])
        .encode(y=alt.Y("value:Q"), tooltip=[alt.Tooltip("limit:N"), alt.Tooltip("value:Q")], **ends)
        for word in LIMIT_WORDS
    ]


def limit_words() -> alt.Chart:
    """The word of each limit at the right end of its rule: colour and dash are not the only cue."""
    return word_at_the_end(rows_named(LIMITS), alt.Y("value:Q"), alt.Text("limit:N"))


def word_at_the_end(rows: alt.Chart, y: alt.Y, word: alt.Text | alt.TextValue) -> alt.Chart:
    """One word above the right end of a line or a rule."""
    mark = rows.mark_text(align="right", dy=-7, fontSize=LABEL_PX - 1)
    named: alt.Chart = mark.encode(x=alt.value("width"), y=y, text=word)
    return named


def expectation(name: str, along: alt.X) -> list[alt.Chart]:
    """What a baseline expects along a quantity: a dashed line in a band that holds nine readings in ten."""
    base = rows_named(name).encode(x=along)
    return [
        base.mark_area(color=palette.QUIET, opacity=0.3).encode(y=alt.Y("low:Q"), y2=alt.Y2("high")),
        base.mark_line(color=palette.QUIET, strokeWidth=2.5, strokeDash=[6, 3]).encode(
            y=alt.Y("expected:Q"), tooltip=[alt.Tooltip("expected:Q", title="baseline expects", format=".3~g")]
        ),
    ]


def happenings(name: str) -> list[alt.Chart]:
    """Upright rules with their words beside them: `local_ms`, `what`."""
    base = rows_named(name).encode(x=time_axis(), tooltip=[alt.Tooltip("what:N")])
    return [
        base.mark_rule(color=palette.NOTE, strokeWidth=2, strokeDash=[2, 3]),
        base.mark_text(align="left", dx=5, dy=-24, fontSize=LABEL_PX - 1).encode(
            y=alt.value("height"), text=alt.Text("what:N")
        ),
    ]


def named_scale(colours: Any, names: Sequence[str]) -> alt.Scale:
    """A fixed colour for each name, whatever else is in the data."""
    return alt.Scale(domain=list(names), range=[colours[name] for name in names])


def finished(chart: Chart, height: int) -> Chart:
    """The chart at its height, as wide as its place."""
    sized: Chart = chart.properties(height=height, width="container")
    return sized


def stacked(panels: Sequence[alt.LayerChart], zoom: str) -> Chart:
    """Panels under each other, each with its own scales; the app makes them as wide as it is.

    Dragging and the wheel move and widen their common time; `zoom` is the name of that selection.
    """
    own: Any = dict.fromkeys(("x", "y", "color", "shape", "strokeDash"), "independent")
    found = alt.vconcat(*panels, spacing=14, resolve=alt.Resolve(scale=alt.ScaleResolveMap(**own)))
    # said once for all panels: added to each of them, the library copies every panel for every other
    select = alt.IntervalSelectionConfig(type="interval", encodings=["x"])
    found.params = [alt.TopLevelSelectionParameter(name=zoom, bind="scales", select=select, views=named_views(found))]
    return found


def named_views(stack: alt.VConcatChart) -> list[str]:
    """The names of the last layers of panels under each other, by which what they share finds them."""
    for place, panel in enumerate(stack.vconcat):
        panel.layer[-1].name = f"drawn_{place}"
    return [panel.layer[-1].name for panel in stack.vconcat]


def panel_title(text: str) -> alt.TitleParams:
    """The name of a panel, above it at the left."""
    return alt.TitleParams(text, anchor="start", fontSize=LABEL_PX, fontWeight="bold", offset=4)


def _config(*, dark: bool) -> dict[str, Any]:
    """Labels that can be read in poor light at arm's length, inked for the ground: at least 4.5:1."""
    ink = LABELS_ON_DARK if dark else LABELS_ON_LIGHT
    words = {"labelFontSize": LABEL_PX, "titleFontSize": LABEL_PX, "labelColor": ink, "titleColor": ink}
    return {
        "axis": {**words, "titleFontWeight": "normal", "labelLimit": 220},
        "legend": {**words, "orient": "top", "symbolSize": 110, "title": None},
        "title": {"fontSize": LABEL_PX, "color": ink},
        "view": {"stroke": None},
        # words written into a chart stand on the ground itself; a mark's own colour goes before this
        "text": {"color": ink},
    }
