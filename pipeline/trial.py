"""What one log would give, tried in a scratch place: the real ingest on a fleet folder that holds nothing else.

The fleet's own store and inbox are neither read nor changed.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, Final

import pyarrow.parquet as pq

from pipeline.catalogue import read_query
from pipeline.channels import CHANNELS
from pipeline.database import Database, rows
from pipeline.inbox_files import FOLDER
from pipeline.ingest import ingest
from pipeline.store import Store
from pipeline.wording import count

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pipeline.register import Boat, ChannelMap, Register

FIRST_ROWS: Final = 5
"""How many rows a preview shows."""

_FAR: Final = datetime(9999, 1, 1, tzinfo=UTC)
_TRIED: Final = "tried"
"""The name of the map that is tried; no map of the register can be in its way, as the others are left out."""


@dataclass(frozen=True)
class LogYield:
    """What a log gave for one engine.

    `engine` is its id in the boat. `shifts_measured` are the shifts whose reach error is known. `shows` counts what a
    morning asks about (a shift into each gear, idle in each gear, …). `first` has the first rows that hold a value, in
    canonical units, `time_s` in seconds since 1970, None where a cell is blank; empty where samples were not looked at.
    """

    engine: str
    channels: tuple[str, ...]
    lacking: tuple[str, ...]
    started_s: float
    seconds: float
    rows: int
    runs: int
    shifts: int
    shifts_measured: int
    idle_windows: int
    shows: Mapping[str, int]
    first: tuple[Mapping[str, float | None], ...] = ()

    def says(self) -> str:
        """What was found in it, in one line."""
        unmeasured = self.shifts - self.shifts_measured
        shifts = count(self.shifts, "shift") + (f" ({unmeasured} too short to measure)" if unmeasured else "")
        minutes = f"{self.seconds / 60:.0f} min" if self.seconds >= 60 else f"{self.seconds:.0f} s"
        windows = count(self.idle_windows, "idle window")
        return f"{minutes}, {count(self.runs, 'run')}, {shifts}, {windows}; {len(self.channels)} channels"


@dataclass(frozen=True)
class Trial:
    """What became of a log that was tried: `refusal` says why it cannot be taken (`line` where one is at fault)."""

    file: str
    refusal: str | None
    line: int | None
    remarks: str | None
    is_start_assumed: bool
    engines: tuple[LogYield, ...]


def try_log(
    register: Register,
    boat_id: str,
    engine: str | None,
    name: str,
    content: bytes | Path,
    channel_map: ChannelMap | None = None,
) -> Trial:
    """Read and measure one log as the boat's, or as one engine's, without taking it.

    `name` is the file's name, `content` its bytes or where it stands. With `channel_map` it is read by that instead of
    the boat's own. Raises OSError where the scratch place cannot be written.
    """
    with TemporaryDirectory(prefix="morningwatch-") as scratch_place:
        folder = Path(scratch_place)
        file = "/".join([FOLDER, boat_id, *([engine] if engine else []), name])
        _put(folder / file, content)
        ingest(_alone(register, boat_id, folder, channel_map))
        return _outcome(Store(folder), file)


def log_yields(store: Store, file: str, *, with_rows: bool = False) -> tuple[LogYield, ...]:
    """What a log of a store gave, an engine each; empty where it was not taken. With its first rows if asked for."""
    db = store.reader()
    shows = _shows(db, file)
    return tuple(
        _yield(row, shows.get(row["engine_id"], {}), store if with_rows else None)
        for row in rows(db, read_query("screens", "log_yield"), {"file": file})
    )


def _put(path: Path, content: bytes | Path) -> None:
    path.parent.mkdir(parents=True)
    if isinstance(content, Path):
        shutil.copy2(content, path)  # with its time: a log without a start begins at the file's own
    else:
        path.write_bytes(content)


def _alone(register: Register, boat_id: str, folder: Path, channel_map: ChannelMap | None) -> Register:
    """The register with that one boat, whose logs are read by the map that is tried."""
    boat = register.boat(boat_id)
    if channel_map is None:
        return register.model_copy(update={"folder": folder, "boats": (boat,)})
    tried: Boat = boat.model_copy(update={"channel_map": _TRIED})
    return register.model_copy(update={"folder": folder, "boats": (tried,), "channel_maps": {_TRIED: channel_map}})


def _outcome(store: Store, file: str) -> Trial:
    (row,) = rows(store.reader(), "select status, reason, line, is_start_assumed from marts.logs")
    is_taken = row["status"] == "taken"
    return Trial(
        file=file,
        refusal=None if is_taken else row["reason"],
        line=row["line"],
        remarks=row["reason"] if is_taken else None,
        is_start_assumed=bool(row["is_start_assumed"]),
        engines=log_yields(store, file, with_rows=True) if is_taken else (),
    )


def _yield(row: Mapping[str, Any], shows: Mapping[str, int], store: Store | None) -> LogYield:
    held = tuple(row["channels"])
    return LogYield(
        engine=row["engine_id"].partition("/")[2],
        channels=held,
        lacking=tuple(channel for channel in CHANNELS if channel not in held),
        started_s=row["started_s"],
        seconds=row["seconds"],
        rows=row["rows"],
        runs=row["runs"],
        shifts=row["shifts"],
        shifts_measured=row["shifts_measured"],
        idle_windows=row["idle_windows"],
        shows=shows,
        first=() if store is None else tuple(_first_rows(store.samples_path(row["samples"]), held)),
    )


def _first_rows(samples: Path, channels: tuple[str, ...]) -> Iterator[Mapping[str, float | None]]:
    with pq.ParquetFile(samples) as file:
        batch = next(file.iter_batches(FIRST_ROWS, columns=["time_s", *channels]), None)
    yield from [] if batch is None else batch.to_pylist()


def _shows(db: Database, file: str) -> dict[str, dict[str, int]]:
    found: dict[str, dict[str, int]] = {}
    for row in rows(db, read_query("screens", "dock_check"), {"as_of": _FAR, "logs": 1, "file": file}):
        if row["thing"] is not None:
            seen = found.setdefault(row["engine_id"], {})
            seen[row["thing"]] = seen.get(row["thing"], 0) + round(row["times"])
    return found
