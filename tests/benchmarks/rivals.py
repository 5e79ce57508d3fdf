"""The same job in pandas and in polars, written the plain way a practised user would: runs, shifts and idle windows.

They leave out what the event queries also do (stalls, pick-ups, signal faults, carrying slow channels), so they have
less to do, not more.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pandas as pd
import polars as pl
from made_logs import COLUMNS

NEEDED: Final = (
    "time", "rpm", "rpm_target", "gear", "shift_target", "shift_position", "pedal", "idle_integral", "oil_temp",
    "coolant_temp", "fuel_trim", "battery",
)  # fmt: skip


def pandas_whole(log: Path, samples: Path) -> None:
    """CSV to Parquet and events."""
    frame = pd.read_csv(log, dtype={name: "float64" if name == "time" else "float32" for name in COLUMNS})
    frame.to_parquet(samples, compression="zstd")
    pandas_events(frame)


def pandas_from_samples(samples: Path) -> None:
    """Parquet to events."""
    pandas_events(pd.read_parquet(samples, columns=list(NEEDED)))


def pandas_events(frame: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Runs, shifts and idle windows of one log."""
    gap = frame["time"].diff() > 10
    turning = frame["rpm"] > 200
    frame = frame.assign(run=(gap | (turning != turning.shift())).cumsum())[turning]
    step = frame["shift_target"].diff().abs() > 5
    frame["shift"] = step.cumsum()
    frame["step_at"] = frame["time"].where(step).ffill()
    grouped = frame.groupby("run")
    runs = grouped.agg(started=("time", "first"), ended=("time", "last"), warmest=("coolant_temp", "max"))
    shifts = frame[frame["shift"] > 0].groupby(["run", "shift"]).apply(_pandas_shift)
    return runs, shifts, _pandas_windows(frame, grouped["time"].transform("first"))


def _pandas_shift(rows: pd.DataFrame) -> pd.Series:
    since = rows["time"] - rows["time"].iloc[0]
    plateau = rows[(since >= 1.5) & (since >= since.iloc[-1] - 5)]["shift_position"]
    settled = plateau.median() if len(plateau) >= 10 and plateau.max() - plateau.min() <= 2 else float("nan")
    outside = since[(rows["shift_position"] - settled).abs() > 2]
    return pd.Series(
        {
            "started": rows["time"].iloc[0],
            "to_gear": rows["gear"].iloc[0],
            "target": rows["shift_target"].iloc[0],
            "settled": settled,
            "error": settled - rows["shift_target"].iloc[0],
            "transit": outside.iloc[-1] if len(outside) else 0.0,
            "battery": rows["battery"].mean(),
            "dip": (rows["rpm_target"] - rows["rpm"])[since <= 3].max(),
        }
    )


def _pandas_windows(frame: pd.DataFrame, started: pd.Series) -> pd.DataFrame:
    idle = (
        (frame["pedal"] <= 1)
        & ~(frame["time"] - frame["step_at"] < 4)
        & (frame["time"] - started > 20)
        & ((frame["rpm"] - frame["rpm_target"]).abs() <= 150)
    )
    frame = frame.assign(window=((idle != idle.shift()) | (frame["gear"] != frame["gear"].shift())).cumsum())[idle]
    settled = frame["time"] - frame["step_at"].fillna(0) >= 10
    frame["settled_integral"] = frame["idle_integral"].where(settled)
    windows = frame.groupby("window").agg(
        started=("time", "first"),
        ended=("time", "last"),
        gear=("gear", "first"),
        oil=("oil_temp", "mean"),
        rpm=("rpm", "mean"),
        spread=("rpm", "std"),
        integral=("settled_integral", "mean"),
        trim=("fuel_trim", "mean"),
    )
    return windows[windows["ended"] - windows["started"] >= 5]


def polars_whole(log: Path, samples: Path) -> None:
    """CSV to Parquet and events."""
    frame = pl.read_csv(log, schema={name: pl.Float64 if name == "time" else pl.Float32 for name in COLUMNS})
    frame.write_parquet(samples, compression="zstd")
    polars_events(frame)


def polars_from_samples(samples: Path) -> None:
    """Parquet to events."""
    polars_events(pl.read_parquet(samples, columns=list(NEEDED)))


def polars_events(frame: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Runs, shifts and idle windows of one log."""
    time = pl.col("time")
    step = (pl.col("shift_target").diff().abs() > 5).fill_null(value=False)
    frame = (
        frame.with_columns(turning=pl.col("rpm") > 200)
        .with_columns(run=((time.diff() > 10) | (pl.col("turning") != pl.col("turning").shift())).fill_null(value=True))
        .with_columns(run=pl.col("run").cum_sum())
        .filter(pl.col("turning"))
        .with_columns(shift=step.cum_sum(), step_at=pl.when(step).then(time).forward_fill())
        .with_columns(since=time - pl.col("step_at"), started=time.first().over("run"))
    )
    runs = frame.group_by("run", maintain_order=True).agg(
        time.first().alias("started_at"), time.last().alias("ended_at"), pl.col("coolant_temp").max().alias("warmest")
    )
    return runs, _polars_shifts(frame.filter(pl.col("shift") > 0)), _polars_windows(frame)


def _polars_shifts(frame: pl.DataFrame) -> pl.DataFrame:
    since, position = pl.col("since"), pl.col("shift_position")
    keys = ["run", "shift"]
    plateau = position.filter((since >= 1.5) & (since >= since.max() - 5))
    settled = frame.group_by(keys, maintain_order=True).agg(
        pl.when((plateau.len() >= 10) & (plateau.max() - plateau.min() <= 2)).then(plateau.median()).alias("settled")
    )
    target = pl.col("shift_target").first()
    return (
        frame.join(settled, on=keys)
        .group_by(keys, maintain_order=True)
        .agg(
            pl.col("time").first().alias("started_at"),
            pl.col("gear").first().alias("to_gear"),
            target.alias("target"),
            pl.col("settled").first(),
            (pl.col("settled").first() - target).alias("error"),
            since.filter((position - pl.col("settled")).abs() > 2).last().fill_null(0.0).alias("transit"),
            pl.col("battery").mean(),
            (pl.col("rpm_target") - pl.col("rpm")).filter(since <= 3).max().alias("dip"),
        )
    )


def _polars_windows(frame: pl.DataFrame) -> pl.DataFrame:
    time, gear = pl.col("time"), pl.col("gear")
    idle = (
        (pl.col("pedal") <= 1)
        & (pl.col("since").fill_null(1e9) >= 4)
        & (time - pl.col("started") > 20)
        & ((pl.col("rpm") - pl.col("rpm_target")).abs() <= 150)
    )
    return (
        frame.with_columns(idle=idle)
        .with_columns(window=((pl.col("idle") != pl.col("idle").shift()) | (gear != gear.shift())).cum_sum())
        .filter(pl.col("idle"))
        .group_by("window", maintain_order=True)
        .agg(
            time.first().alias("started_at"),
            time.last().alias("ended_at"),
            gear.first(),
            pl.col("oil_temp").mean(),
            pl.col("rpm").mean().alias("rpm_mean"),
            pl.col("rpm").std().alias("spread"),
            pl.col("idle_integral").filter(pl.col("since").fill_null(1e9) >= 10).mean(),
            pl.col("fuel_trim").mean(),
        )
        .filter(pl.col("ended_at") - pl.col("started_at") >= 5)
    )
