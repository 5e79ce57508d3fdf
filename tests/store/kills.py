"""Kills ingests at random moments and holds what the next ingest makes of it against an undisturbed run.

    python tests/store/kills.py [--kills 200] [--seed 1] [--boats 2] [--days 3]

Each phase of an ingest is as likely as any other, whatever it lasts: the ingest says where it is, and is killed some
random time after it entered the phase. Two in five are killed again while they put things right. Files lie in a
temporary folder that is removed at the end; the exit status is 1 if anything differed.
"""

from __future__ import annotations

import argparse
import multiprocessing
import random
import runpy
import shutil
import sys
import tempfile
import threading
import time
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from hashlib import blake2b
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any, Final

ROOT: Final = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

import demo_fleet  # noqa: E402 - the path above comes first
from pipeline import extract, ingest, intake, measure, readings, store, take  # noqa: E402
from pipeline.ledger import Ledger  # noqa: E402
from pipeline.logbook import add_note  # noqa: E402
from pipeline.register import load_register  # noqa: E402
from pipeline.working import Working  # noqa: E402

SCRIPT: Final = str(Path(__file__).resolve())
AGAIN: Final = 0.4
"""How often an ingest that puts things right is killed too."""

PHASES: Final[dict[str, tuple[Any, str]]] = {
    "begin": (store.Store, "sweep"),
    "look at the inbox": (intake, "scan"),
    "name a log": (intake, "identify"),
    "read a log": (intake, "take"),
    "write samples": (take, "_write"),
    "give samples their name": (intake, "settle_all"),
    "record": (Ledger, "record"),
    "within a record": (Ledger, "_put"),
    "open the working database": (Working, "__init__"),
    "plan": (measure, "_plan"),
    "measure": (extract, "extract"),
    "forget events": (Working, "forget"),
    "add events": (Working, "add"),
    "readings": (readings, "refresh"),
    "lists": (Working, "put"),
    "before the commit": (Working, "remember"),
    "publish": (store.Store, "publish"),
    "copy a database": (store.shutil, "copyfile"),
    "check the copy": (store, "_holds"),
    "give a file its name": (store, "settle"),
    "name the snapshot": (store, "write_durably"),
    "remove samples": (ingest, "_remove_discarded"),
    "copy the ledger": (Ledger, "keep_copy"),
}
"""What is told on the way: the function whose call begins the phase."""


def main() -> None:
    """Kill as often as is asked for and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--boats", type=int, default=2)
    parser.add_argument("--days", type=int, default=3)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        tally = Trial(Path(folder), boats=asked.boats, days=asked.days, seed=asked.seed).run(asked.kills)
    sys.stdout.write(tally.text())
    sys.exit(1 if tally.differences else 0)


@dataclass
class Tally:
    """How many kills fell into each phase, how many ingests went on from them, and what differed afterwards."""

    phases: Counter[str] = field(default_factory=Counter)
    completed: int = 0
    too_late: int = 0
    differences: list[str] = field(default_factory=list)

    def text(self) -> str:
        """The figures as lines."""
        lines = [f"  {count:5}  {phase}" for phase, count in self.phases.most_common()]
        head = f"{sum(self.phases.values())} kills in {len(self.phases)} phases; {self.too_late} came too late"
        tail = f"{self.completed} fleets put right by the next ingest; {len(self.differences)} differ"
        return "\n".join([head, *lines, tail, *self.differences, ""])


class Trial:
    """A fleet with a morning to take in, from an empty store and from that of the day before."""

    def __init__(self, work: Path, *, boats: int, days: int, seed: int) -> None:
        self._work = work
        self._random = random.Random(seed)  # noqa: S311 - repeatable, not secret
        self._context = multiprocessing.get_context("forkserver")
        self._context.set_forkserver_preload(["pipeline.ingest", "pipeline.readers", "pyarrow.parquet", "demo_fleet"])
        self._starts = [work / "from_nothing", work / "from_yesterday"]
        _build(self._starts[0], boats=boats, days=days, seed=seed)
        _yesterday(self._starts[0], self._starts[1])
        self._before = [content(each) for each in self._starts]
        self._expected = []
        self._course = []
        for start in self._starts:
            whole = Path(shutil.copytree(start, work / "whole"))
            self._course.append(self._undisturbed(whole))
            self._expected.append(content(whole))
            shutil.rmtree(whole)

    def run(self, kills: int) -> Tally:
        """Kill so many ingests."""
        tally = Tally()
        while sum(tally.phases.values()) < kills:
            which = self._random.randrange(len(self._starts))
            fleet = Path(shutil.copytree(self._starts[which], self._work / "killed"))
            self._kill(fleet, self._course[which], tally)
            while sum(tally.phases.values()) < kills and self._random.random() < AGAIN:
                self._kill(fleet, self._course[which], tally)
            if tables(fleet) not in (self._before[which]["tables"], self._expected[which]["tables"]):
                tally.differences.append("a reader saw something between the old and the new")
            ingest.ingest(load_register(fleet))
            found = content(fleet)
            tally.completed += 1
            tally.differences += [
                f"{kind} differ after kills in {list(tally.phases)[-3:]}"
                for kind, what in self._expected[which].items()
                if found[kind] != what
            ]
            shutil.rmtree(fleet)
        return tally

    def _undisturbed(self, fleet: Path) -> dict[str, list[float]]:
        """One ingest as it goes by itself: how long after each entry of a phase the next one came, by phase."""
        process, told = self._start(fleet)
        entered: list[tuple[str, float]] = []
        with suppress(EOFError):
            while True:
                entered.append((told.recv_bytes().decode(), time.monotonic()))
        process.join()
        if process.exitcode != 0:
            raise RuntimeError("an ingest that nobody killed failed")
        course: dict[str, list[float]] = {}
        for (phase, at), (_, after) in zip(entered, [*entered[1:], entered[-1]], strict=True):
            course.setdefault(phase, []).append(after - at)
        return course

    def _kill(self, fleet: Path, course: dict[str, list[float]], tally: Tally) -> None:
        """Start an ingest and kill it some time after its n-th entry into a phase drawn by lot."""
        phase = self._random.choice(sorted(course))
        entry = self._random.randrange(len(course[phase]))
        delay_s = self._random.random() * 2 * course[phase][entry]
        process, told = self._start(fleet)
        last = ""
        with suppress(EOFError):
            while entry >= 0:
                last = told.recv_bytes().decode()
                entry -= last == phase
            wait([process.sentinel], timeout=delay_s)
            process.kill()
            while True:
                last = told.recv_bytes().decode()
        process.join()
        if process.exitcode == 0:
            tally.too_late += 1
        else:
            tally.phases[last] += 1

    def _start(self, fleet: Path) -> tuple[Any, Connection]:
        ours, theirs = self._context.Pipe(duplex=False)
        given = {"folder": str(fleet), "pipe": theirs}
        process = self._context.Process(target=runpy.run_path, args=(SCRIPT, given, "to_be_killed"))
        process.start()
        theirs.close()
        return process, ours


def _build(fleet: Path, *, boats: int, days: int, seed: int) -> None:
    demo_fleet.build(fleet, boats=boats, days=days, seed=seed)
    boat = load_register(fleet).boats[0].id
    add_note(fleet, boat, None, "remark", "written by hand", datetime(2026, 1, 2, tzinfo=UTC))


def _yesterday(morning: Path, fleet: Path) -> None:
    """The fleet as it was a day ago, taken in; then the morning's files put beside it.

    Yesterday a third of the files was missing, one was half as long, one had another content and one has been cleared
    away since.
    """
    shutil.copytree(morning, fleet)
    files = sorted(path for path in (fleet / "inbox").rglob("*") if path.is_file())
    plain = [path for path in files if path.suffix == ".csv"]
    held = {path: path.read_bytes() for path in (*files[::3], *plain[:2])}
    cleared = plain[0].with_name("cleared_away.csv")
    cleared.write_bytes(held[plain[0]].rpartition(b"\n")[0].rpartition(b"\n")[0] + b"\n")
    for path in files[::3]:
        path.unlink()
    plain[0].write_bytes(held[plain[0]][: len(held[plain[0]]) // 2])
    plain[1].write_bytes(cleared.read_bytes()[: len(held[plain[1]]) // 3])
    ingest.ingest(load_register(fleet))
    cleared.unlink()
    for path, data in held.items():
        path.write_bytes(data)


def content(fleet: Path) -> dict[str, Any]:
    """All that must not depend on what happened on the way."""
    folder = store.Store(fleet).folder
    return {
        "tables": tables(fleet),
        "samples": sorted((str(path.relative_to(folder)), _digest(path)) for path in folder.rglob("*.parquet")),
        "parts": sorted(path.name for path in folder.rglob("*.part")),
        "inbox": sorted((str(path.relative_to(fleet)), _digest(path)) for path in _files(fleet, "inbox/**/*")),
        "logbook": sorted((path.name, _digest(path)) for path in _files(fleet, "logbook*")),
    }


def tables(fleet: Path) -> dict[str, list[str]]:
    """Every table that a reader can see, its rows in one order; empty where nothing is published."""
    held = store.Store(fleet)
    if held.snapshot() is None:
        return {}
    with held.reader() as db:
        names = db.execute(
            "select schema_name || '.' || table_name from duckdb_tables() where schema_name <> 'build' order by 1"
        ).fetchall()
        return {name: sorted(map(repr, db.execute(f"from {name}").fetchall())) for (name,) in names}


def _files(fleet: Path, pattern: str) -> list[Path]:
    return [path for path in fleet.glob(pattern) if path.is_file()]


def _digest(path: Path) -> str:
    return blake2b(path.read_bytes(), digest_size=8).hexdigest()


def _to_be_killed(folder: str, pipe: Connection) -> None:
    """An ingest that says where it is."""
    turn = threading.Lock()

    def saying(phase: str, function: Any) -> Any:
        def said(*arguments: Any, **options: Any) -> Any:
            with turn:
                pipe.send_bytes(phase.encode())
            return function(*arguments, **options)

        return said

    for phase, (place, name) in PHASES.items():
        setattr(place, name, saying(phase, getattr(place, name)))
    ingest.ingest(load_register(Path(folder)))


if __name__ == "__main__":
    main()
elif __name__ == "to_be_killed":
    _to_be_killed(globals()["folder"], globals()["pipe"])
