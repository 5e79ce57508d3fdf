"""The fleets of the study: each seed draws its own kind of fleet, which is written, taken in and kept."""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import numpy as np

import demo_fleet
from demo_fleet.build import build_varied
from demo_fleet.scenario import Variation
from pipeline.ingest import ingest
from pipeline.logbook import add_note
from pipeline.register import load_register

LAST_DAY: Final = date(2025, 9, 30)
PLANTINGS: Final = ("stories", "scattered", "none")


@dataclass(frozen=True)
class Fleet:
    """What is to be drawn: everything else follows from it."""

    seed: int
    boats: int
    days: int

    @property
    def is_seen(self) -> bool:
        """Odd seeds are looked at while the statistics are made; even ones are held back."""
        return self.seed % 2 == 1

    @property
    def planting(self) -> str:
        """How faults are planted: by stories, scattered freely, or not at all, in turn."""
        return PLANTINGS[self.seed // 2 % len(PLANTINGS)]

    @property
    def has_notes(self) -> bool:
        """Whether repairs and new calibrations were written down; every other fleet of each kind."""
        return self.seed // 2 % 2 == 0

    @property
    def first_day(self) -> date:
        """The first day of the season."""
        return LAST_DAY - timedelta(days=self.days - 1)

    @property
    def variation(self) -> Variation:
        """Noise, logging rate, engines a boat, direction of travel, days out and lost logs of this seed."""
        rng = np.random.default_rng([self.seed, 77])
        fewest_out = float(rng.uniform(0.4, 0.65))
        return Variation(
            noise=float(rng.uniform(0.7, 1.4)),
            rate_hz=float(rng.choice([5.0, 10.0, 10.0, 20.0])),
            engines=(None, None, 2, 3)[int(rng.integers(4))],
            forward_low_share=float(rng.choice([0.15, 0.5, 1.0])),
            out_share=(fewest_out, fewest_out + 0.15),
            second_trip_share=float(rng.uniform(0.0, 0.4)),
            gap_share=float(rng.uniform(0.0, 0.2)),
            columnar=True,
            planting=self.planting,  # type: ignore[arg-type]
        )


def ready(fleet: Fleet, keep: Path) -> Path:
    """The fleet's folder below `keep`, written and taken in; a fleet kept from before is only taken in again."""
    folder = keep / f"seed-{fleet.seed}-{fleet.boats}x{fleet.days}"
    made_from = {"fleet": asdict(fleet), "variation": asdict(fleet.variation), "code": _code_key()}
    mark = folder / "drawn.json"
    if not mark.exists() or json.loads(mark.read_text()) != json.loads(json.dumps(made_from)):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        build_varied(folder, fleet.variation, boats=fleet.boats, days=fleet.days, seed=fleet.seed, last_day=LAST_DAY)
        if fleet.has_notes:
            _write_notes(folder)
        mark.write_text(json.dumps(made_from))
    ingest(load_register(folder))
    return folder


def read_truth(folder: Path, name: str) -> Any:
    """One of the truth's JSON files."""
    return json.loads((folder / "simulated_truth" / f"{name}.json").read_text())


def _write_notes(folder: Path) -> None:
    for note in read_truth(folder, "notes"):
        add_note(folder, note["boat"], note["engine"], note["kind"], note["text"], datetime.fromisoformat(note["at"]))


def _code_key() -> str:
    """Changes with the simulation's code, so that no fleet of an older simulation is judged."""
    room = Path(str(demo_fleet.__file__)).parent
    text = b"".join(path.read_bytes() for path in sorted(room.glob("*.py")))
    return hashlib.blake2b(text, digest_size=8).hexdigest()
