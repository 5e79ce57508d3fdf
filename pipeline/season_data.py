"""What the Season screen shows of one indicator and facet: readings, weeks, levels, and what the fleet did at once."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Final, Literal
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from pipeline import wording
from pipeline.catalogue import Indicator, Limits, indicators, read_query
from pipeline.database import Database, rows
from pipeline.history import FloatArray, Series, SeriesKey
from pipeline.projections import Projection, projection
from pipeline.screen_data import believed, local_ms, why_withheld, with_local_time
from pipeline.season.together import FEWEST_ENGINES, CommonStep, common_offset
from pipeline.states import State, Status, distance, is_beyond
from pipeline.trust import Withheld

Centre = Literal["wanted", "baseline"]


@dataclass(frozen=True)
class Level:
    """Where one engine stands: texts in the indicator's unit, None where not known. `per_week` only while it grows.

    `is_nearing`: it grows towards a limit that it has not reached.
    """

    engine_id: str
    status: Status
    level: str
    interval: str | None
    own: str
    baseline: str | None
    pattern: str
    is_nearing: bool
    since: datetime | None
    per_week: str | None
    per_100_hours: str | None
    ahead: tuple[str, ...]
    basis: str
    latest_at: datetime


def at_place(states: Sequence[State], indicator: str, facet: str) -> dict[str, State]:
    """The states of one indicator and facet by engine id."""
    return {each.key.engine_id: each for each in states if (each.key.indicator, each.key.facet) == (indicator, facet)}


def steps_at(steps: Sequence[CommonStep], indicator: str, facet: str) -> tuple[CommonStep, ...]:
    """The common steps of one indicator and facet, in time order."""
    return tuple(step for step in steps if (step.indicator, step.facet) == (indicator, facet))


def readings(
    db: Database,
    indicator: str,
    facet: str,
    as_of: datetime,
    zone: ZoneInfo,
    steps: Sequence[CommonStep],
    withheld: Withheld,
    engines: Sequence[str] | None = None,
) -> pd.DataFrame:
    """Every reading of an indicator and facet in its unit, with `boat`, `engine`, `run_id`, `file`, count and time.

    `engines` are the ids of those that are asked for, None for all of them: a big fleet's season is a hundred thousand
    readings, a boat's a few hundred. `own` is the value without what the whole fleet did before it; equal to `value`
    where the fleet did nothing. `withheld` is why a reading is kept from judgement, None where it is believed.
    """
    chosen = None if engines is None else list(engines)
    asked = {"indicator": indicator, "facet": facet, "as_of": as_of, "engines": chosen}
    found = with_local_time(db.execute(read_query("screens", "season"), asked).df(), zone)
    names = found["engine_id"].str.split("/", n=1, expand=True).reindex(columns=[0, 1])
    own = found["value"].to_numpy(np.float64) - common_offset(found["at_s"].to_numpy(np.float64), steps)
    why = why_withheld(found, withheld.everywhere(indicator, facet))
    return found.assign(boat=names[0], engine=names[1], own=own, withheld=why)


def engines_read(db: Database, indicator: str, facet: str, as_of: datetime) -> frozenset[str]:
    """The ids of the engines that have a reading of an indicator and facet up to a moment."""
    asked = {"indicator": indicator, "facet": facet, "as_of": as_of}
    return frozenset(str(row["engine_id"]) for row in rows(db, read_query("screens", "season_engines"), asked))


def series_of(found: pd.DataFrame, indicator: str, facet: str, zone: tzinfo) -> tuple[Series, ...]:
    """Readings as series, one an engine; engine hours are not told (NaN)."""
    return tuple(
        _series(SeriesKey(str(engine_id), indicator, facet), rows, zone)
        for engine_id, rows in found.groupby("engine_id")
    )


def _series(key: SeriesKey, rows: pd.DataFrame, zone: tzinfo) -> Series:
    names = ("at_s", "value", "n", "temp_c", "battery_v", "setting")
    numbers = {name: rows[name].to_numpy(np.float64) for name in names}
    hours = np.full(len(rows), np.nan)
    run_ids = rows["run_id"].to_numpy(object)
    return Series(key=key, hours=hours, run_ids=run_ids, remark=None, zone=zone, **numbers)


def weeks(found: pd.DataFrame, states: Mapping[str, State], indicator: Indicator, facet: str) -> pd.DataFrame:
    """The median believed reading of each engine in each week of the fleet's calendar.

    `value` and `own` in the indicator's unit, `n` samples in `runs` runs, `off` how far `own` stands from `centre_of`
    (NaN where there is no centre), `standing` against the engine's limits, `week` the Monday in words. A week of which
    everything is withheld has no numbers and says why in `withheld`.
    """
    every = found.assign(week_ms=_monday(found["local_ms"]))
    kept = believed(every)
    grouped = kept.assign(off=_off(kept, states, indicator, facet)).groupby(_ENGINE_WEEK, as_index=False)
    rows = grouped.agg(
        value=("value", "median"), own=("own", "median"), off=("off", "median"), n=("n", "sum"), runs=("run_id", "size")
    ).assign(withheld=None)
    rows = _with_withheld_weeks(rows, every)
    standing = [
        _standing(states.get(str(row["engine_id"])), float(row["own"]), float(row["off"]))
        for row in rows.to_dict("records")
    ]
    mondays = pd.to_datetime(rows["week_ms"], unit="ms")
    said = ["withheld" if np.isnan(each) else wording.number(float(each), indicator) for each in rows["own"]]
    return rows.assign(standing=standing, week=mondays.dt.strftime("%d %b"), says=said)


_ENGINE_WEEK: Final = ["engine_id", "boat", "engine", "week_ms"]


def _with_withheld_weeks(rows: pd.DataFrame, every: pd.DataFrame) -> pd.DataFrame:
    """The weeks with those that hold withheld readings alone, in the same order."""
    whole = every.groupby(_ENGINE_WEEK, as_index=False).agg(
        withheld=("withheld", "last"), least=("withheld", "count"), runs=("run_id", "size")
    )
    whole = whole[whole["least"] == whole["runs"]]
    if whole.empty:
        return rows
    added = whole[[*_ENGINE_WEEK, "withheld"]].assign(n=0, runs=0)
    return pd.concat([rows, added]).sort_values(_ENGINE_WEEK, ignore_index=True)


_DAY_MS: Final = 86_400_000.0

WEEK_MS: Final = 7 * _DAY_MS
"""A week on the charts' clock."""


def is_of_week(found: pd.DataFrame, week_ms: float) -> pd.Series:
    """Which readings (n,) are of the week that begins at a moment of the charts' clock."""
    return _monday(found["local_ms"]) == week_ms


def _monday(at_ms: pd.Series) -> pd.Series:
    """Midnight of the week's Monday on the charts' clock; day 0 of that clock was a Thursday."""
    return at_ms - (at_ms + 3 * _DAY_MS) % WEEK_MS


def centre_of(indicator: Indicator) -> Centre:
    """What a heat map's middle is: what is wanted where being above and below are bad alike, else the own baseline."""
    return "wanted" if indicator.worse == "away" and indicator.judged.against == "limits" else "baseline"


def _off(found: pd.DataFrame, states: Mapping[str, State], indicator: Indicator, facet: str) -> FloatArray:
    """Each reading less its centre: the middle of what is wanted, or the own baseline, like for like where known."""
    own = found["own"].to_numpy(np.float64)
    if centre_of(indicator) == "wanted":
        low, high = indicator.wanted.get(facet, (0.0, 0.0))
        return own - (low + high) / 2
    like: dict[str, float] = {}
    level: dict[str, float] = {}
    for engine_id, state in states.items():
        if state.moved.found is not None:
            level[engine_id] = state.moved.found.expectation.level
            like |= dict(zip(state.moved.series.run_ids.tolist(), state.moved.found.residual.tolist(), strict=True))
    off = own - found["engine_id"].map(level).to_numpy(np.float64)
    known = found["run_id"].map(like).to_numpy(np.float64)
    return np.where(np.isnan(known), off, known)


def _standing(state: State | None, own: float, off: float) -> Status:
    """A week against the engine's limits, or against how far it may leave its baseline; 'ready' where within."""
    if state is None:
        return "ready"
    indicator, facet = state.indicator, state.key.facet
    if indicator.judged.against == "limits":
        away = distance(indicator, facet, own)
        if is_beyond(indicator, state.limits.hold, own, away):
            return "hold"
        return "watch" if is_beyond(indicator, state.limits.watch, own, away) else "ready"
    size = state.drift_size
    return "watch" if size is not None and _badness(indicator, off) >= size else "ready"


def _badness(indicator: Indicator, off: float) -> float:
    if math.isnan(off):
        return 0.0
    return {"higher": off, "lower": -off}.get(indicator.worse, abs(off))


def half_range(rows: pd.DataFrame, indicator: Indicator, facet: str, limits: Limits) -> float:
    """How far from the centre the colours reach: to the hold limit, else the watch limit, else as far as weeks go."""
    farthest = float(rows["off"].abs().max()) if len(rows) and rows["off"].notna().any() else 0.0
    reach = limits.hold if limits.hold is not None else limits.watch
    if centre_of(indicator) == "baseline" or reach is None:
        return farthest or 1.0
    low, high = indicator.wanted.get(facet, (0.0, 0.0))
    return (high - low) / 2 + reach


def watched(indicator: Indicator, limits: Limits) -> float:
    """How far one engine may move before it is watched, in the indicator's unit; 0 where that is not one size."""
    if indicator.worse != "away" and indicator.judged.against == "limits":
        return 0.0 if indicator.drift.is_share else indicator.drift.watch or 0.0
    return limits.watch or 0.0


def together_days(found: pd.DataFrame) -> pd.DataFrame:
    """What the engines did on each day, by themselves: the median over engines of reading less the engine's usual.

    The usual is the median of its `own`. `value`, `engines` that ran that day; days with too few are left out, and so
    is what is withheld.
    """
    found = believed(found)
    usual = found.groupby("engine_id")["own"].transform("median")
    day_ms = found["local_ms"] - found["local_ms"] % _DAY_MS
    engines = found.assign(moved=found["value"] - usual, local_ms=day_ms)
    one_each = engines.groupby(["local_ms", "engine_id"], as_index=False)["moved"].median()
    days = one_each.groupby("local_ms", as_index=False).agg(value=("moved", "median"), engines=("engine_id", "size"))
    kept: pd.DataFrame = days[days["engines"] >= FEWEST_ENGINES]
    return kept.assign(when=pd.to_datetime(kept["local_ms"], unit="ms").dt.strftime("%a %d %b %Y"))


def together_line(found: pd.DataFrame, steps: Sequence[CommonStep], zone: ZoneInfo) -> pd.DataFrame:
    """The fleet's common movement as a stair: `value` with `low` and `high` from each moment on, 0 before the first.

    The intervals of several steps add in quadrature, since each was found by itself.
    """
    if found.empty:
        return pd.DataFrame(columns=["local_ms", "value", "low", "high"])
    sizes = np.cumsum([0.0, *(step.size for step in steps)])
    half = np.sqrt(np.cumsum([0.0, *(_half(step) ** 2 for step in steps)]))
    moments = [float(found["local_ms"].min()), *(local_ms(step.at_s, zone) for step in steps)]
    last = float(found["local_ms"].max())
    rows = {"local_ms": [*moments, last], "value": [*sizes, sizes[-1]]}
    ends = {"low": [*(sizes - half), sizes[-1] - half[-1]], "high": [*(sizes + half), sizes[-1] + half[-1]]}
    return pd.DataFrame({**rows, **ends})


def _half(step: CommonStep) -> float:
    low, high = step.interval.low, step.interval.high
    return 0.0 if low is None or high is None else (high - low) / 2


def levels(states: Sequence[State]) -> tuple[Level, ...]:
    """Where each engine stands, the most pressing first."""
    ordered = sorted(states, key=lambda each: (_ORDER[each.status], -each.nearness, each.key.engine_id))
    return tuple(level_of(each) for each in ordered)


_ORDER: Final[Mapping[Status, int]] = {"hold": 0, "watch": 1, "unchecked": 2, "ready": 3}


def level_of(state: State, ahead: Projection | None = None) -> Level:
    """One engine's level, pace and outlook in words; the projection is made where none is given."""
    indicator, moved = state.indicator, state.moved
    ahead = projection(state) if ahead is None else ahead
    ends = [end for end in (state.low, state.high) if end is not None]
    return Level(
        engine_id=state.key.engine_id,
        status=state.status,
        level=wording.number(state.value, indicator),
        interval=" to ".join(wording.number(end, indicator) for end in ends) if len(ends) == 2 else None,
        own=wording.number(state.own, indicator),
        baseline=None if moved.baseline is None else wording.number(moved.baseline, indicator),
        pattern="learning" if moved.is_learning else moved.pattern,
        is_nearing=ahead is not None and any(each.outlook == "crosses" for each in ahead.reaches),
        since=moved.since,
        per_week=wording.pace(moved.per_week, indicator),
        per_100_hours=wording.pace(moved.per_100_hours, indicator),
        ahead=() if ahead is None else tuple(wording.reach_says(each, indicator) for each in ahead.reaches),
        basis=wording.basis(state),
        latest_at=state.latest_at,
    )


def indicator_limits(states: Sequence[State], name: str) -> Limits:
    """The limits that most of these engines share; the indicator's own where there is no state."""
    found = Counter(each.limits for each in states).most_common(1)
    return found[0][0] if found else indicators()[name].limits
