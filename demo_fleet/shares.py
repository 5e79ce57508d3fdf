"""Simulates and writes the logs, in shares that run side by side in processes of their own.

A share is every n-th outing. The processes are plain children (`python -m demo_fleet.share_process`) that read their
job from standard input and answer with the truth they know, so nothing is asked of the caller's main module. A lane
comes out alike in any share: the files do not depend on the number of processors.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from demo_fleet.lanes import draw_lanes
from demo_fleet.season import batches
from demo_fleet.sensors import Batch, measure, sample_times
from demo_fleet.truth import Truth
from demo_fleet.writing import log_path, write_log

if TYPE_CHECKING:
    from demo_fleet.lanes import Lane
    from demo_fleet.scenario import Scenario

Progress = Callable[[int, int], None]
LANES_WORTH_A_PROCESS: Final = 150
MOST_PROCESSES: Final = 4


@dataclass(frozen=True)
class Share:
    """One share of a season's logs, to be written below a folder."""

    folder: Path
    scenario: Scenario
    number: int
    of: int


def write_logs(folder: Path, scenario: Scenario, progress: Progress | None) -> Truth:
    """Write all logs; returns what is true of them. `progress` hears of lanes done and lanes in all."""
    count = len(draw_lanes(scenario))
    of = max(1, min(os.cpu_count() or 1, MOST_PROCESSES, count // LANES_WORTH_A_PROCESS))
    shares = [Share(folder, scenario, number, of) for number in range(of)]
    children = [_start(share) for share in shares[1:]]
    truth = Truth()
    try:
        done = 0
        for lanes_done in write_share(shares[0], truth):
            done = min(count, done + lanes_done * of)
            if progress:
                progress(done, count)
        for child in children:
            truth.join(_finish(child))
    finally:
        for child in children:
            child.kill()  # does nothing to one that has ended
    return truth


def _start(share: Share) -> subprocess.Popen[bytes]:
    paths = [str(Path(__file__).parent.parent), os.environ.get("PYTHONPATH", "")]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, paths))}
    command = [sys.executable, "-m", "demo_fleet.share_process"]
    child = subprocess.Popen(  # noqa: S603 our own interpreter and module, nothing from outside
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment
    )
    if child.stdin:
        child.stdin.write(pickle.dumps(share))
        child.stdin.close()
        child.stdin = None
    return child


def _finish(child: subprocess.Popen[bytes]) -> Truth:
    answer, _ = child.communicate()
    if child.returncode != 0:
        raise RuntimeError(f"a child that simulates logs ended with status {child.returncode}; its message is above")
    truth = pickle.loads(answer)  # noqa: S301 written by our own child process
    if not isinstance(truth, Truth):
        raise TypeError(f"a child answered with {type(truth).__name__}")
    return truth


def write_share(share: Share, truth: Truth) -> Iterator[int]:
    """Write a share batch by batch, yielding how many lanes each held."""
    lanes = draw_lanes(share.scenario)
    outings = list(dict.fromkeys(lane.outing.seed for lane in lanes))
    mine = set(outings[share.number :: share.of])
    for batch in batches([lane for lane in lanes if lane.outing.seed in mine]):
        logs = tuple(_logs(batch))
        truth.add(batch, _files(logs, len(batch.lanes)))
        for log in logs:
            _write_one(share.folder, batch, log, share.scenario.variation.noise)
        yield len(batch.lanes)


def log_paths(scenario: Scenario) -> set[str]:
    """Where the logs of a season lie below the fleet folder."""
    return {_path(lane).as_posix() for lane in draw_lanes(scenario)}


def _path(lane: Lane) -> Path:
    return log_path(lane.outing, lane.engine.id if lane.outing.boat.logger.layout == "folders" else None)


@dataclass(frozen=True)
class _Log:
    """One file to write: its path below the fleet folder and the lanes of a batch it holds."""

    path: Path
    lanes: tuple[int, ...]


def _logs(batch: Batch) -> Iterator[_Log]:
    start = 0
    for index, lane in enumerate(batch.lanes):
        is_last = index + 1 == len(batch.lanes) or batch.lanes[index + 1].outing is not lane.outing
        if lane.outing.boat.logger.layout == "folders":
            yield _Log(_path(lane), (index,))
        elif is_last:
            yield _Log(_path(lane), tuple(range(start, index + 1)))
        if is_last:
            start = index + 1


def _files(logs: Sequence[_Log], lanes: int) -> list[str]:
    names = [""] * lanes
    for log in logs:
        for lane in log.lanes:
            names[lane] = log.path.as_posix()
    return names


def _write_one(folder: Path, batch: Batch, log: _Log, noise: float) -> None:
    lanes = [batch.lanes[index] for index in log.lanes]
    times = sample_times(lanes[0], lanes[0].outing.seed)
    measured = [measure(batch, index, times, noise) for index in log.lanes]
    write_log(folder / log.path, lanes, measured, times)
