"""Prints what the statistics of a morning's check cost: microseconds a call, beside np.median on the same readings.

    python tests/benchmarks/statistics_calls.py [--rounds 15]

Each figure is the fastest of the rounds, which a busy machine disturbs least; readings are drawn with a fixed seed.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

import numpy as np  # noqa: E402 - the path above comes first

from pipeline.statistics.adjust import Expectation, SlopePrior, adjust, learn_expectation  # noqa: E402
from pipeline.statistics.alarm_budget import cusum_for_budget  # noqa: E402
from pipeline.statistics.arrays import FloatArray  # noqa: E402
from pipeline.statistics.autocorrelation import lag_one  # noqa: E402
from pipeline.statistics.level import CentreScale, level_now, spread  # noqa: E402
from pipeline.statistics.monitor import cusum  # noqa: E402
from pipeline.statistics.pattern import pattern  # noqa: E402
from pipeline.statistics.projection import robust_crossing  # noqa: E402
from pipeline.statistics.trend import theil_sen  # noqa: E402

SERIES: Final = 40
"""Different series a round, so that no lucky one decides."""

BASELINE: Final = 12
SEASON: Final = 50
PRIOR: Final = SlopePrior(0.0, 0.05)
USUAL: Final = CentreScale(0.0, 1.0, BASELINE)


@dataclass(frozen=True)
class Call:
    """A thing to time: what it is called with the readings of each series, and the readings' count."""

    name: str
    of: Callable[[int, FloatArray], object]
    n: int


def seconds_a_call(work: Callable[[int, FloatArray], object], table: Sequence[FloatArray], rounds: int) -> float:
    """The fastest round's seconds over all series, divided by their count."""
    fastest = float("inf")
    for _ in range(rounds):
        start = time.perf_counter()
        for at, readings in enumerate(table):
            work(at, readings)
        fastest = min(fastest, time.perf_counter() - start)
    return fastest / len(table)


def calls(rng: np.random.Generator) -> list[Call]:
    """What a morning asks of each series, at the lengths it asks it for."""
    oil_c = rng.normal(60, 10, (SERIES, SEASON))
    volts = rng.normal(13, 0.3, (SERIES, SEASON))
    days = np.sort(rng.uniform(0, 60, SEASON))

    def learn(at: int, y: FloatArray, covariates: int) -> Expectation | None:
        columns = [oil_c[at, : y.size], volts[at, : y.size]][:covariates]
        return learn_expectation(y, columns, priors=[PRIOR, None][:covariates], resolution=0.1)

    learned = learn(0, rng.normal(size=BASELINE), 1)
    if learned is None:
        raise RuntimeError("a baseline of readings taught nothing")
    return [
        Call("learn_expectation, no covariate", lambda at, y: learn(at, y, 0), BASELINE),
        Call("learn_expectation, 1 covariate", lambda at, y: learn(at, y, 1), BASELINE),
        Call("learn_expectation, 2 covariates", lambda at, y: learn(at, y, 2), BASELINE),
        Call("adjust, 1 covariate", lambda at, y: adjust(learned, y, [oil_c[at]]), SEASON),
        Call("level_now", lambda _, y: level_now(y), 5),
        Call("level_now, usual spread known", lambda _, y: level_now(y, usual=USUAL), 5),
        Call("spread", lambda _, y: spread(y), BASELINE),
        Call("cusum", lambda _, y: cusum(y, target=0, sigma=1, k=0.5, h=5), 100),
        Call(
            "cusum_for_budget, known design", lambda *_: cusum_for_budget(40_000, baseline_n=40, lag_one=0.2), BASELINE
        ),
        Call("lag_one", lambda _, y: lag_one(y), SEASON),
        Call("pattern", lambda _, y: pattern(days, y, resolution=0.1), SEASON),
        Call("theil_sen", lambda _, y: theil_sen(days, y), SEASON),
        Call("robust_crossing", lambda _, y: robust_crossing(days, y, 5.0), SEASON),
    ]


def import_seconds(rounds: int) -> float:
    """Fastest import of the modules above in a fresh process, NumPy already there."""
    modules = ", ".join(
        f"pipeline.statistics.{name}" for name in ("adjust", "alarm_budget", "monitor", "pattern", "projection")
    )
    script = f"import numpy, time; start = time.perf_counter(); import {modules}; print(time.perf_counter() - start)"
    runs = [
        subprocess.run([sys.executable, "-c", script], cwd=ROOT, check=True, capture_output=True, text=True)  # noqa: S603 - our own text
        for _ in range(rounds)
    ]
    return min(float(run.stdout) for run in runs)


def main() -> None:
    """Time every call and print one line for each."""
    parser = argparse.ArgumentParser(description="what the statistics of a morning's check cost")
    parser.add_argument("--rounds", type=int, default=15)
    rounds = parser.parse_args().rounds
    rng = np.random.default_rng(1)
    print(f"{'call':34}{'readings':>9}{'us a call':>11}{'medians':>9}")
    for call in calls(rng):
        table = list(rng.normal(size=(SERIES, call.n)))
        cost = seconds_a_call(call.of, table, rounds)
        median = seconds_a_call(lambda _, y: np.median(y), table, rounds)
        print(f"{call.name:34}{call.n:9}{cost * 1e6:11.1f}{cost / median:9.1f}")
    start = time.perf_counter()
    cusum_for_budget(39_000, baseline_n=40, lag_one=0.2)
    print(f"a design not met before: {(time.perf_counter() - start) * 1e3:.0f} ms")
    print(f"import: {import_seconds(5) * 1e3:.0f} ms")


if __name__ == "__main__":
    main()
