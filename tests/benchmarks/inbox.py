"""Does an ingest slow down as the inbox fills? The same new logs into fleets that know 100, 1,000 and 10,000 files.

    python tests/benchmarks/inbox.py [--known 100 1000 10000] [--new 24] [--rounds 3] [--keep FOLDER]

Every fleet has fifty boats; what it knows was really ingested: two minutes of log at 2 Hz a file, with a run, shifts
and idle windows. What is new are logs of 20 minutes at 20 Hz, the same in every fleet. Fleets take turns in every
round; a ratio is the median over the rounds of the ratio to the first fleet within a round. `--keep` makes the fleets
once and leaves them where they are.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).resolve().parent)]

from made_logs import FIRST_S, write_log  # noqa: E402 - the paths above come first

from pipeline.ingest import ingest  # noqa: E402
from pipeline.register import load_register  # noqa: E402

BOATS: Final = 50
DAY_S: Final = 86_400
AS_NEW: Final = 10_000_000
"""Seeds of the new logs begin here."""


def main() -> None:
    """Make the fleets and print the ratios."""
    asked = _arguments()
    with tempfile.TemporaryDirectory() as folder:
        work = asked.keep or Path(folder)
        fleets = {known: _fleet(work / f"known_{known}", known) for known in asked.known}
        new = _new_logs(work / f"new_{asked.new}", asked.new)
        seconds = _measured(fleets, new, asked.rounds)
    print(f"{asked.new} new logs of 20 min at 20 Hz; {BOATS} boats; {asked.rounds} rounds")
    for title, each in seconds.items():
        _print(title, each)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--known", type=int, nargs="+", default=[100, 1_000, 10_000])
    parser.add_argument("--new", type=int, default=24)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--keep", type=Path, help="make the fleets here, or take those that are here")
    return parser.parse_args()


def _fleet(fleet: Path, known: int) -> Path:
    """A fleet that has ingested so many small logs; its store is kept aside, to begin each turn from."""
    if (fleet / "store_before").exists():
        return fleet
    fleet.mkdir(parents=True, exist_ok=True)
    boats = "".join(f'[[boat]]\nid = "{_boat(at)}"\n[[boat.engine]]\nid = "main"\n' for at in range(BOATS))
    (fleet / "fleet.toml").write_text(f'[fleet]\nname = "Benchmark"\ntimezone = "UTC"\n{boats}', encoding="utf-8")
    for number in range(known):
        start_s = FIRST_S + number // BOATS * DAY_S
        log = fleet / "inbox" / _boat(number) / f"{number:05}.csv"
        write_log(log, start_s=start_s, minutes=2, seed=number, every=10)
    _ingested(fleet, known)
    _copy_files(fleet / "store", fleet / "store_before")
    return fleet


def _copy_files(store: Path, to: Path) -> None:
    """What a store keeps beside its samples: ledger, snapshots, working database."""
    to.mkdir()
    for path in store.iterdir():
        if path.is_file():
            shutil.copyfile(path, to / path.name)


def _boat(number: int) -> str:
    return f"boat{number % BOATS:02}"


def _new_logs(folder: Path, number: int) -> list[Path]:
    logs = [folder / _boat(at) / f"new_{at:05}.csv" for at in range(number)]
    for at, log in enumerate(logs):
        if not log.exists():
            write_log(log, start_s=FIRST_S + (1000 + at // BOATS) * DAY_S, minutes=20, seed=AS_NEW + at)
    return logs


def _measured(fleets: dict[int, Path], new: list[Path], rounds: int) -> dict[str, dict[int, list[float]]]:
    """Seconds by what was done and files known, after one turn of each fleet that is not counted."""
    with_new: dict[int, list[float]] = {known: [] for known in fleets}
    without: dict[int, list[float]] = {known: [] for known in fleets}
    for _ in range(rounds + 1):
        for known, fleet in fleets.items():
            _as_before(fleet, new)
            with_new[known].append(_ingested(fleet, len(new)))
            without[known].append(_ingested(fleet, 0))
    told = {f"{len(new)} new logs": with_new, "nothing new": without}
    return {title: {known: each[1:] for known, each in seconds.items()} for title, seconds in told.items()}


def _as_before(fleet: Path, new: list[Path]) -> None:
    """The fleet's store as it was before the new logs, and the new logs in its inbox.

    Samples of an earlier turn's new logs stay: nothing lists them, and they are written over.
    """
    store = fleet / "store"
    samples = store.rename(fleet / "store_of_samples")
    _copy_files(fleet / "store_before", store)
    (samples / "samples").rename(store / "samples")
    shutil.rmtree(samples)
    for log in new:
        shutil.copyfile(log, fleet / "inbox" / log.parent.name / log.name)


def _ingested(fleet: Path, wanted: int) -> float:
    """Seconds that an ingest took; an error if it did not take as many logs as it should."""
    register = load_register(fleet)
    started = time.perf_counter()
    result = ingest(register)
    seconds = time.perf_counter() - started
    if result.taken != wanted or result.refused:
        raise RuntimeError(f"an ingest that should take {wanted} logs gave {result}")
    return seconds


def _print(title: str, seconds: dict[int, list[float]]) -> None:
    print(f"\n{title}")
    first = next(iter(seconds.values()))
    for known, each in seconds.items():
        ratio = statistics.median(mine / theirs for mine, theirs in zip(each, first, strict=True))
        print(f"  {known:>7,} files known{ratio:10.2f} x{statistics.median(each):10.2f} s")


if __name__ == "__main__":
    main()
