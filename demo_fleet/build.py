"""Builds the fleet folder: register, schedule, logs and truth."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from demo_fleet.damaged import cut_last_row, write_damaged
from demo_fleet.lanes import draw_lanes
from demo_fleet.register_file import fleet_toml, schedule_csv
from demo_fleet.scenario import TIMEZONE, Scenario, Variation, draw_scenario
from demo_fleet.season import batches
from demo_fleet.sensors import Batch, measure, sample_times
from demo_fleet.truth import Truth
from demo_fleet.writing import log_path, write_log

Progress = Callable[[int, int], None]
WRITERS = 2


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

    The season ends on `last_day`, by default yesterday in the fleet's time zone. The same arguments give the same files.
    `progress` is called with lanes done and lanes in all. Raises ValueError for fewer than one boat or three days.
    """
    if boats < 1 or days < 3:
        raise ValueError(f"a fleet needs at least 1 boat and 3 days, got {boats} and {days}")
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
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "fleet.toml").write_text(fleet_toml(scenario))
    (folder / "schedule.csv").write_text(schedule_csv(scenario))
    truth = Truth()
    _write_logs(folder, scenario, truth, progress or _silent)
    _damage(folder, scenario)
    truth.write(folder / "simulated_truth", scenario)


def _silent(done: int, total: int) -> None:
    del done, total


@dataclass(frozen=True)
class _Log:
    """One file to write: its path below the fleet folder and the lanes of a batch it holds."""

    path: Path
    lanes: tuple[int, ...]


def _write_logs(folder: Path, scenario: Scenario, truth: Truth, progress: Progress) -> None:
    lanes = draw_lanes(scenario)
    done = 0
    with ThreadPoolExecutor(WRITERS) as writers:
        pending: list[Future[int]] = []
        for batch in batches(lanes):
            for future in pending:
                future.result()
            logs = tuple(_logs(batch))
            truth.add(batch, _files(logs, len(batch.lanes)))
            pending = [writers.submit(_write_one, folder, batch, log, scenario.variation.noise) for log in logs]
            done += len(batch.lanes)
            progress(done, len(lanes))
        for future in pending:
            future.result()


def _logs(batch: Batch) -> Iterator[_Log]:
    start = 0
    for index, lane in enumerate(batch.lanes):
        is_last = index + 1 == len(batch.lanes) or batch.lanes[index + 1].outing is not lane.outing
        if lane.outing.boat.logger.layout == "folders":
            yield _Log(log_path(lane.outing, lane.engine.id), (index,))
        elif is_last:
            yield _Log(log_path(lane.outing, None), tuple(range(start, index + 1)))
        if is_last:
            start = index + 1


def _files(logs: Sequence[_Log], lanes: int) -> list[str]:
    names = [""] * lanes
    for log in logs:
        for lane in log.lanes:
            names[lane] = log.path.as_posix()
    return names


def _write_one(folder: Path, batch: Batch, log: _Log, noise: float) -> int:
    lanes = [batch.lanes[index] for index in log.lanes]
    times = sample_times(lanes[0], lanes[0].outing.seed)
    measured = [measure(batch, index, times, noise) for index in log.lanes]
    return write_log(folder / log.path, lanes, measured, times)


def _damage(folder: Path, scenario: Scenario) -> None:
    for boat in scenario.boats:
        if boat.story.damaged_logs:
            inbox = folder / "inbox" / boat.id
            write_damaged(inbox)
            texts = sorted(inbox.rglob("*.csv"))[:-8:-1]
            for log in [text for text in texts if text.stat().st_size > 50_000][:1]:
                cut_last_row(log)
