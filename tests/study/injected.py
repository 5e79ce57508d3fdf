"""Puts sensor and unit faults into one engine of a sound simulated fleet, and scores what the next morning says.

    python tests/study/injected.py [--seed 1] [--boats 3] [--days 30] [--for-days 1] [--kind TEXT] [--keep FOLDER]

The fleet is written and taken in once. For each kind and strength a copy gets the fault in one engine's newest logs,
takes them in and is judged: was it told as a data finding with the right cause, did an engine finding follow from it,
was another engine touched? Odd seeds are looked at while the rules are made, even ones are held back.
"""

from __future__ import annotations

import argparse
import os
import shutil
import tempfile
from contextlib import nullcontext
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from sensor_faults import EXCHANGED, SENSOR_FAULTS, SensorFault

from demo_fleet.build import build_varied
from demo_fleet.scenario import Variation
from pipeline.ingest import ingest
from pipeline.morning import assess
from pipeline.register import load_register
from pipeline.store import Store

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from pipeline.findings import Finding
    from pipeline.morning import Morning

LAST_DAY: Final = date(2025, 9, 30)
ALARMS: Final = ("hold", "watch")


@dataclass(frozen=True)
class Outcome:
    """What the morning after said of one fault: `told` as data, `named` by its right cause.

    `false` are findings on the faulty engine that are no data findings and were not there without the fault; `lost`
    those that were and are gone; `touched` what changed on other engines.
    """

    kind: str
    strength: float
    told: bool
    named: bool
    false: tuple[str, ...]
    lost: tuple[str, ...]
    touched: tuple[str, ...]


def sound_fleet(folder: Path, seed: int, boats: int, days: int) -> Path:
    """A simulated fleet without planted faults, two engines a boat, written into `folder` and taken in."""
    variation = Variation(engines=2, columnar=True, planting="none", rate_hz=10.0 if seed % 4 < 2 else 20.0)
    build_varied(folder, variation, boats=boats, days=days, seed=seed, last_day=LAST_DAY)
    ingest(load_register(folder))
    return folder


def inject(fleet: Path, fault: SensorFault, strength: float, days: int, work: Path) -> Outcome:
    """The outcome of one fault on one engine of the first boat, on its last `days` days of logs."""
    copy = work / "copy"
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(fleet, copy, copy_function=_linked)
    register = load_register(copy)
    boat, engines = register.boats[0].id, [engine.id for engine in register.boats[0].engines]
    newest = _newest_logs(copy / "inbox" / boat, days)
    for path in newest:
        _spoil(path, fault, strength, engines)
    ingest(register)
    faulty = set(engines) if fault.kind == EXCHANGED else {engines[0]}
    return _compared(fault, strength, boat, faulty, judged(fleet), judged(copy))


def judged(fleet: Path) -> Morning:
    """The morning after the last day."""
    at = datetime.combine(LAST_DAY + timedelta(days=1), time(6), UTC)
    return assess(Store(fleet).reader(), load_register(fleet), at)


def table(outcomes: Iterable[Outcome]) -> list[str]:
    """One line a kind and strength, and the totals."""
    listed = list(outcomes)
    head = f"{'fault':40} {'strength':>8}  told  named  false engine findings, others touched"
    lines = [
        f"{each.kind:40} {each.strength:8g}  {_word(each.told):4}  {_word(each.named):5}  "
        f"{', '.join((*each.false, *(f'(lost {name})' for name in each.lost), *each.touched))}"
        for each in listed
    ]
    told, named = sum(each.told for each in listed), sum(each.named for each in listed)
    false, touched = sum(len(each.false) for each in listed), sum(len(each.touched) for each in listed)
    total = f"{len(listed)} faults: {told} told, {named} by the right name, {false} engine findings, {touched} others"
    return [head, *lines, total]


def _word(is_so: bool) -> str:  # noqa: FBT001
    return "yes" if is_so else "NO"


def _linked(source: str, target: str) -> str:
    """Samples and logs are only ever replaced as whole files, so they can be shared; databases are written in place."""
    if source.endswith(".parquet"):
        os.link(source, target)
        return target
    return str(shutil.copy2(source, target))


def _newest_logs(inbox: Path, days: int) -> list[Path]:
    logs = sorted(inbox.rglob("*.parquet"), key=_began)
    first = _began(logs[-1]).date() - timedelta(days=days - 1)
    return [path for path in logs if _began(path).date() >= first]


def _began(path: Path) -> pd.Timestamp:
    found: pd.Timestamp = pd.read_parquet(path, columns=["time"])["time"].iloc[0]
    return found


def _spoil(path: Path, fault: SensorFault, strength: float, engines: Sequence[str]) -> None:
    """Write the log anew with the fault in it, as a file of its own."""
    log = pd.read_parquet(path)
    time_s = (log["time"] - log["time"].iloc[0]).dt.total_seconds().to_numpy()
    of = {engine: [name for name in log.columns if name.endswith(f".{engine}")] for engine in engines}
    if fault.kind == EXCHANGED:
        one, other = engines[:2]
        names = {name: f"{name.removesuffix(f'.{one}')}.{other}" for name in of[one]}
        log = log.rename(columns=names | {there: here for here, there in names.items()})
    else:
        channels = {name.partition(".")[0]: log[name].to_numpy(dtype=np.float64) for name in of[engines[0]]}
        for name, values in fault.change(channels, time_s, strength).items():
            log[f"{name}.{engines[0]}"] = values
    path.unlink()
    log.to_parquet(path)


def _compared(
    fault: SensorFault, strength: float, boat: str, faulty: set[str], before: Morning, after: Morning
) -> Outcome:
    was, now = _alarms(before), _alarms(after)
    ours = [each for each in now if each.boat == boat and each.engine in faulty]
    data = [each for each in ours if each.indicator == "signal" and each.facet in fault.facets]
    known, there = {_name(each) for each in was}, {_name(each) for each in now}
    mine = {_name(each) for each in (*was, *now) if each.boat == boat and each.engine in faulty}
    false = {_name(each) for each in ours if each.indicator != "signal"} - known
    return Outcome(
        kind=fault.kind,
        strength=strength,
        told=len({each.engine for each in data}) == len(faulty),
        named={each.engine for each in data if each.cause in fault.causes} == faulty,
        false=tuple(sorted(false)),
        lost=tuple(sorted((known - there) & mine)),
        touched=tuple(sorted((known ^ there) - mine)),
    )


def _alarms(morning: Morning) -> list[Finding]:
    return [each for line in morning.boats for each in line.findings if each.status in ALARMS]


def _name(found: Finding) -> str:
    return f"{found.boat}/{found.engine} {found.cause or ''} {found.status}"


EXCHANGE: Final = SensorFault(
    EXCHANGED,
    (0.0,),
    lambda *_: {},
    frozenset({"engine_hours", "shift_position"}),
    frozenset({"swapped_engines"}),
)


def main() -> None:
    """Draw a fleet, put every fault into it in turn, print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--boats", type=int, default=3)
    parser.add_argument("--days", type=int, default=30)
    parser.add_argument("--for-days", type=int, default=1, help="on how many of the last days the fault is there")
    parser.add_argument("--kind", default="", help="only the kinds whose name holds this")
    parser.add_argument("--keep", type=Path, help="folder in which the fleet stays")
    asked = parser.parse_args()
    with nullcontext(asked.keep) if asked.keep else tempfile.TemporaryDirectory() as folder:
        fleet = Path(folder) / f"sound-{asked.seed}-{asked.boats}x{asked.days}"
        if not fleet.exists():
            sound_fleet(fleet, asked.seed, asked.boats, asked.days)
        else:
            ingest(load_register(fleet))
        faults = [each for each in (*SENSOR_FAULTS, EXCHANGE) if asked.kind in each.kind]
        outcomes = [
            inject(fleet, fault, strength, max(asked.for_days, fault.days), Path(folder))
            for fault in faults
            for strength in fault.strengths
        ]
        print("\n".join(table(outcomes)))


if __name__ == "__main__":
    main()
