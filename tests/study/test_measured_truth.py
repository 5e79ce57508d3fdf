"""What is measured from simulated logs against what truly happened in them: shifts, transits, idle integral and trim.

The truth is written beside the fleet by the simulation: noise-free positions at a fine step, the loop's integral and
trim. The demands are the project's own; they say what an indicator may be off by, not what it usually is.
"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, NamedTuple

import pandas as pd
import pytest

import demo_fleet
from pipeline.ingest import ingest
from pipeline.register import load_register
from pipeline.store import Store

if TYPE_CHECKING:
    from pathlib import Path

MATCH_S = 0.3
"""A shift is the true one if it steps this close to it; true shifts are seconds apart."""


class Measured(NamedTuple):
    """Truth and measurement of one small fleet: true shifts, shifts told, true idle stretches, idle windows told."""

    true_shifts: pd.DataFrame
    shifts: pd.DataFrame
    true_idle: pd.DataFrame
    windows: pd.DataFrame


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    folder = tmp_path_factory.mktemp("truth")
    demo_fleet.build(folder, boats=6, days=5, seed=4, last_day=date(2026, 6, 14))
    ingest(load_register(folder))
    db = Store(folder).reader()
    shifts = db.execute("select engine_id, started_at as at, settled_pct, transit_s from events.shifts").df()
    windows = db.execute(
        """
        select engine_id, started_at as at, duration_s, integral_pct, fuel_trim_pct
        from events.idle_windows
        where not is_unsettled
        """
    ).df()
    true_shifts = _truth(folder, "shifts").query("running")
    return Measured(true_shifts, _timed(shifts), _truth(folder, "idle"), _timed(windows))


def _truth(folder: Path, name: str) -> pd.DataFrame:
    found = pd.read_parquet(folder / "simulated_truth" / f"{name}.parquet").rename(columns={"time": "at"})
    return _timed(found)


def _timed(found: pd.DataFrame) -> pd.DataFrame:
    found["at_s"] = found["at"].dt.tz_convert("UTC").dt.as_unit("us").astype("int64") / 1e6
    return found.sort_values("at_s")


def _matched(left: pd.DataFrame, right: pd.DataFrame) -> pd.DataFrame:
    return pd.merge_asof(
        left, right.drop(columns="at"), on="at_s", by="engine_id", direction="nearest", tolerance=MATCH_S
    )


def test_at_least_99_of_100_true_shifts_are_found_and_no_false_one(measured: Measured) -> None:
    marked = measured.shifts.assign(is_told=True)[["engine_id", "at_s", "at", "is_told"]]
    found = _matched(measured.true_shifts, marked)
    assert len(found) > 400
    assert found["is_told"].notna().mean() >= 0.99
    true = measured.true_shifts.assign(is_true=True)[["engine_id", "at_s", "at", "is_true"]]
    assert _matched(measured.shifts, true)["is_true"].isna().sum() == 0


def test_a_settled_position_is_within_a_tenth_of_a_percent_and_a_transit_within_a_sample_and_a_half(
    measured: Measured,
) -> None:
    found = _matched(measured.true_shifts, measured.shifts).dropna(subset=["settled_pct"])
    assert (found["settled_pct"] - found["settled_true_pct"]).abs().median() <= 0.1
    # the slowest logs of the fleet have 10 samples a second; one shift in a hundred may meet noise at the band's edge
    off_s = (found["transit_s"] - found["transit_true_s"]).abs()
    assert off_s.quantile(0.99) <= 1.5 * 0.1 + 1e-6


def test_idle_integral_is_within_three_tenths_and_trim_within_two_tenths_of_a_percent(measured: Measured) -> None:
    windows = measured.windows.assign(middle_s=measured.windows["at_s"] + measured.windows["duration_s"] / 2)
    true = measured.true_idle.assign(
        ended_s=measured.true_idle["ended"].dt.tz_convert("UTC").dt.as_unit("us").astype("int64") / 1e6
    )
    held = pd.merge_asof(
        windows.sort_values("middle_s"),
        true[["engine_id", "at_s", "ended_s", "integral_true_pct", "trim_true_pct"]].rename(columns={"at_s": "from_s"}),
        left_on="middle_s",
        right_on="from_s",
        by="engine_id",
    )
    # a stretch that is one window is compared with its own mean; a longer one has a mean of several
    whole = held[(held["middle_s"] < held["ended_s"]) & (held["duration_s"] > 0.8 * (held["ended_s"] - held["from_s"]))]
    integral = (whole["integral_pct"] - whole["integral_true_pct"]).abs().dropna()
    trim = (whole["fuel_trim_pct"] - whole["trim_true_pct"]).abs().dropna()
    assert min(len(integral), len(trim)) > 50
    assert integral.quantile(0.95) <= 0.3
    assert trim.quantile(0.95) <= 0.2
