"""How much was logged: every boat day by day, so that silence can be seen."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

import altair as alt
import pandas as pd

from dashboard.charts import drawing, palette

DAYS: Final = 28


def coverage_rows(logs: pd.DataFrame, as_of: datetime, boats: dict[str, str]) -> pd.DataFrame:
    """The logs taken of the last four weeks, with the boat's name and `day`; a boat without one keeps an empty row."""
    oldest = (as_of - timedelta(days=DAYS)).timestamp()
    found = logs[(logs["status"] == "taken") & (logs["at_s"] >= oldest) & logs["boat"].isin(list(boats))]
    silent = [name for boat, name in boats.items() if boat not in set(found["boat"])]
    rows = found.assign(name=found["boat"].map(boats))[["name", "local_ms", "minutes", "file", "when"]]
    return pd.concat([rows, pd.DataFrame({"name": silent})], ignore_index=True) if silent else rows


def coverage(rows: pd.DataFrame) -> drawing.Picture:
    """A dot a boat and day, larger the more was logged."""
    return drawing.Picture(_coverage(int(rows["name"].nunique())), {"logs": rows})


@drawing.framed
def _coverage(boats: int) -> drawing.Chart:
    dots = (
        drawing.rows_named("logs")
        .mark_point(filled=True, color=palette.ENGINES[0], shape="square")
        .encode(
            x=alt.X(
                "utcyearmonthdate(local_ms):T",
                title=None,
                scale=alt.Scale(type="utc"),
                axis=alt.Axis(format="%d %b", tickCount=6),
            ),
            y=alt.Y("name:N", title=None),
            size=alt.Size("sum(minutes):Q", title="minutes logged", scale=alt.Scale(range=[15, 190])),
            tooltip=[
                alt.Tooltip("name:N", title="boat"),
                alt.Tooltip("utcyearmonthdate(local_ms):T", title="day", format="%d %b %Y"),
                alt.Tooltip("sum(minutes):Q", title="minutes", format=".0f"),
                alt.Tooltip("count():Q", title="logs"),
            ],
        )
    )
    return drawing.finished(alt.layer(dots), 28 * max(1, boats) + 80)
