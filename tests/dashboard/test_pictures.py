"""Pictures as frames and rows: made once, sent once, only what is drawn, and whole by Vega-Lite's schema."""

from __future__ import annotations

from typing import Any

import altair as alt
import numpy as np
import pandas as pd
import pytest

from dashboard.charts import drawing
from dashboard.charts.thinning import thinned


@drawing.framed
def _dots(colour: str) -> drawing.Chart:
    _MADE.append(colour)
    marks = drawing.rows_named("dots").transform_filter("datum.kept > 0").mark_point(color=colour)
    pick = alt.selection_point(name="pick", fields=["file", "at_s"])
    return drawing.finished(alt.layer(marks.encode(x=alt.X("x:Q"), y=alt.Y("y:Q")).add_params(pick)), 100)


_MADE: list[str] = []


def _rows() -> pd.DataFrame:
    return pd.DataFrame({name: [1.0] for name in ("x", "y", "kept", "file", "at_s", "secret")}, index=[7])


def test_a_frame_is_made_once_for_each_set_of_arguments() -> None:
    _MADE.clear()
    frames = [_dots("#101010"), _dots("#202020"), _dots("#101010")]
    assert _MADE == ["#101010", "#202020"]
    assert frames[0] is frames[2]


def test_only_the_columns_that_are_drawn_filtered_or_picked_by_are_sent() -> None:
    sent = drawing.Picture(_dots("#303030"), {"dots": _rows()}).spec(dark=False)["datasets"]["dots"]
    assert list(sent) == ["x", "y", "kept", "file", "at_s"]
    assert sent.index.tolist() == [0]


def test_the_same_frame_stands_on_both_grounds_in_their_own_ink() -> None:
    picture = drawing.Picture(_dots("#404040"), {"dots": _rows()})
    light, dark = (picture.spec(dark=each)["config"]["axis"]["labelColor"] for each in (False, True))
    assert (light, dark) == (drawing.LABELS_ON_LIGHT, drawing.LABELS_ON_DARK)


def test_a_picture_as_one_specification_is_whole() -> None:
    alt.Chart.from_dict(drawing.Picture(_dots("#505050"), {"dots": _rows()}).to_dict())


def _season(rows: int, *, stands_out: int | None = None) -> pd.DataFrame:
    values = np.random.default_rng(4).normal(0, 1, rows)
    if stands_out is not None:
        values[stands_out] = 99.0
    return pd.DataFrame({"mark": np.where(np.arange(rows) % 5 == 0, "few", "many"), "value": values})


def test_of_few_rows_all_are_drawn() -> None:
    rows = _season(100)
    pd.testing.assert_frame_equal(thinned(rows, "mark", "value", 100), rows)


@pytest.mark.parametrize("place", [1, 777, 2498])
def test_of_many_rows_the_newest_and_all_that_stand_out_are_drawn_in_their_order(place: int) -> None:
    rows = _season(2500, stands_out=place)
    found = thinned(rows, "mark", "value", 200)
    assert found.index.is_monotonic_increasing
    assert place in found.index
    for mark, mine in found.groupby("mark"):
        every = rows[rows["mark"] == mark]
        assert len(mine) <= 200
        assert {every["value"].idxmax(), every["value"].idxmin()} <= set(mine.index)
        assert set(every.index[-50:]) <= set(mine.index)


def test_rows_of_none_stay_none() -> None:
    empty: Any = _season(0)
    assert thinned(empty, "mark", "value", 10).empty
