"""An indicator over the season: readings with what happened on the way, and every engine week by week."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

import altair as alt
import pandas as pd

from dashboard.charts import drawing, marks, palette
from pipeline.catalogue import Indicator, Limits
from pipeline.logbook import Note
from pipeline.screen_data import local_ms
from pipeline.states import State

PICK: Final = "run"
"""Name of the selection: a clicked run, by its log and engine."""

STANDINGS: Final = ("within", "watch", "hold")
_SHAPES: Final = ("circle", "triangle-up", "square")


def season_rows(season: pd.DataFrame, boat: str, engines: Sequence[str]) -> pd.DataFrame:
    """The readings of a boat's engines."""
    return season[(season["boat"] == boat) & season["engine"].isin(engines)]


def happening_rows(states: Sequence[State], notes: Sequence[Note], zone: ZoneInfo) -> pd.DataFrame:
    """Where each engine's comparison starts anew, and the notes: `kind`, `what`, local times."""
    rows = [
        {"at": state.moved.started_at, "kind": "compared from", "what": f"{state.key.engine_id}: {state.moved.reason}"}
        for state in states
        if state.moved.reason != "commissioning"
    ]
    rows += [
        {
            "at": note.at,
            "kind": "note",
            "what": f"{note.engine or 'boat'}, {note.kind.value.replace('_', ' ')}: {note.text}",
        }
        for note in notes
    ]
    found = pd.DataFrame(
        [{**row, "local_ms": local_ms(row["at"].timestamp(), zone)} for row in rows if isinstance(row["at"], datetime)]
    )
    return found.drop(columns="at") if rows else pd.DataFrame(columns=["kind", "what", "local_ms"])


def season(rows: pd.DataFrame, happenings: pd.DataFrame, title: str, limits: pd.DataFrame) -> drawing.Chart:
    """Readings of a boat's engines over time, told by shape and colour, with limits and what happened."""
    engines = sorted(rows["engine"].unique())
    colours = palette.ENGINES[: len(engines)]
    base = alt.Chart(rows).encode(
        x=drawing.time_axis(),
        y=alt.Y("value:Q", title=title, scale=alt.Scale(zero=False)),
        color=alt.Color("engine:N", scale=alt.Scale(domain=engines, range=list(colours)), legend=alt.Legend(columns=2)),
    )
    pick = alt.selection_point(name=PICK, fields=["file", "engine"], on="click", empty=False)
    dots = base.mark_point(filled=True, opacity=0.9).encode(
        size=alt.condition(pick, alt.value(240), alt.value(70)),
        shape=alt.Shape(
            "engine:N",
            scale=alt.Scale(domain=engines, range=list(palette.ENGINE_SHAPES[: len(engines)])),
            legend=alt.Legend(columns=2),
        ),
        tooltip=[
            alt.Tooltip("when:N", title="run of"),
            alt.Tooltip("engine:N"),
            alt.Tooltip("value:Q", format="+.2f"),
            alt.Tooltip("n:Q"),
            alt.Tooltip("temp_c:Q", title="temperature °C", format=".0f"),
            alt.Tooltip("battery_v:Q", title="battery V", format=".1f"),
            alt.Tooltip("file:N", title="log"),
        ],
    )
    dots = dots.add_params(pick)
    lines = base.mark_line(strokeWidth=1.2, opacity=0.6)
    return drawing.finished(alt.layer(*drawing.limit_rules(limits), *_happened(happenings), lines, dots), 360)


def week_rows(weeks: pd.DataFrame, indicator: Indicator, facet: str, limits: Limits) -> pd.DataFrame:
    """Each engine's weeks with their `standing` against the limits: within, watch or hold; `week` in words."""
    places = [abs(marks.place(value, indicator, facet, limits)) for value in weeks["value"]]
    has_limit = (limits.watch, limits.hold) != (None, None) and indicator.judged.against == "limits"
    standing = [_standing(place, limits) if has_limit else STANDINGS[0] for place in places]
    return weeks.assign(standing=standing, week=weeks["when"].str.slice(4, 10))


def weeks(rows: pd.DataFrame, has_limits: bool) -> drawing.Chart:  # noqa: FBT001
    """Engines down, weeks across: the standing as shape and colour; without limits the value as a shade."""
    order = rows.sort_values("local_ms")["week"].drop_duplicates().tolist()
    base = alt.Chart(rows).encode(
        x=alt.X("week:N", sort=order, title="week from", axis=alt.Axis(labelAngle=-60)),
        y=alt.Y("engine_id:N", title=None, axis=alt.Axis(labelLimit=170)),
        tooltip=[
            alt.Tooltip("engine_id:N", title="engine"),
            alt.Tooltip("week:N", title="week from"),
            alt.Tooltip("value:Q", title="median", format=".2f"),
            alt.Tooltip("runs:Q"),
        ],
    )
    if has_limits:
        drawn = base.mark_point(filled=True, size=170, opacity=1).encode(
            color=alt.Color(
                "standing:N",
                scale=alt.Scale(
                    domain=list(STANDINGS), range=[palette.STATUS[each] for each in ("ready", "watch", "hold")]
                ),
            ),
            shape=alt.Shape("standing:N", scale=alt.Scale(domain=list(STANDINGS), range=list(_SHAPES))),
        )
    else:
        drawn = base.mark_rect().encode(color=alt.Color("value:Q", scale=alt.Scale(scheme="viridis")))
    return drawing.finished(alt.layer(drawn), 26 * rows["engine_id"].nunique() + 90)


def _happened(happenings: pd.DataFrame) -> list[alt.Chart]:
    tips = [alt.Tooltip("kind:N"), alt.Tooltip("what:N")]
    return [
        alt.Chart(happenings[happenings["kind"] == kind])
        .mark_rule(color=palette.NOTE, strokeWidth=2, strokeDash=dash)
        .encode(x=drawing.time_axis(), tooltip=tips)
        for kind, dash in (("compared from", [2, 3]), ("note", [1, 0]))
    ]


def _standing(place: float, limits: Limits) -> str:
    if limits.hold is not None and place >= marks.HOLD_PLACE:
        return STANDINGS[2]
    return STANDINGS[1] if limits.watch is not None and place >= marks.WATCH_PLACE else STANDINGS[0]
