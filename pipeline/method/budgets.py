"""The budget of false alarms of a fleet, and the thresholds that the monitors have for it."""

from __future__ import annotations

from typing import Final

from pipeline.catalogue import indicators
from pipeline.history import History
from pipeline.method.parts import Budget, Threshold
from pipeline.season import like_for_like, monitoring
from pipeline.season.movement import DAY_S
from pipeline.statistics import alarm_budget
from pipeline.statistics.alarm_budget import expected_false_alarms
from pipeline.statistics.run_length import one_sided_cusum_arl

_BASELINES: Final = (like_for_like.FEWEST_RUNS, like_for_like.BASELINE_RUNS)
"""Runs for which the screen tells the threshold: the shortest baseline and a whole one."""

_MOVED: Final = (3.0, 6.0)
"""Movements, in spreads of the baseline, for which it tells how long a signal takes."""


def thresholds() -> tuple[Threshold, ...]:
    """What the budget makes of the shortest baseline and of a whole one."""
    return tuple(_threshold(runs) for runs in _BASELINES)


def _threshold(baseline_runs: int) -> Threshold:
    """The design that the monitors of `monitoring` use on a baseline of so many runs."""
    design = monitoring.monitor_design(baseline_runs)
    if design is None:
        return Threshold(baseline_runs, alarm_budget.allowance(baseline_runs), None, ())
    delays = tuple((moved, one_sided_cusum_arl(design.k, design.h, moved)) for moved in _MOVED)
    return Threshold(baseline_runs, design.k, design.h, delays)


def budget(engines: int, monitors: float = 30.0, readings_a_day: float = 1.3, days: float = 100.0) -> Budget:
    """The budget of a fleet. The defaults are what the monitors were set for: about 30 an engine, 1.3 runs a day."""
    decisions = engines * monitors * readings_a_day * days
    found = expected_false_alarms(decisions, monitoring.RUN_LENGTH)
    rate = 1000 * found / (engines * days) if engines and days else 0.0
    textbook = expected_false_alarms(decisions, THREE_SIGMA_RUN_LENGTH)
    return Budget(engines, monitors, readings_a_day, days, decisions, monitoring.RUN_LENGTH, found, rate, textbook)


THREE_SIGMA_RUN_LENGTH: Final = 370.4
"""Readings between false signals of a chart with three-sigma limits (Montgomery, Introduction to SQC)."""


def budget_of(history: History, days: float = 100.0) -> Budget:
    """The budget of the fleet whose history this is, with the monitors and runs a day that its engines really have."""
    engines = len(history.series)
    judged = [series for group in history.series.values() for series in group if _has_monitor(series.key.indicator)]
    spans = [float(series.at_s[-1] - series.at_s[0]) / DAY_S for series in judged]
    readings = sum(len(series) - 1 for series in judged)
    a_day = readings / sum(spans) if sum(spans) > 0 else 0.0
    return budget(engines, len(judged) / engines if engines else 0.0, a_day, days)


def _has_monitor(name: str) -> bool:
    return indicators()[name].judged.against in {"limits", "baseline"}
