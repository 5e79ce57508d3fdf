"""How an engine shifts: where each gear settles against its target, by which way, how fast, and all gears together."""

from __future__ import annotations

from typing import Final

import altair as alt
import pandas as pd

from dashboard.charts import believing, drawing, palette, picking
from pipeline.catalogue import Limits
from pipeline.overlays import Overlay

GEARS: Final = ("reverse", "neutral", "forward")
PICK: Final = "shift"
"""Name of the selection: a clicked shift."""

PARTS: Final = {"offset_pct": "offset", "span_pct": "span"}
_PART_LOOKS: Final = {"offset": (palette.ENGINES[1], "circle"), "span": (palette.ENGINES[0], "diamond")}
_LOOKS: Final = {gear: (palette.GEARS[gear], palette.GEAR_SHAPES[gear]) for gear in GEARS}


def position_rows(shifts: pd.DataFrame, gear: str, limits: Limits) -> pd.DataFrame:
    """The shifts into a gear with a settled position, and where the limits about their target stand, % of travel."""
    found = shifts[(shifts["to_gear"] == gear) & shifts["settled_pct"].notna()]
    bands = {
        f"{word}_{side}": found["target_pct"] + sign * limit
        for word, limit in (("watch", limits.watch), ("hold", limits.hold))
        if limit is not None
        for side, sign in (("low", -1), ("high", 1))
    }
    return found.assign(**bands)


def positions(rows: pd.DataFrame) -> drawing.Chart:
    """Target as a thick line, limits as thin ones about it, each with its word, settled positions as marks."""
    found = believing.marks(rows, "to_gear", "settled_pct", _LOOKS)
    base = alt.Chart(found.believed).encode(x=drawing.time_axis())
    last = alt.Chart(found.believed.tail(1))
    layers: list[alt.Chart] = []
    for word in drawing.LIMIT_WORDS:
        for side in ("low", "high"):
            name = f"{word}_{side}"
            if name in rows:
                colour, dash = palette.STATUS[word], drawing.DASHES[word]
                line = base.mark_line(interpolate="step-after", color=colour, strokeWidth=1.5, strokeDash=dash)
                layers.append(line.encode(y=_travel(name)))
                layers.append(drawing.word_at_the_end(last, _travel(name), word))
    target = base.mark_line(interpolate="step-after", color=palette.QUIET, strokeWidth=2.5)
    dots = (
        alt.Chart(found.rows)
        .mark_point(filled=True, size=46, opacity=0.8)
        .encode(
            x=drawing.time_axis(),
            y=_travel("drawn"),
            color=alt.Color("mark:N", scale=found.colours, legend=None),
            shape=alt.Shape("mark:N", scale=found.shapes, legend=None),
            tooltip=[*_TIPS, *found.tips],
        )
    )
    named = drawing.word_at_the_end(last, _travel("target_pct"), "target")
    return drawing.finished(alt.layer(*layers, target.encode(y=_travel("target_pct")), named, dots), 210)


def _travel(column: str) -> alt.Y:
    return alt.Y(f"{column}:Q", title="% of travel", scale=alt.Scale(zero=False))


def reach_rows(shifts: pd.DataFrame) -> pd.DataFrame:
    """The shifts that have a reach error."""
    return shifts[shifts["reach_error_pct"].notna() & shifts["to_gear"].notna()]


def reach(rows: pd.DataFrame, limits: Limits) -> drawing.Chart:
    """Reach error of every shift, the gear told by shape and colour; a mark can be picked."""
    pick, places = picking.pick(PICK), drawing.limit_rows(limits)
    found = believing.marks(rows, "to_gear", "reach_error_pct", _LOOKS, beside=places["value"].tolist())
    dots = (
        alt.Chart(found.rows)
        .mark_point(filled=True, opacity=0.85)
        .encode(
            x=drawing.time_axis(),
            y=alt.Y("drawn:Q", title="reach error, % of travel"),
            color=alt.Color("mark:N", scale=found.colours),
            shape=alt.Shape("mark:N", scale=found.shapes),
            size=picking.sized(pick, 60),
            tooltip=[*_TIPS, *found.tips],
        )
        .add_params(pick)
    )
    return drawing.finished(alt.layer(*drawing.limit_rules(places), drawing.limit_words(places), dots), 300)


def overlay(move: Overlay) -> drawing.Chart:
    """The newest shifts of one move as lines over the band and the middle of the first ones; the target as a rule."""
    x = alt.X("since_s:Q", title="seconds from the step", axis=alt.Axis(tickCount=6))
    y = alt.Y("position_pct:Q", title="% of travel", scale=alt.Scale(zero=False))
    band = alt.Chart(move.band[["since_s", "low_pct", "position_pct", "high_pct", "shifts"]])
    inner = band.mark_area(color=palette.QUIET, opacity=0.35).encode(
        x=x, y=alt.Y("low_pct:Q", title="% of travel", scale=alt.Scale(zero=False)), y2="high_pct:Q"
    )
    middle = band.mark_line(color=palette.QUIET, strokeWidth=2.5, strokeDash=[6, 3]).encode(
        x=x, y=y, tooltip=[alt.Tooltip("shifts:Q", title="first shifts"), alt.Tooltip("position_pct:Q", format=".1f")]
    )
    end = move.from_gear if move.to_gear == "neutral" else move.to_gear
    moments = move.shifts.set_index("shift_no")["when"]
    rows = move.lines.assign(when=move.lines["shift_no"].map(moments))[["shift_no", "since_s", "position_pct", "when"]]
    lines = (
        alt.Chart(rows)
        .mark_line(strokeWidth=1.2, opacity=0.6, color=palette.GEARS[end])
        .encode(x=x, y=y, detail="shift_no:N", tooltip=[alt.Tooltip("when:N", title="shift of")])
    )
    target = pd.DataFrame({"position_pct": [] if move.target_pct is None else [move.target_pct]})
    rule = alt.Chart(target).mark_rule(color=palette.ENGINES[1], strokeDash=[2, 3], strokeWidth=1.6).encode(y=y)
    word = drawing.word_at_the_end(alt.Chart(target), y, "target")
    return drawing.finished(alt.layer(inner, middle, lines, rule, word), 250)


def transit_rows(shifts: pd.DataFrame, gear: str, against: str) -> pd.DataFrame:
    """The shifts into a gear, from or to neutral, that have a transit time and the quantity it is held against."""
    beside_neutral = (shifts["from_gear"] == "neutral") | (shifts["to_gear"] == "neutral")
    told = shifts["transit_s"].notna() & shifts[against].notna()
    return shifts[beside_neutral & told & (shifts["to_gear"] == gear)]


def transit(rows: pd.DataFrame, expected: pd.DataFrame, against: str, title: str) -> drawing.Chart:
    """Transit time against battery voltage or temperature, over what the baseline expects there."""
    x = alt.X("along:Q", title=title, scale=alt.Scale(zero=False, nice=True), axis=alt.Axis(tickCount=6))
    found = believing.marks(rows, "to_gear", "transit_s", _LOOKS, why="transit_withheld", across=against)
    dots = (
        alt.Chart(found.rows)
        .mark_point(filled=True, opacity=0.75, size=50)
        .encode(
            x=x,
            y=alt.Y("drawn:Q", title="transit, s", scale=alt.Scale(zero=False)),
            color=alt.Color("mark:N", scale=found.colours, legend=None),
            shape=alt.Shape("mark:N", scale=found.shapes, legend=None),
            tooltip=[*_TIPS, *found.tips],
        )
    )
    return drawing.finished(alt.layer(*drawing.expectation(expected, title), dots), 220)


def offset_span_rows(found: pd.DataFrame) -> pd.DataFrame:
    """Offset and span of each run as two rows: `part`, `pct`."""
    long = found.melt(
        id_vars=["at_s", "local_ms", "when", "shifts", "file", "withheld"],
        value_vars=list(PARTS),
        var_name="part",
        value_name="pct",
    )
    return long.assign(part=long["part"].map(PARTS))


def offset_span(rows: pd.DataFrame) -> drawing.Chart:
    """What all gears do together, and what the way between the two ends does, run by run."""
    found = believing.marks(rows, "part", "pct", _PART_LOOKS)
    encoding = {
        "x": drawing.time_axis(),
        "y": alt.Y("drawn:Q", title="% of travel"),
        "color": alt.Color("mark:N", scale=found.colours),
    }
    line = alt.Chart(found.believed).mark_line(strokeWidth=1.2, opacity=0.6).encode(**encoding)
    dots = (
        alt.Chart(found.rows)
        .mark_point(filled=True, size=55, opacity=0.9)
        .encode(**encoding, shape=alt.Shape("mark:N", scale=found.shapes), tooltip=[*_PART_TIPS, *found.tips])
    )
    zero = alt.Chart(pd.DataFrame({"pct": [0.0]})).mark_rule(color=palette.QUIET).encode(y="pct:Q")
    return drawing.finished(alt.layer(zero, line, dots), 230)


_PART_TIPS: Final = [
    alt.Tooltip("when:N", title="run of"),
    alt.Tooltip("part:N"),
    alt.Tooltip("pct:Q", format="+.2f"),
    alt.Tooltip("shifts:Q"),
    alt.Tooltip("file:N", title="log"),
]

_TIPS: Final = [
    alt.Tooltip("when:N", title="at"),
    alt.Tooltip("from_gear:N", title="from"),
    alt.Tooltip("to_gear:N", title="to"),
    alt.Tooltip("target_pct:Q", title="target %", format=".1f"),
    alt.Tooltip("settled_pct:Q", title="settled %", format=".2f"),
    alt.Tooltip("reach_error_pct:Q", title="reach error %", format="+.2f"),
    alt.Tooltip("transit_s:Q", title="transit s", format=".2f"),
    alt.Tooltip("battery_v:Q", title="battery V", format=".1f"),
    alt.Tooltip("temp_c:Q", title="temperature °C", format=".0f"),
    alt.Tooltip("file:N", title="log"),
]
