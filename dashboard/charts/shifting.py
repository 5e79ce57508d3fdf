"""How an engine shifts: where each gear settles against its target, by which way, how fast, and all gears together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import altair as alt
import pandas as pd

from dashboard.charts import believing, drawing, palette, picking, stacking
from dashboard.charts.thinning import thinned
from pipeline.catalogue import Limits
from pipeline.overlays import Overlay

GEARS: Final = ("reverse", "neutral", "forward")
PICK: Final = "shift"
"""Name of the selection: a clicked shift."""

MOST_DRAWN: Final = 150
"""Shifts into a gear up to which every one is drawn."""

PARTS: Final = {"offset_pct": "offset", "span_pct": "span"}
_PART_LOOKS: Final = {"offset": (palette.ENGINES[1], "circle"), "span": (palette.ENGINES[0], "diamond")}
_LOOKS: Final = {gear: (palette.GEARS[gear], palette.GEAR_SHAPES[gear]) for gear in GEARS}

_SIDES: Final = {"low": -1, "high": 1}


def reach_rows(shifts: pd.DataFrame) -> pd.DataFrame:
    """The shifts that have a reach error."""
    return shifts[shifts["reach_error_pct"].notna() & shifts["to_gear"].notna()]


def _told(shifts: pd.DataFrame, value: str, why: str) -> pd.DataFrame:
    """The shifts that are drawn, each in words (`says`); of many of a mark the newest and those that stand out."""
    found = thinned(shifts, "mark", value, MOST_DRAWN)
    return found.assign(says=[_says(row, why) for row in found.to_dict("records")])


def target_rows(shifts: pd.DataFrame, limits: Limits) -> pd.DataFrame:
    """The target into each gear wherever it changes, and at its last shift, with the limits about it, % of travel."""
    gears = shifts.groupby("to_gear", sort=False)
    is_new = shifts["target_pct"].ne(gears["target_pct"].shift())
    is_last = ~shifts.duplicated("to_gear", keep="last")
    found = shifts.loc[is_new | is_last, ["to_gear", "at_s", "local_ms", "target_pct"]]
    bands = {
        f"{word}_{side}": found["target_pct"] + sign * limit
        for word, limit in _set(limits).items()
        for side, sign in _SIDES.items()
    }
    return found.assign(**bands)


def word_rows(targets: pd.DataFrame) -> pd.DataFrame:
    """What each line of `target_rows` is called, at the height of its end: `to_gear`, `value`, `word`."""
    last = targets.drop_duplicates("to_gear", keep="last")
    lines = [name for name in targets.columns if str(name).endswith(("_pct", "_low", "_high"))]
    long = last.melt(id_vars=["to_gear"], value_vars=lines, var_name="word", value_name="value")
    return long.assign(word=long["word"].str.partition("_")[0])


def _set(limits: Limits) -> Mapping[drawing.LimitWord, float]:
    """The limits that are set."""
    both = {"watch": limits.watch, "hold": limits.hold}
    return {word: limit for word in drawing.LIMIT_WORDS if (limit := both[word]) is not None}


def settled(shifts: pd.DataFrame, limits: Limits) -> drawing.Picture:
    """Reach error of all gears together, under it each gear's settled positions about its target; marks can be picked.

    `shifts` are those of `reach_rows`.
    """
    gears = tuple(gear for gear in GEARS if shifts["to_gear"].eq(gear).any())
    places = drawing.limit_rows(limits)
    found = believing.marks(shifts, "to_gear", "reach_error_pct", _LOOKS, beside=places["value"].tolist())
    drawn = _told(found.rows, "reach_error_pct", "withheld").assign(settled=_settled_beside(shifts))
    targets = target_rows(found.believed, limits)
    rows = {"shifts": drawn, "targets": targets, "words": word_rows(targets)}
    rows |= {drawing.LIMITS: places, stacking.ENDS: stacking.ends(shifts, "local_ms")}
    return drawing.Picture(_settled(gears, tuple(_set(limits)), found.looks), rows)


def _settled_beside(shifts: pd.DataFrame) -> pd.Series[Any]:
    """The settled positions, withheld ones held beside those of their gear."""
    each: list[pd.Series[Any]] = [
        believing.beside_believed(rows["settled_pct"], rows["withheld"].isna()) for _, rows in shifts.groupby("to_gear")
    ]
    beside: pd.Series[Any] = pd.concat(each)
    return beside


@drawing.framed
def _settled(gears: tuple[str, ...], words: tuple[drawing.LimitWord, ...], looks: believing.Looks) -> drawing.Chart:
    pick = picking.pick(PICK)
    along = stacking.time_along(is_last=False)
    dots = _dots(pick, 60, looks).encode(x=along, y=stacking.upright("drawn"))
    named = stacking.words(drawing.rows_named(drawing.LIMITS), stacking.upright("value"), alt.Text("limit:N"))
    layers = [*drawing.limit_rules(**stacking.across()), named, dots]
    top = stacking.panel(layers, along, 230, "reach error, all gears, % of travel")
    below = [_positions(gear, words, _dots(pick, 46, looks), is_last=gear == gears[-1]) for gear in gears]
    return picking.in_all(stacking.panels([top, *below]), PICK)


def _dots(pick: alt.Parameter, size: int, looks: believing.Looks) -> alt.Chart:
    """A mark a shift; its gear told by shape and colour."""
    marks = drawing.rows_named("shifts").mark_point(filled=True, opacity=0.85)
    told: alt.Chart = marks.encode(
        color=alt.Color("mark:N", scale=believing.colours(looks)),
        shape=alt.Shape("mark:N", scale=believing.shapes(looks)),
        size=picking.sized(pick, size),
        tooltip=alt.Tooltip("says:N"),
        description=alt.Description("says:N"),
    )
    return told


def _positions(gear: str, words: Sequence[drawing.LimitWord], dots: alt.Chart, *, is_last: bool) -> alt.LayerChart:
    """Target as a thick line, limits as thin ones about it, each with its word, settled positions as marks."""
    mine = f"datum.to_gear == '{gear}'"
    along = stacking.time_along(is_last=is_last)
    base = drawing.rows_named("targets").transform_filter(mine).encode(x=along)
    styles: list[tuple[str, dict[str, Any]]] = [
        (f"{word}_{side}", {"color": palette.STATUS[word], "strokeDash": drawing.DASHES[word], "strokeWidth": 1.5})
        for word in words
        for side in _SIDES
    ]
    styles.append(("target_pct", {"color": palette.QUIET, "strokeWidth": 2.5}))
    lines = [
        base.mark_line(interpolate="step-after", **style).encode(y=stacking.upright(name)) for name, style in styles
    ]
    named = drawing.rows_named("words").transform_filter(mine)
    dots = dots.transform_filter(mine).encode(x=along, y=stacking.upright("settled"))
    layers = [*lines, stacking.words(named, stacking.upright("value"), alt.Text("word:N")), dots]
    return stacking.panel(layers, along, 130, f"{gear}: settled position about its target, % of travel")


def overlay(move: Overlay) -> drawing.Picture:
    """The newest shifts of one move as lines over the band and the middle of the first ones; the target as a rule."""
    end = move.from_gear if move.to_gear == "neutral" else move.to_gear
    moments = move.shifts.set_index("shift_no")["when"]
    target = pd.DataFrame({"position_pct": [] if move.target_pct is None else [move.target_pct]})
    lines = move.lines.assign(when=move.lines["shift_no"].map(moments))
    return drawing.Picture(_overlay(end), {"band": move.band, "lines": lines, "target": target})


@drawing.framed
def _overlay(gear: str) -> drawing.Chart:
    x = alt.X("since_s:Q", title="seconds from the step", axis=alt.Axis(tickCount=6))
    y = alt.Y("position_pct:Q", title="% of travel", scale=alt.Scale(zero=False))
    band = drawing.rows_named("band")
    inner = band.mark_area(color=palette.QUIET, opacity=0.35).encode(
        x=x, y=alt.Y("low_pct:Q", title="% of travel", scale=alt.Scale(zero=False)), y2=alt.Y2("high_pct")
    )
    middle = band.mark_line(color=palette.QUIET, strokeWidth=2.5, strokeDash=[6, 3]).encode(
        x=x, y=y, tooltip=[alt.Tooltip("shifts:Q", title="first shifts"), alt.Tooltip("position_pct:Q", format=".1f")]
    )
    mark = drawing.rows_named("lines").mark_line(strokeWidth=1.2, opacity=0.6, color=palette.GEARS[gear])
    lines = mark.encode(x=x, y=y, detail=alt.Detail("shift_no:N"), tooltip=[alt.Tooltip("when:N", title="shift of")])
    target = drawing.rows_named("target")
    rule = target.mark_rule(color=palette.ENGINES[1], strokeDash=[2, 3], strokeWidth=1.6).encode(y=y)
    word = drawing.word_at_the_end(target, y, alt.TextValue("target"))
    return drawing.finished(alt.layer(inner, middle, lines, rule, word), 250)


def transit_rows(shifts: pd.DataFrame, against: str) -> pd.DataFrame:
    """The shifts from or to neutral that have a transit time and the quantity it is held against."""
    beside_neutral = (shifts["from_gear"] == "neutral") | (shifts["to_gear"] == "neutral")
    return shifts[beside_neutral & shifts["transit_s"].notna() & shifts[against].notna() & shifts["to_gear"].notna()]


def transit(shifts: pd.DataFrame, expected: Mapping[str, pd.DataFrame], against: str, title: str) -> drawing.Picture:
    """Transit time against battery voltage or temperature, a gear a panel, over what the baseline expects there.

    `shifts` are those of `transit_rows`, `expected` is the baseline's line by gear.
    """
    gears = tuple(gear for gear in GEARS if shifts["to_gear"].eq(gear).any())
    found = believing.marks(shifts, "to_gear", "transit_s", _LOOKS, why="transit_withheld", across=against)
    rows = {"shifts": _told(found.rows, "transit_s", "transit_withheld"), **{gear: expected[gear] for gear in gears}}
    rows[stacking.ENDS] = stacking.ends(found.rows, "along")
    return drawing.Picture(_transit(gears, found.looks, title), rows)


@drawing.framed
def _transit(gears: tuple[str, ...], looks: believing.Looks, title: str) -> drawing.Chart:
    return stacking.panels([_transit_into(gear, looks, title, is_last=gear == gears[-1]) for gear in gears])


def _transit_into(gear: str, looks: believing.Looks, title: str, *, is_last: bool) -> alt.LayerChart:
    along, expected = (
        stacking.along(f"{name}:Q", title, is_last=is_last, zero=False, nice=True) for name in ("along", "at")
    )
    marks = drawing.rows_named("shifts").transform_filter(f"datum.to_gear == '{gear}'")
    dots = marks.mark_point(filled=True, opacity=0.75, size=50).encode(
        x=along,
        y=stacking.upright("drawn"),
        color=alt.Color("mark:N", scale=believing.colours(looks), legend=None),
        shape=alt.Shape("mark:N", scale=believing.shapes(looks), legend=None),
        tooltip=alt.Tooltip("says:N"),
        description=alt.Description("says:N"),
    )
    return stacking.panel([*drawing.expectation(gear, expected), dots], along, 150, f"into {gear}, s")


def offset_span_rows(found: pd.DataFrame) -> pd.DataFrame:
    """Offset and span of each run as two rows: `part`, `pct`."""
    long = found.melt(
        id_vars=["at_s", "local_ms", "when", "shifts", "file", "withheld"],
        value_vars=list(PARTS),
        var_name="part",
        value_name="pct",
    )
    return long.assign(part=long["part"].map(PARTS))


def offset_span(rows: pd.DataFrame) -> drawing.Picture:
    """What all gears do together, and what the way between the two ends does, run by run."""
    found = believing.marks(rows, "part", "pct", _PART_LOOKS)
    shown = {"runs": found.rows, "believed": found.believed, "zero": pd.DataFrame({"pct": [0.0]})}
    return drawing.Picture(_offset_span(found.looks), shown)


@drawing.framed
def _offset_span(looks: believing.Looks) -> drawing.Chart:
    encoding = {
        "x": drawing.time_axis(),
        "y": alt.Y("drawn:Q", title="% of travel"),
        "color": alt.Color("mark:N", scale=believing.colours(looks)),
    }
    tips = [
        alt.Tooltip("when:N", title="run of"),
        alt.Tooltip("part:N"),
        alt.Tooltip("pct:Q", format="+.2f"),
        alt.Tooltip("shifts:Q"),
        alt.Tooltip("file:N", title="log"),
        *believing.tips(looks),
    ]
    line = drawing.rows_named("believed").mark_line(strokeWidth=1.2, opacity=0.6).encode(**encoding)
    marks = drawing.rows_named("runs").mark_point(filled=True, size=55, opacity=0.9)
    dots = marks.encode(**encoding, shape=alt.Shape("mark:N", scale=believing.shapes(looks)), tooltip=tips)
    zero = drawing.rows_named("zero").mark_rule(color=palette.QUIET).encode(y=alt.Y("pct:Q"))
    return drawing.finished(alt.layer(zero, line, dots), 230)


def _says(row: Mapping[Any, Any], why: str) -> str:
    """A shift in words, for whoever points at its mark; `why` is where it stands why it is withheld."""
    what = f"{row['from_gear']} to {row['to_gear']}"
    return believing.with_reason(row[why], believing.told(row, what, _WORDS))


_WORDS: Final = {
    "target_pct": "target {:.1f} %",
    "settled_pct": "settled {:.2f} %",
    "reach_error_pct": "reach error {:+.2f} %",
    "transit_s": "transit {:.2f} s",
    "battery_v": "battery {:.1f} V",
    "temp_c": "{:.0f} °C",
}
