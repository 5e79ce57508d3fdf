"""Fewer marks where there are very many, so that a picture is there at once: what stands out is never left out."""

from __future__ import annotations

import numpy as np
import pandas as pd

NEWEST_SHARE = 4
"""One in so many of the marks that may be drawn are the newest rows, all of them."""


def thinned(rows: pd.DataFrame, by: str, value: str, most: int) -> pd.DataFrame:
    """At most about `most` rows of each `by`, in their order; all where there are no more.

    The newest are all kept. The older ones are cut into stretches of as many rows each, and of every stretch the row
    with the lowest and the one with the highest `value` are kept: no row that stands out is lost. Rows come in time
    order and have a `value`.
    """
    kept = [_thinned(group, value, most) for _, group in rows.groupby(by, sort=False)]
    return rows.loc[np.sort(np.concatenate(kept))] if kept else rows


def _thinned(rows: pd.DataFrame, value: str, most: int) -> np.ndarray:
    """The labels of the rows that are kept; the frame's labels rise."""
    if len(rows) <= most:
        return rows.index.to_numpy()
    newest = most // NEWEST_SHARE
    older = rows[value].iloc[:-newest]
    stretch = np.arange(len(older)) * ((most - newest) // 2) // len(older)
    ends = older.groupby(stretch).agg(["idxmin", "idxmax"]).to_numpy()
    return np.union1d(ends, rows.index[-newest:].to_numpy())
