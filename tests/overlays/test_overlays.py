"""Shifts laid over each other, against plain numpy; and which shifts are taken, from tables made by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from numpy.typing import NDArray

from pipeline.catalogue import read_query
from pipeline.database import Database

FIRST = datetime(2026, 5, 1, 8, tzinfo=UTC)
AS_OF = datetime(2026, 7, 1, tzinfo=UTC)
FROM_S, TO_S, STEPS = -0.25, 1.5, 70


@dataclass(frozen=True)
class Drawn:
    """One shift: where its samples are, its step (epoch s), and its samples: times (n,) and positions (n,)."""

    path: str
    at_s: float
    time_s: NDArray[np.float64]
    position: NDArray[np.float64]
    role: str


def _drawn(folder: Path, count: int, hertz: float, role: str, seed: int) -> list[Drawn]:
    """Shifts from 50 to about 90 % in some 0.4 s, at irregular samples, all in one log, a minute apart."""
    rng = np.random.default_rng(seed)
    path = folder / f"{role}.parquet"
    started = 1_780_000_000.0 + seed * 1e5
    time_s = started + np.cumsum(rng.uniform(0.8, 1.2, int(60 * hertz * (count + 1)))) / hertz
    steps = [started + 30.0 + 60 * place for place in range(count)]
    position = np.full(time_s.size, 50.0)
    for step in steps:
        since = time_s - step
        reached = 50 + (40 + rng.normal(0, 0.5)) * np.clip(since / rng.uniform(0.35, 0.45), 0, 1)
        position = np.where((since >= 0) & (since < 40), reached, position)
    kept = position.astype(np.float32)
    pq.write_table(pa.table({"time_s": time_s, "shift_position": kept, "rpm": kept}), path, row_group_size=500)
    return [Drawn(str(path), step, time_s, kept.astype(np.float64), role) for step in steps]


def _laid(db: Database, shifts: Sequence[Drawn], held_s: float = 30.0) -> pd.DataFrame:
    asked: Mapping[str, Any] = {
        "read": sorted({each.path for each in shifts}),
        "files": [each.path for each in shifts],
        "shift_no": list(range(len(shifts))),
        "at_s": [each.at_s for each in shifts],
        "held_s": [held_s] * len(shifts),
        "from_gear": ["neutral"] * len(shifts),
        "to_gear": ["forward"] * len(shifts),
        "role": [each.role for each in shifts],
        "from_s": FROM_S,
        "to_s": TO_S,
        "steps": STEPS,
    }
    return db.execute(read_query("screens", "overlays"), asked).df()


def _grid() -> NDArray[np.float64]:
    return FROM_S + (TO_S - FROM_S) * np.arange(STEPS + 1) / STEPS


@pytest.mark.parametrize("hertz", [5.0, 20.0, 100.0])
def test_positions_between_samples_and_the_span_of_the_first_ones_are_those_of_numpy(
    db: Database, tmp_path: Path, hertz: float
) -> None:
    newest, first = _drawn(tmp_path, 3, hertz, "newest", 1), _drawn(tmp_path, 9, hertz, "first", 2)
    found = _laid(db, [*newest, *first])
    for place, shift in enumerate(newest):
        line = found[(found["role"] == "newest") & (found["shift_no"] == place)]
        expected = np.interp(shift.at_s + line["since_s"], shift.time_s, shift.position)
        assert line["position_pct"].to_numpy() == pytest.approx(expected, abs=1e-4)
        assert len(line) == STEPS + 1
    every = np.stack([np.interp(each.at_s + _grid(), each.time_s, each.position) for each in first])
    band = found[found["role"] == "first"]
    # numpy's default quantile is linear between order statistics (Hyndman and Fan's type 7), as the query's
    for column, share in (("low_pct", 0.1), ("position_pct", 0.5), ("high_pct", 0.9)):
        assert band[column].to_numpy() == pytest.approx(np.quantile(every, share, axis=0), abs=1e-4)
    assert set(band["shifts"]) == {len(first)}


def test_nothing_is_said_over_a_gap_and_after_the_next_step(db: Database, tmp_path: Path) -> None:
    (shift,) = _drawn(tmp_path, 1, 20.0, "newest", 3)
    since = shift.time_s - shift.at_s
    kept = ~((since > 0.5) & (since < 1.2))
    columns = {"time_s": shift.time_s[kept], "shift_position": shift.position[kept]}
    pq.write_table(pa.table(columns), shift.path)
    line = _laid(db, [shift], held_s=1.35)["since_s"]
    assert line.min() == pytest.approx(FROM_S)
    assert not ((line > 0.55) & (line < 1.15)).any()
    assert 1.2 < line.max() <= 1.35


def _shifts(
    db: Database, temp_c: Sequence[float | None], *, from_gear: str = "neutral", to_gear: str = "forward"
) -> None:
    """One shift a day from FIRST on, with the given temperatures."""
    for day, temp in enumerate(temp_c):
        at = FIRST + timedelta(days=day)
        name = f"{from_gear}-{to_gear}-{day}"
        db.execute("insert into marts.logs values (?, ?, ?)", (name, f"inbox/{name}.csv", at + timedelta(hours=1)))
        db.execute("insert into marts.engine_logs values ('a/b', ?, ?)", (name, f"samples/{name}.parquet"))
        db.execute(
            "insert into events.shifts values ('a/b', ?, ?, ?, 5, ?, ?, 50, 90, 50.1, 89, -1, 0.4, 0.0, 13.5, ?)",
            (name, name, at, from_gear, to_gear, temp),
        )


def _chosen(db: Database, **changed: object) -> pd.DataFrame:
    asked = {
        "engine_id": "a/b",
        "as_of": AS_OF,
        "newest": 3,
        "first": 4,
        "fewest": 2,
        "like_temp_c": 5.0,
        "like_v": 0.2,
        "withheld": [],
        **{f"since_{gear}_s": 0.0 for gear in ("reverse", "neutral", "forward")},
        **changed,
    }
    return db.execute(read_query("screens", "overlay_shifts"), asked).df()


def _days(found: pd.DataFrame, role: str) -> list[int]:
    ours = found[found["role"] == role]["at_s"]
    return [round((at_s - FIRST.timestamp()) / 86400) for at_s in ours]


def test_the_newest_are_compared_with_the_first_ones_of_like_temperature(db: Database) -> None:
    # the newest three are at 60 to 64 C: 55 to 69 C is alike
    _shifts(db, [20, 58, 30, 66, 61, 20, 69, 60, 75, 60, 62, 64])
    found = _chosen(db)
    assert _days(found, "newest") == [9, 10, 11]
    assert _days(found, "first") == [1, 3, 4, 6]
    assert found["is_like"].all()


def test_where_too_few_were_alike_the_first_ones_are_taken_and_it_is_said(db: Database) -> None:
    _shifts(db, [20, 20, 60, 20, 20, 60, 62, 64])
    found = _chosen(db)
    assert _days(found, "first") == [0, 1, 2, 3]
    assert not found[found["role"] == "first"]["is_like"].any()


def test_a_temperature_that_was_not_logged_is_not_unlike(db: Database) -> None:
    _shifts(db, [None, None, 60, 20, 60, 62, 64])
    assert _days(_chosen(db), "first") == [0, 1, 2]


def test_shifts_before_the_present_comparison_are_left_out(db: Database) -> None:
    _shifts(db, [60] * 12)
    since = (FIRST + timedelta(days=4)).timestamp()
    assert _days(_chosen(db, since_forward_s=since), "first") == [4, 5, 6, 7]


def test_a_withheld_shift_is_neither_among_the_newest_nor_in_the_band(db: Database) -> None:
    _shifts(db, [60] * 12)
    found = _chosen(db, withheld=["neutral-forward-1", "neutral-forward-11"])
    assert _days(found, "newest") == [8, 9, 10]
    assert _days(found, "first") == [0, 2, 3, 4]


def test_a_throw_straight_through_and_a_shift_never_settled_are_left_out(db: Database) -> None:
    _shifts(db, [60] * 4)
    _shifts(db, [60] * 4, from_gear="forward", to_gear="reverse")
    db.execute("update events.shifts set settled_pct = null where log_id = 'neutral-forward-3'")
    db.execute("update events.shifts set start_pct = 70 where log_id = 'neutral-forward-2'")
    found = _chosen(db)
    assert found["log_id"].tolist() == ["neutral-forward-0", "neutral-forward-1"]


def test_a_log_that_ended_after_the_moment_is_not_known_yet(db: Database) -> None:
    _shifts(db, [60] * 6)
    found = _chosen(db, as_of=FIRST + timedelta(days=2, hours=2))
    assert _days(found, "newest") == [0, 1, 2]
