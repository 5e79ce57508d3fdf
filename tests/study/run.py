"""Holds the season judgement against simulated seasons whose truth is known, and prints how well it did.

    python tests/study/run.py [--fleets 6] [--first-seed 1] [--only seen|held-back] [--days 60] [--boats 12]
                              [--every 1] [--jobs 2] [--keep FOLDER] [--json FILE]

Every seed draws a fleet of its own kind: noise, logging rate, engines a boat, direction of travel, days out, lost logs,
faults by stories, scattered or none, with or without notes. The mornings are walked one by one and compared with what
was planted. Odd seeds are 'seen' while the statistics are made, even ones are 'held back'. With --keep the fleets stay
in a folder, and a later run only walks their mornings again.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from dataclasses import asdict, replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

ROOT: Final = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).resolve().parent)]

from drawn_fleets import Fleet  # noqa: E402 - the paths above come first
from scores import score  # noqa: E402
from table import lines  # noqa: E402
from walked import Walk, walk  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence


def main() -> None:
    """Draw, walk, compare and print."""
    asked = _arguments()
    fleets = [Fleet(seed, asked.boats, asked.days) for seed in _seeds(asked.first_seed, asked.fleets, asked.only)]
    kept = nullcontext(asked.keep) if asked.keep else tempfile.TemporaryDirectory()
    with kept as folder:
        walks = list(_walk_all(fleets, Path(folder), asked.every, asked.jobs))
    for name, is_seen in (("seen (odd seeds)", True), ("held back (even seeds)", False)):
        group = [each for each in walks if each.fleet.is_seen == is_seen]
        if group:
            print(f"\n=== {name} ===")
            print("\n".join(lines(group, score(group))))
    if asked.json:
        asked.json.write_text(json.dumps([_plain(each) for each in walks], default=str, indent=1))


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fleets", type=int, default=6)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--only", choices=("seen", "held-back"), help="odd or even seeds alone")
    parser.add_argument("--days", type=int, default=60)
    parser.add_argument("--boats", type=int, default=12)
    parser.add_argument("--every", type=int, default=1, help="judge every n-th morning")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="folder in which the fleets stay")
    parser.add_argument("--json", type=Path, help="write everything told and planted to this file")
    return parser.parse_args()


def _seeds(first: int, count: int, only: str | None) -> list[int]:
    """The next `count` seeds from the first on, of the parity asked for."""
    parity = {None: {0, 1}, "seen": {1}, "held-back": {0}}[only]
    return [seed for seed in range(first, first + 2 * count + 1) if seed % 2 in parity][:count]


def _walk_all(fleets: Sequence[Fleet], keep: Path, every: int, jobs: int) -> Iterator[Walk]:
    """Fleets side by side; a line to standard error as each is done."""
    context = get_context("forkserver")  # a child forked from a process that holds DuckDB threads would hang
    with ProcessPoolExecutor(jobs, mp_context=context) as workers:
        for done in workers.map(partial(walk, keep=keep, every=every), fleets):
            print(f"seed {done.fleet.seed} walked, {len(done.mornings)} mornings", file=sys.stderr)
            yield done


def _plain(walked: Walk) -> dict[str, Any]:
    """A walk for a JSON file; days are keys, so they must be text."""
    judged = {day.isoformat(): sorted(engines) for day, engines in walked.judged.items()}
    return asdict(replace(walked, judged={})) | {"judged": judged}


if __name__ == "__main__":
    main()
