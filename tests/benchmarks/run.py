"""Measures the pipeline against its yardsticks and prints ratios of one interleaved run.

    python tests/benchmarks/run.py [--logs 24] [--rounds 5] [--history-minutes 4] [--no-history] [--no-memory]

Every contender takes its turn in every round, in a rotating order, so a busy machine slows all of them alike; ratios
are medians over the rounds of the ratio within a round. Files lie in a temporary folder that is removed at the end.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).resolve().parent)]

import pandas as pd  # noqa: E402 - the paths above come first
import polars as pl  # noqa: E402
import pyarrow as pa  # noqa: E402
from made_logs import COLUMNS, FIRST_S, write_log  # noqa: E402
from rivals import (  # noqa: E402
    pandas_events,
    pandas_from_samples,
    pandas_whole,
    polars_events,
    polars_from_samples,
    polars_whole,
)

from pipeline import extract  # noqa: E402
from pipeline.database import scratch  # noqa: E402
from pipeline.extract import Chain, ChainLog, GearLevel  # noqa: E402
from pipeline.inbox import Places, log_id  # noqa: E402
from pipeline.inbox_files import Found  # noqa: E402
from pipeline.ingest import ingest  # noqa: E402
from pipeline.ledger import Ledger  # noqa: E402
from pipeline.measure import BATCH_ROWS  # noqa: E402
from pipeline.problems import Problem  # noqa: E402
from pipeline.register import Register, load_register  # noqa: E402
from pipeline.store import Store  # noqa: E402
from pipeline.take import TakeJob, settle_all, take  # noqa: E402

CPUS: Final = os.cpu_count() or 1
DAY_S: Final = 86_400
ENGINES: Final = 4
SCANNED: Final = (
    "rpm", "rpm_target", "gear", "shift_target", "shift_position", "pedal", "idle_integral", "idle_active",
    "oil_temp", "coolant_temp", "lambda", "lambda_target", "fuel_trim", "battery", "oil_pressure",
)  # fmt: skip
"""The sample columns that the event queries need."""


@dataclass(frozen=True)
class Contender:
    """One way to do a job; `prepare` runs before each turn and is not timed."""

    name: str
    job: Callable[[], object]
    prepare: Callable[[], object] = lambda: None


def main() -> None:
    """Run what is asked for and print the ratios."""
    asked = _arguments()
    with tempfile.TemporaryDirectory() as folder:
        if asked.only:
            _run_only(asked.only, Path(asked.folder))
            return
        work = Path(folder)
        fleet = _fleet(work / "fleet", logs=asked.logs, minutes=20)
        print(f"{asked.logs} logs of 20 min, 20 Hz, {len(COLUMNS)} columns; {CPUS} processors; {asked.rounds} rounds")
        print(f"the first log holds {_agree(_logs(fleet)[0])}")
        _whole(fleet, work, asked.rounds)
        _events(fleet, work, asked.rounds)
        if not asked.no_memory:
            _memory(fleet, work)
        if not asked.no_history:
            _mornings(work, asked.rounds, asked.history_minutes)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--logs", type=int, default=24)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--history-minutes", type=float, default=4, help="length of a log of the history")
    parser.add_argument("--no-history", action="store_true", help="leave out the mornings on 10 and 100 days")
    parser.add_argument("--no-memory", action="store_true", help="leave out peak memory")
    parser.add_argument("--only", help=argparse.SUPPRESS)
    parser.add_argument("--folder", help=argparse.SUPPRESS)
    return parser.parse_args()


def _whole(fleet: Path, work: Path, rounds: int) -> None:
    contenders = [
        Contender("bare COPY, explicit columns", lambda: _side_by_side(_bare_copy, fleet, work)),
        Contender("whole ingest", lambda: ingest(load_register(fleet)), lambda: _drop_store(fleet)),
        Contender("of which reading and samples", lambda: _side_by_side(_take, fleet, work)),
        Contender("pandas", lambda: _side_by_side(pandas_whole, fleet, work)),
        Contender("polars", lambda: _side_by_side(polars_whole, fleet, work)),
    ]
    _print("CSV to samples and events, logs side by side", _measured(contenders, rounds), len(_logs(fleet)))


def _events(fleet: Path, work: Path, rounds: int) -> None:
    """One thread each and processor time, so that the cost of the work is compared and not how it is spread.

    On a busy machine a short job slips through between others and a long one waits: seconds would tell of the others.
    """
    ingest(load_register(fleet))
    store = Store(fleet)
    with Ledger(store.ledger_path) as ledger:
        chains = [_chain(store, each.engine_id, each.log_id, each.samples) for each in ledger.engine_logs()]
    paths = [log.samples for chain in chains for log in chain.logs]
    plain = [_plain_copy(path, work) for path in paths]
    pa.set_cpu_count(1)
    contenders = [
        Contender("bare scan of the needed columns", lambda: [_bare_scan(path) for path in paths]),
        Contender("event extraction", lambda: [extract.extract(batch) for batch in _batches(chains)]),
        Contender("pandas", lambda: [pandas_from_samples(path) for path in plain]),
        Contender("polars", lambda: [polars_from_samples(path) for path in plain]),
    ]
    title = f"samples to events, processor time (polars with {pl.thread_pool_size()} threads)"
    _print(title, _measured(contenders, rounds, time.process_time), len(paths))
    pa.set_cpu_count(CPUS)


def _mornings(work: Path, rounds: int, minutes: float) -> None:
    fleets = {days: _history(work / f"days_{days}", days, minutes) for days in (10, 100)}
    contenders = [
        Contender(f"{ENGINES} new logs on {days} days", _morning(fleet, work), _reset(fleet, work, days))
        for days, fleet in fleets.items()
    ]
    contenders += [
        Contender(f"nothing new on {days} days", lambda fleet=fleet: ingest(load_register(fleet)))
        for days, fleet in fleets.items()
    ]
    _print("a morning", _measured(contenders, rounds), ENGINES)


def _memory(fleet: Path, work: Path) -> None:
    print("\npeak memory")
    for name in ("imports", "ingest", "bare_copy", "pandas", "polars"):
        _drop_store(fleet)
        command = [sys.executable, __file__, "--only", name, "--folder", str(fleet)]
        said = subprocess.run(command, check=True, capture_output=True, text=True, cwd=work)  # noqa: S603 - ourselves
        print(f"  {name:<40}{float(said.stdout):8.0f} MB")


def _run_only(name: str, fleet: Path) -> None:
    """One contender alone in this process; prints its peak memory in MB."""
    jobs: dict[str, Callable[[], object]] = {
        "imports": lambda: None,
        "ingest": lambda: ingest(load_register(fleet)),
        "bare_copy": lambda: _side_by_side(_bare_copy, fleet, fleet),
        "pandas": lambda: _side_by_side(pandas_whole, fleet, fleet),
        "polars": lambda: _side_by_side(polars_whole, fleet, fleet),
    }
    jobs[name]()
    status = Path("/proc/self/status").read_text(encoding="ascii")  # getrusage would also count the parent's peak
    print(int(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))) / 1024)


def _measured(
    contenders: Sequence[Contender], rounds: int, clock: Callable[[], float] = time.perf_counter
) -> dict[str, list[float]]:
    """Seconds by contender and round, after one turn of each that is not counted."""
    seconds: dict[str, list[float]] = {contender.name: [] for contender in contenders}
    for turn in range(rounds + 1):
        shift = turn % len(contenders)
        for contender in [*contenders[shift:], *contenders[:shift]]:
            contender.prepare()
            started = clock()
            contender.job()
            seconds[contender.name].append(clock() - started)
    return {name: each[1:] for name, each in seconds.items()}


def _print(title: str, seconds: dict[str, list[float]], logs: int) -> None:
    print(f"\n{title}")
    first = next(iter(seconds.values()))
    for name, each in seconds.items():
        ratio = statistics.median(mine / theirs for mine, theirs in zip(each, first, strict=True))
        print(f"  {name:<40}{ratio:8.2f} x{statistics.median(each) / logs * 1000:10.1f} ms a log")


def _fleet(folder: Path, *, logs: int, minutes: float) -> Path:
    _register(folder)
    for number in range(logs):
        engine = number % ENGINES
        start_s = FIRST_S + number // ENGINES * DAY_S
        write_log(_log_path(folder, engine, number), start_s=start_s, minutes=minutes, seed=number)
    return folder


def _history(folder: Path, days: int, minutes: float) -> Path:
    """A fleet with so many days already taken in, and a copy of its store to start each morning from."""
    fleet = _fleet(folder, logs=days * ENGINES, minutes=minutes)
    ingest(load_register(fleet))
    shutil.copytree(fleet / "store", fleet / "store_before")
    for engine in range(ENGINES):
        write_log(folder / f"new_{engine}.csv", start_s=FIRST_S + days * DAY_S, minutes=20, seed=1_000_000 + engine)
    return fleet


def _reset(fleet: Path, _: Path, days: int) -> Callable[[], None]:
    def prepare() -> None:
        _drop_store(fleet)
        shutil.copytree(fleet / "store_before", fleet / "store")
        for engine in range(ENGINES):
            shutil.copyfile(fleet / f"new_{engine}.csv", _log_path(fleet, engine, days * ENGINES + engine))

    return prepare


def _morning(fleet: Path, _: Path) -> Callable[[], object]:
    def job() -> object:
        result = ingest(load_register(fleet))
        if result.taken != ENGINES:
            raise RuntimeError(f"a morning took {result}")
        return result

    return job


def _register(folder: Path) -> None:
    folder.mkdir(parents=True)
    lines = ["[fleet]", 'name = "Benchmark"', 'timezone = "UTC"']
    for engine in range(ENGINES):
        lines += ["[[boat]]", f'id = "boat{engine}"', "[[boat.engine]]", 'id = "main"']
        lines += ["shift_targets = { reverse = 12, neutral = 50, forward = 90 }"]
    (folder / "fleet.toml").write_text("\n".join(lines), encoding="utf-8")


def _log_path(folder: Path, engine: int, number: int) -> Path:
    return folder / "inbox" / f"boat{engine}" / f"{number:05}.csv"


def _logs(fleet: Path) -> list[Path]:
    return sorted((fleet / "inbox").rglob("*.csv"))


def _drop_store(fleet: Path) -> None:
    shutil.rmtree(fleet / "store", ignore_errors=True)


def _agree(log: Path) -> str:
    """How many runs, shifts and idle windows the rivals find in a log; an error if they differ."""
    by_pandas = [len(table) for table in pandas_events(pd.read_csv(log))]
    by_polars = [len(table) for table in polars_events(pl.read_csv(log, infer_schema_length=None))]
    if by_pandas != by_polars:
        raise RuntimeError(f"pandas and polars do not do the same job: {by_pandas}, {by_polars}")
    return "{} run, {} shifts, {} idle windows".format(*by_pandas)


def _side_by_side(job: Callable[[Path, Path], None], fleet: Path, work: Path) -> None:
    logs = _logs(fleet)
    with ThreadPoolExecutor(CPUS) as workers:
        list(workers.map(job, logs, [work / f"{log.stem}.parquet" for log in logs]))


def _bare_copy(log: Path, samples: Path) -> None:
    columns = ", ".join(f"'{name}': '{'DOUBLE' if name == 'time' else 'FLOAT'}'" for name in COLUMNS)
    scratch().execute(f"""
        copy (from read_csv('{log}', auto_detect = false, header = true, delim = ',', columns = {{{columns}}}))
        to '{samples}' (format parquet, compression zstd)
    """)


@cache
def _known_register(fleet: Path) -> Register:
    return load_register(fleet)


def _take(log: Path, samples: Path) -> None:
    """What an ingest does before it measures: name the log, read it, write its samples."""
    register = _known_register(log.parents[2])
    found = Found(register.folder, log.relative_to(register.folder).as_posix())
    place = Places(register).of(found)
    if isinstance(place, Problem):
        raise TypeError(place.sentence())
    settle_all(take(TakeJob(place.request(found), log_id(log), samples.parent)), samples.parent)


def _bare_scan(samples: Path) -> None:
    sums = ", ".join(f'sum("{name}")' for name in ("time_s", *SCANNED))
    scratch().execute(f"select {sums} from read_parquet('{samples}')").fetchall()


def _chain(store: Store, engine_id: str, log_id: str, samples: str) -> Chain:
    levels = tuple(
        GearLevel(target, gear) for target, gear in ((12.0, "reverse"), (50.0, "neutral"), (90.0, "forward"))
    )
    return Chain(engine_id, (ChainLog(log_id, store.samples_path(samples)),), levels)


def _batches(chains: Sequence[Chain]) -> list[tuple[Chain, ...]]:
    return extract.batches(chains, rows_at_most=BATCH_ROWS, rows_of=lambda chain: 24_000 * len(chain.logs))


def _plain_copy(samples: Path, work: Path) -> Path:
    """The samples with the time named as in the CSV, for those who know no other name."""
    target = work / f"plain_{samples.stem}.parquet"
    scratch().execute(f"copy (select time_s as time, * exclude time_s from read_parquet('{samples}')) to '{target}'")
    return target


if __name__ == "__main__":
    main()
