"""What a baseline expects, as a curve to draw, and how an engine stood at first against how it stands now, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import pandas as pd

from pipeline import wording
from pipeline.diagnosis import GEARS
from pipeline.screen_data import believed
from pipeline.states import State
from pipeline.statistics.adjust import adjust

Covariate = Literal["temp_c", "battery_v"]

POINTS: Final = 40

NINE_IN_TEN: Final = 1.645
"""Standard errors on either side that hold nine readings in ten, where they are normal."""


NO_LINE: Final = pd.DataFrame({name: pd.Series(dtype="float64") for name in ("at", "expected", "low", "high")})
"""What a baseline expects while nothing is known of it."""

LAST_RUNS: Final = 5
"""Runs that the newest offset and span are the median of, as for every level."""


@dataclass(frozen=True, eq=False)
class ThenNow:
    """One facet at first and now, at like temperature and voltage, in words with its counts.

    `baseline_to_s` is when the last run of the baseline began, `now_from_s` when the first run of the level now did,
    epoch s; `since_s` is from when on runs are compared. `then` and `change` say why where nothing can be said.
    """

    facet: str
    then: str
    now: str
    change: str
    wanted: str
    status: str
    since_s: float
    baseline_to_s: float
    now_from_s: float


@dataclass(frozen=True)
class Watched:
    """The levels of a facet, in the indicator's unit, from which its movement off the baseline would be watched."""

    facet: str
    watched_from: tuple[float, ...]


def of_engine(states: Sequence[State], engine_id: str, indicator: str) -> tuple[State, ...]:
    """The states of one indicator of one engine, the gears from one end to the other."""
    found = [s for s in states if s.key.engine_id == engine_id and s.key.indicator == indicator]
    return tuple(sorted(found, key=lambda state: (*(state.key.facet != gear for gear in GEARS), state.key.facet)))


def expected_line(state: State, along: Covariate) -> pd.DataFrame:
    """What the baseline expects along one covariate, the other as in the newest runs: `at`, `expected`, `low`, `high`.

    In the indicator's unit; low and high hold nine run readings in ten. From the lowest to the highest that the
    engine's runs of this comparison had. Empty where nothing is learned yet or the covariate was never logged.
    """
    found, series = state.moved.found, state.moved.series
    names = [name for name in state.indicator.covariates if not np.isnan(getattr(series, name)).all()]
    if found is None or along not in names:
        return NO_LINE
    seen = getattr(series, along)
    at = np.linspace(np.nanmin(seen), np.nanmax(seen), POINTS)
    newest = series.pick(state.moved.now)
    covariates = [at if name == along else np.full(POINTS, _middle(getattr(newest, name))) for name in names]
    line = adjust(found.expectation, np.zeros(POINTS), covariates)
    room = NINE_IN_TEN * np.hypot(line.error, found.scale)
    told = np.isfinite(room)
    return pd.DataFrame(
        {"at": at, "expected": line.expected, "low": line.expected - room, "high": line.expected + room}
    )[told]


def _middle(values: np.ndarray) -> float:
    """Median of what is known; NaN where nothing is, which stands at the baseline's mean."""
    known = values[~np.isnan(values)]
    return float(np.median(known)) if known.size else float("nan")


def then_now(state: State) -> ThenNow:
    """First runs against last runs."""
    moved, indicator = state.moved, state.indicator
    wanted = indicator.wanted.get(state.key.facet)
    return ThenNow(
        facet=state.key.facet,
        then=_then(state),
        now=f"{wording.number(state.own, indicator)} ({wording.basis(state)})",
        change=_change(state),
        wanted="" if wanted is None else f"{wording.band(wanted)} {wording.short_unit(indicator)}",
        status=state.status,
        since_s=moved.started_at.timestamp(),
        baseline_to_s=float(moved.series.at_s[max(moved.baseline_n - 1, 0)]),
        now_from_s=float(moved.series.at_s[moved.now.start]),
    )


def _then(state: State) -> str:
    if state.moved.baseline is None:
        return "too few runs yet"
    runs = wording.count(state.moved.baseline_n, "run")
    return f"{wording.number(state.moved.baseline, state.indicator)} ({runs})"


def _change(state: State) -> str:
    """The like-for-like change with its standard error."""
    shift, error = state.moved.shift, state.moved.shift_error
    if shift is None or error is None:
        return "not known yet"
    said = f"{shift:+.{state.indicator.decimals}f} ± {error:.{state.indicator.decimals}f}"
    return f"{said} {wording.short_unit(state.indicator)}".replace("-", "−").rstrip()


def levels_say(states: Sequence[State]) -> str:
    """Every facet in one sentence each: the level now, what it rests on, its baseline, where it stands."""
    return " ".join(_level_says(state) for state in states) or "No level yet: too few runs with a reading."


def _level_says(state: State) -> str:
    indicator, facet = state.indicator, state.key.facet
    who = f"{facet[:1].upper()}{facet[1:]}: " if facet else ""
    base = "" if state.moved.baseline is None else f", baseline {_then(state)}"
    fleet = state.value - state.own
    shared = f", {wording.number(fleet, indicator)} of it the fleet's" if abs(fleet) >= indicator.resolution else ""
    standing = "" if state.status == "ready" else f", {state.status}"
    return f"{who}{wording.number(state.value, indicator)} now ({wording.basis(state)}){shared}{base}{standing}."


def watched(state: State) -> Watched:
    """Where a movement off the baseline would be watched: on the bad sides alone; nowhere while nothing is learned."""
    base, size, worse = state.moved.baseline, state.drift_size, state.indicator.worse
    if base is None or not size:
        return Watched(state.key.facet, ())
    signs = {"higher": (1,), "lower": (-1,), "away": (-1, 1)}[worse]
    return Watched(state.key.facet, tuple(base + sign * size for sign in signs))


def watched_says(states: Sequence[State]) -> str:
    """From where on each facet would be watched, in words."""
    said = [
        f"{each.facet} {' or '.join(wording.number(at, state.indicator) for at in each.watched_from)}".strip()
        for state in states
        if (each := watched(state)).watched_from
    ]
    return f"Watched from: {', '.join(said)}." if said else ""


def offset_span_says(found: pd.DataFrame) -> str:
    """Offset and span at first and now, from believed rows of `screens/offset_span` in time order."""
    found = believed(found)
    if found.empty:
        return "Every run that reached all three gears is withheld."
    now, first = found.tail(LAST_RUNS), found.head(LAST_RUNS)
    said = []
    for name, column in (("Offset", "offset_pct"), ("Span", "span_pct")):
        values = [f"{each[column].median():+.2f} %".replace("-", "−") for each in (now, first)]
        said.append(f"{name} {values[0]} over the last {len(now)} runs, {values[1]} over the first {len(first)}.")
    return " ".join(said)


def middle_says(days: pd.DataFrame) -> str:
    """The middle between cold and hot trim on the last day that had both, from rows of `screens/trim_days`."""
    if days.empty:
        return "No day had windows both cold and hot, so there is no middle."
    last = days.iloc[-1]
    middle = f"{last['middle_pct']:+.1f} %".replace("-", "−")
    return (
        f"Middle of cold and hot on {last['when'][4:10]}: {middle} ({wording.count(int(last['windows']), 'window')})."
    )


def stalls_say(stalls: int, chances: pd.DataFrame) -> str:
    """How many stalls in how many chances, from the readings of the indicator."""
    said = wording.count(stalls, "stall") if stalls else "No stall"
    runs = wording.count(int(chances["at_s"].nunique()), "run")
    return f"{said} in {wording.count(int(chances['n'].sum()), 'chance')} (shifts and idle windows) of {runs}."
