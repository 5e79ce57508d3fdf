"""Runs a scenario batch by batch: lanes of like duration side by side, so no time is spent on logs already over."""

from __future__ import annotations

from typing import TYPE_CHECKING

from demo_fleet.actuator import throw_all
from demo_fleet.engine import RECORD_HZ, run_engines
from demo_fleet.sensors import Batch
from demo_fleet.warmup import warm_up

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from demo_fleet.lanes import Lane

LANES_A_BATCH = 330
SHORT_LOG_S = 310.0
"""Logs shorter than this (hops, restarts, departures, returns) are batched apart from the long ones."""


def batches(lanes: Sequence[Lane]) -> Iterator[Batch]:
    """Simulate all lanes; every log's lanes stay together in one batch."""
    short = [lane for lane in lanes if lane.outing.helm.now < SHORT_LOG_S]
    long = [lane for lane in lanes if lane.outing.helm.now >= SHORT_LOG_S]
    for group in (short, long):
        for part in _parts(group):
            yield simulate(part)


def _parts(lanes: Sequence[Lane]) -> Iterator[Sequence[Lane]]:
    count = max(1, round(len(lanes) / LANES_A_BATCH))
    start = 0
    for number in range(1, count + 1):
        stop = len(lanes) * number // count
        while 0 < stop < len(lanes) and lanes[stop].outing is lanes[stop - 1].outing:
            stop += 1
        if stop > start:
            yield lanes[start:stop]
        start = max(start, stop)


def simulate(lanes: Sequence[Lane]) -> Batch:
    """Warm-up, throws and engines of these lanes."""
    seconds = int(max(lane.outing.helm.now for lane in lanes)) + 2
    warmth = warm_up(lanes, seconds)
    throws = throw_all(lanes, warmth)
    return Batch(tuple(lanes), throws, warmth, run_engines(lanes, throws, warmth, int((seconds - 1) * RECORD_HZ)))
