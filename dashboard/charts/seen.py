"""What the newest logs of an engine hold: a log a column, a thing that a morning asks about a row."""

from __future__ import annotations

from typing import Final

import altair as alt
import pandas as pd

from dashboard.charts import drawing, palette
from pipeline import wording

THINGS: Final = (
    "shift reverse",
    "shift neutral",
    "shift forward",
    "idle reverse",
    "idle neutral",
    "idle forward",
    "warm",
    "pick-up",
)


def seen_rows(evidence: pd.DataFrame) -> pd.DataFrame:
    """Every log with every thing: `times` seen (0 where not) and `is_seen` in words."""
    if evidence.empty:
        return evidence.assign(is_seen=pd.Series(dtype="str"), log=pd.Series(dtype="str"))
    logs = evidence[["log_id", "file", "local_ms", "when"]].drop_duplicates("log_id")
    every = logs.merge(pd.DataFrame({"thing": THINGS}), how="cross")
    found = every.merge(evidence[["log_id", "thing", "times"]], on=["log_id", "thing"], how="left")
    found["times"] = found["times"].fillna(0)
    found["thing"] = found["thing"].map(wording.seen)
    found["log"] = found["when"].str.slice(4, 10) + " " + found["when"].str.slice(16, 21)
    return found.assign(is_seen=found["times"].gt(0).map({True: "seen", False: "not seen"}))


def seen(rows: pd.DataFrame) -> drawing.Picture:
    """A filled square where a log shows the thing, an open one where it does not."""
    return drawing.Picture(_seen(tuple(rows.drop_duplicates("log_id")["log"])), {"things": rows})


@drawing.framed
def _seen(order: tuple[str, ...]) -> drawing.Chart:
    kinds = ["seen", "not seen"]
    chart = (
        drawing.rows_named("things")
        .mark_point(size=190, strokeWidth=1.6)
        .encode(
            x=alt.X("log:N", sort=list(order), title=None, axis=alt.Axis(labelAngle=-60)),
            y=alt.Y("thing:N", sort=[wording.seen(each) for each in THINGS], title=None),
            color=alt.Color("is_seen:N", scale=alt.Scale(domain=kinds, range=[palette.STATUS["ready"], palette.QUIET])),
            fill=alt.condition(alt.datum.times > 0, alt.value(palette.STATUS["ready"]), alt.value("transparent")),
            shape=alt.Shape("is_seen:N", scale=alt.Scale(domain=kinds, range=["square", "circle"])),
            tooltip=[
                alt.Tooltip("when:N", title="log of"),
                alt.Tooltip("thing:N"),
                alt.Tooltip("times:Q"),
                alt.Tooltip("file:N", title="file"),
            ],
        )
    )
    return drawing.finished(alt.layer(chart), 360)
