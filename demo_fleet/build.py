"""Builds the fleet folder: register, schedule, logs and truth."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from demo_fleet.damaged import write_damaged
from demo_fleet.earlier import clear_earlier, list_own
from demo_fleet.register_file import fleet_toml, schedule_csv
from demo_fleet.scenario import TIMEZONE, Scenario, Variation, draw_scenario
from demo_fleet.shares import Progress, write_logs

if TYPE_CHECKING:
    from pathlib import Path


def build(
    folder: Path,
    *,
    boats: int = 12,
    days: int = 60,
    seed: int = 1,
    last_day: date | None = None,
    progress: Progress | None = None,
) -> None:
    """Write a simulated fleet into `folder`: fleet.toml, schedule.csv, inbox/ and simulated_truth/.

    An earlier simulated season in that folder is replaced, its store with it; the logbook and foreign files stay. The
    season ends on `last_day`, by default yesterday in the fleet's time zone. The same arguments give the same files.
    `progress` is called with lanes (one engine in one log) done and in all. Raises ValueError for less than one boat
    or day.
    """
    if boats < 1 or days < 1:
        raise ValueError(f"a fleet needs at least 1 boat and 1 day, got {boats} and {days}")
    write_fleet(folder, draw_scenario(boats, days, seed, last_day or yesterday()), progress)


def yesterday() -> date:
    """Yesterday in the fleet's time zone."""
    return (datetime.now(ZoneInfo(TIMEZONE)) - timedelta(days=1)).date()


def build_varied(folder: Path, variation: Variation, *, boats: int, days: int, seed: int, last_day: date) -> Scenario:
    """Write a fleet drawn with other knobs, for studies of whole seasons; returns its scenario."""
    scenario = draw_scenario(boats, days, seed, last_day, variation)
    write_fleet(folder, scenario, None)
    return scenario


def write_fleet(folder: Path, scenario: Scenario, progress: Progress | None) -> None:
    """Simulate a scenario and write everything into `folder`."""
    clear_earlier(folder)
    list_own(folder, scenario)
    (folder / "fleet.toml").write_text(fleet_toml(scenario))
    (folder / "schedule.csv").write_text(schedule_csv(scenario))
    truth = write_logs(folder, scenario, progress)
    _damage(folder, scenario)
    truth.write(folder / "simulated_truth", scenario)


def _damage(folder: Path, scenario: Scenario) -> None:
    for boat in scenario.boats:
        if boat.story.damaged_logs:
            write_damaged(folder / "inbox" / boat.id)
