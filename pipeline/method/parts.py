"""What the method is told in: a number in force, a step of the judgement, an indicator, a cause, a word, a budget."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from types import MappingProxyType, ModuleType

Value = float | str


@dataclass(frozen=True)
class Parameter:
    """One number in force. `name` is that of the constant, with its module; `unit` is '' for a plain count or share."""

    name: str
    value: Value
    unit: str
    meaning: str


@dataclass(frozen=True)
class Statistic:
    """One step of the judgement: what it does here, with which numbers, and where it comes from."""

    name: str
    does: str
    parameters: tuple[Parameter, ...]
    source: str


@dataclass(frozen=True)
class IndicatorMethod:
    """One indicator as its header declares it, in words and numbers; `sql` is the query that makes its readings."""

    name: str
    title: str
    unit: str
    facet: str
    meaning: str
    judged: str
    worse: str
    wanted: tuple[Parameter, ...]
    limits: tuple[Parameter, ...]
    priors: tuple[Parameter, ...]
    minimum_n: int
    resolution: float
    caveat: str
    do: str
    source: str
    sql: str


@dataclass(frozen=True)
class Word:
    """One word of a list that the outside reads, with its meaning."""

    word: str
    meaning: str


@dataclass(frozen=True)
class CauseMethod:
    """One cause: what points at it, what speaks against it, and what to do about it."""

    word: str
    title: str
    shows: str
    against: str
    do: str


@dataclass(frozen=True)
class ProblemMethod:
    """One thing that can be wrong with data: its code, what it means, and the way out."""

    code: str
    meaning: str
    way_out: str


@dataclass(frozen=True)
class Threshold:
    """What the budget makes of a monitor whose baseline has so many runs: where a sum starts and where it signals.

    Both in spreads of the baseline. `limit` is None where the baseline is too short for a monitor. `delays` are the
    runs until a level that moved by so many spreads is signalled, on average.
    """

    baseline_runs: int
    allowance: float
    limit: float | None
    delays: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Budget:
    """What false alarms to expect of a fleet of healthy engines in `days`: decisions / run length, from the monitors.

    `monitors` and `readings_a_day` are those of one engine. A signal alone is no watch yet, so this is an upper bound.
    `three_sigma_signals` is what limits at three standard deviations would give instead.
    """

    engines: int
    monitors: float
    readings_a_day: float
    days: float
    decisions: float
    run_length: float
    false_signals: float
    per_1000_engine_days: float
    three_sigma_signals: float


@dataclass(frozen=True)
class Method:
    """Everything the Method screen shows. `lists` are the documented words by name of the list."""

    indicators: tuple[IndicatorMethod, ...]
    causes: tuple[CauseMethod, ...]
    statistics: tuple[Statistic, ...]
    lists: MappingProxyType[str, tuple[Word, ...]]
    problems: tuple[ProblemMethod, ...]
    faults: tuple[ProblemMethod, ...]
    budget: Budget
    thresholds: tuple[Threshold, ...]
    cautions: tuple[str, ...]


def constant(module: ModuleType, name: str, unit: str, meaning: str) -> Parameter:
    """A number as it stands in the code now; durations in days or hours."""
    value = getattr(module, name)
    if isinstance(value, timedelta):
        whole = value / timedelta(days=1)
        value, unit = (whole, "days") if whole >= 1 else (value / timedelta(hours=1), "h")
    if isinstance(value, Iterable) and not isinstance(value, str):
        value = ", ".join(str(each) for each in (sorted(value) if isinstance(value, frozenset) else value))
    return Parameter(f"{module.__name__.removeprefix('pipeline.')}.{name}", value, unit, meaning)
