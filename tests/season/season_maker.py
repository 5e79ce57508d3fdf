"""Short series, notes and states with known truth, for the tests of this room."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import ArrayLike

from pipeline.catalogue import Limits, indicators
from pipeline.history import Doubt, FloatArray, Runs, Series, SeriesKey
from pipeline.logbook import Kind, Note
from pipeline.season.epochs import current_epoch
from pipeline.season.like_for_like import like_for_like
from pipeline.season.movement import Compared, Movement, movement
from pipeline.season.together import CommonStep
from pipeline.states import State, judge
from pipeline.trust import Distrust, Withheld

FIRST_RUN = datetime(2026, 3, 2, 8, tzinfo=UTC)
DAY_S = 86400.0
HOURS_A_RUN = 1.5

# One fixed pattern of run-to-run noise of sd 1 (mean 0, no trend), so that expectations can be told beforehand.
NOISE = np.random.default_rng(11).permutation(np.linspace(-1.7, 1.7, 64))


def made_series(
    values: ArrayLike,
    indicator: str = "shift_reach_error",
    facet: str = "forward",
    *,
    engine_id: str = "petrel/port",
    temp_c: ArrayLike = np.nan,
    battery_v: ArrayLike = np.nan,
    setting: ArrayLike = np.nan,
    n: ArrayLike = 6.0,
    days: ArrayLike | None = None,
) -> Series:
    """A series of one run a day at 08:00 from FIRST_RUN, or on the given days since then."""
    value = np.asarray(values, dtype=np.float64)
    size = value.size
    day = np.arange(size, dtype=np.float64) if days is None else np.asarray(days, dtype=np.float64)
    return Series(
        key=SeriesKey(engine_id, indicator, facet),
        at_s=FIRST_RUN.timestamp() + day * DAY_S,
        hours=100 + HOURS_A_RUN * np.arange(size),
        value=value,
        n=_column(n, size),
        temp_c=_column(temp_c, size),
        battery_v=_column(battery_v, size),
        setting=_column(setting, size),
        run_ids=np.asarray([f"run-{place:03}" for place in range(size)], dtype=object),
        remark=None,
    )


def _column(values: ArrayLike, size: int) -> FloatArray:
    return np.broadcast_to(np.asarray(values, dtype=np.float64), (size,)).copy()


def made_note(kind: Kind, day: float, *, engine: str | None = "port") -> Note:
    """A note of something done `day` days after the first run, at 20:00 that day."""
    at = FIRST_RUN + timedelta(days=day, hours=12)
    return Note(1, "petrel", engine, kind, "done", None, at, None, at)


def noisy(size: int, sd: float, first: int = 0) -> FloatArray:
    """`size` readings of the fixed noise with standard deviation `sd`."""
    return np.take(NOISE, np.arange(first, first + size), mode="wrap") * sd


def moved(
    series: Series, notes: Sequence[Note] = (), steps: Sequence[CommonStep] = (), usual_scale: float | None = None
) -> Movement:
    """The movement of a series, judged as the fleet's season judges it."""
    indicator = indicators()[series.key.indicator]
    epoch = current_epoch(series, notes)
    here = series.pick(slice(epoch.start, None))
    return movement(Compared(series, epoch, like_for_like(here, here.value, indicator)), indicator, steps, usual_scale)


def judged(
    series: Series, notes: Sequence[Note] = (), steps: Sequence[CommonStep] = (), limits: Limits | None = None
) -> State:
    """The state of a series against the indicator's own limits, or others."""
    indicator = indicators()[series.key.indicator]
    return judge(moved(series, notes, steps), indicator, limits or indicator.limits)


def made_withheld(engine_id: str, channel: str, spoiled: Sequence[int], runs: int, name: str = "run-{:03}") -> Withheld:
    """An engine with one run a day, of which some, by their place, cannot be believed of a channel."""
    run_ids = np.asarray([name.format(place) for place in range(runs)], dtype=object)
    started_s = FIRST_RUN.timestamp() + DAY_S * np.arange(runs)
    record = Runs(run_ids, run_ids, started_s, started_s + 3600, np.arange(runs, dtype=np.float64))
    doubt = Doubt(channel, np.isin(np.arange(runs), list(spoiled)), "made so")
    return Withheld({engine_id: Distrust(record, (doubt,))})


SD = {
    "shift_reach_error": 0.08,
    "shift_transit_time": 0.02,
    "shift_scatter": 0.03,
    "shift_hesitation": 0.02,
    "idle_integral": 0.3,
    "idle_integral_slope": 0.03,
    "idle_speed_error": 3.0,
    "idle_spread": 1.0,
    "engagement_dip": 6.0,
    "release_flare": 6.0,
    "idle_fuel_trim": 0.4,
    "off_idle_lean": 0.005,
    "battery_idle": 0.08,
    "coolant_hot": 0.8,
    "oil_pressure_hot": 4.0,
}
"""Run-to-run noise of a healthy engine, in each indicator's unit."""


def told(indicator: str, facet: str, before: float, after: float, shape: str = "step", **columns: ArrayLike) -> State:
    """A state with known truth: forty runs that stand at `before` for twenty-four and then step or grow to `after`.

    `shape` 'constant' stands at `after` from the first run on.
    """
    path = {
        "constant": np.full(40, after),
        "step": np.where(np.arange(40) < 24, before, after),
        "growing": before + (after - before) * np.clip((np.arange(40) - 15) / 22, 0, 1),
    }[shape]
    return judged(made_series(path + noisy(40, SD[indicator]), indicator, facet, **columns))
