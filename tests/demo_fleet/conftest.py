"""One tiny fleet on disk, and a few simulated lanes of the default season, made once for all tests of this folder."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

import pytest

from demo_fleet import build
from demo_fleet.faults import Condition
from demo_fleet.lanes import Lane, draw_lanes
from demo_fleet.scenario import Scenario, draw_scenario
from demo_fleet.season import simulate

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from demo_fleet.sensors import Batch

LAST_DAY = date(2026, 6, 14)


@pytest.fixture(scope="session")
def tiny_fleet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three boats, five days."""
    folder = tmp_path_factory.mktemp("tiny")
    build(folder, boats=3, days=5, seed=4, last_day=LAST_DAY)
    return folder


@pytest.fixture(scope="session")
def season() -> Scenario:
    """The default season, not simulated."""
    return draw_scenario(12, 60, 1, LAST_DAY)


@pytest.fixture(scope="session")
def lanes(season: Scenario) -> tuple[Lane, ...]:
    """All lanes of the default season, not simulated."""
    return draw_lanes(season)


@pytest.fixture(scope="session")
def healthy(lanes: tuple[Lane, ...]) -> Batch:
    """Sixteen long morning logs of the first weeks from engines with nothing wrong, simulated."""
    sound = [lane for lane in lanes if lane.condition == Condition() and lane.outing.kind == "first_minutes"]
    return simulate([lane for lane in sound if lane.outing.boat.story.table_high == 0.0][:160:10])


@pytest.fixture(scope="session")
def with_condition(lanes: tuple[Lane, ...]) -> Callable[[Condition], Batch]:
    """Simulate the same four healthy logs with something wrong."""
    sound = [lane for lane in lanes if lane.condition == Condition() and lane.outing.kind == "hop"][:40:10]

    def run(condition: Condition) -> Batch:
        return simulate([replace(lane, condition=condition) for lane in sound])

    return run


@pytest.fixture(scope="session")
def simulated(lanes: tuple[Lane, ...]) -> Callable[[str, str, Sequence[int]], Batch]:
    """Simulate the logs of one engine of the default season on some days."""

    def run(boat: str, engine: str, days: Sequence[int]) -> Batch:
        wanted = [lane for lane in lanes if lane.outing.boat.id == boat and lane.engine.id == engine]
        return simulate([lane for lane in wanted if lane.outing.day in days])

    return run
