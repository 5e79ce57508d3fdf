"""What is known to be true of the simulated season, written beside the logs and read by no part of the tool."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet

from demo_fleet.actuator import settled_pct, transit_s
from demo_fleet.arrays import GEAR_NAMES, Bools, Floats
from demo_fleet.crossings import crossings
from demo_fleet.engine import RECORD_HZ
from demo_fleet.notes import simulated_notes
from demo_fleet.physics import idle_target_rpm
from demo_fleet.scenario import TABLE_OIL_C, EngineUnit, Scenario
from demo_fleet.sensors import Batch, seconds_at
from demo_fleet.warmup import demand_pct

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from demo_fleet.lanes import Lane

SETTLING_S = 10.0
"""The idle loop re-converges for this long after a shift or the pedal's closing."""
AFTER_SHIFT_S = 4.0
YOUNG_RUN_S = 20.0
SHORTEST_IDLE_S = 10.0
SHORTEST_PLATEAU_S = 2.0
COLD_START_C = 40.0
HOT_C = 55.0
COLD_FOR_S = 300.0


@dataclass
class Truth:
    """Rows collected batch by batch."""

    shifts: list[dict[str, Any]] = field(default_factory=list)
    idle: list[dict[str, Any]] = field(default_factory=list)
    runs: list[dict[str, Any]] = field(default_factory=list)

    def add(self, batch: Batch, files: Sequence[str]) -> None:
        """Collect what is true of one batch; `files` names each lane's log."""
        settled, transit = settled_pct(batch.throws), transit_s(batch.throws)
        for index, lane in enumerate(batch.lanes):
            place = {"engine_id": f"{lane.outing.boat.id}/{lane.engine.id}", "file": files[index]}
            self.runs.append(place | _run(batch, index))
            self.idle += [place | row for row in _idle(batch, index)]
            self.shifts += [place | row for row in _shifts(batch, index, settled, transit)]

    def join(self, other: Truth) -> None:
        """Take in what another process collected."""
        self.shifts += other.shifts
        self.idle += other.idle
        self.runs += other.runs

    def write(self, folder: Path, scenario: Scenario) -> None:
        """Write all truth files into a folder."""
        folder.mkdir(parents=True, exist_ok=True)
        for name, rows in (("shifts", self.shifts), ("idle", self.idle), ("runs", self.runs)):
            ordered = sorted(rows, key=lambda row: (row["engine_id"], row["time"]))
            pyarrow.parquet.write_table(pa.Table.from_pylist(ordered), folder / f"{name}.parquet")
        (folder / "faults.json").write_text(json.dumps(fault_rows(scenario), indent=1) + "\n")
        (folder / "notes.json").write_text(json.dumps(note_rows(scenario), indent=1) + "\n")
        (folder / "fleet.json").write_text(json.dumps(fleet_facts(scenario), indent=1) + "\n")


def _moment(lane: Lane, seconds: float) -> datetime:
    return lane.outing.started.astimezone(UTC) + timedelta(seconds=round(seconds, 3))


def _shifts(batch: Batch, index: int, settled: Floats, transit: Floats) -> Iterator[dict[str, Any]]:
    lane, throws = batch.lanes[index], batch.throws
    rows = range(*throws.of(index).indices(throws.lane.size))
    ends = [float(throws.time_s[row + 1]) if row + 1 in rows else _log_end(lane) for row in rows]
    rpm = batch.recording.signal("rpm", index)
    for row, end in zip(rows, ends, strict=True):
        began = float(throws.time_s[row])
        is_stable = end - began >= SHORTEST_PLATEAU_S and lane.condition.flat_position == 0.0
        yield {
            "time": _moment(lane, began),
            "from_gear": GEAR_NAMES[int(throws.from_gear[row])],
            "to_gear": GEAR_NAMES[int(throws.to_gear[row])],
            "target_pct": float(throws.target_pct[row]),
            "settled_true_pct": float(settled[row]),
            "transit_true_s": float(transit[row]),
            "plateau_s": end - began,
            "battery_v": float(throws.volts[row]),
            "grease_c": float(throws.grease_c[row]),
            "running": bool(rpm[min(int(began * RECORD_HZ), rpm.size - 1)] > 200.0),
            "stable": is_stable,
        }


def _log_end(lane: Lane) -> float:
    return lane.outing.helm.stop_s if lane.outing.helm.stop_s is not None else lane.outing.helm.now


def _run(batch: Batch, index: int) -> dict[str, Any]:
    lane = batch.lanes[index]
    rpm = batch.recording.signal("rpm", index)[: int(_log_end(lane) * RECORD_HZ)]
    turning = rpm > 200.0
    first = int(turning.argmax())
    fell = np.flatnonzero(turning[:-1] & ~turning[1:])
    return {
        "time": _moment(lane, first / RECORD_HZ),
        "cold_start": bool(
            seconds_at(batch.warmth.coolant_c[:, index], np.array([first / RECORD_HZ]))[0] < COLD_START_C
        ),
        "starts": len(lane.outing.helm.cranks),
        "stalls": int(fell.size),
    }


@dataclass(frozen=True)
class _Stretch:
    """An undisturbed idle stretch, samples from `first` to `last` (exclusive), disturbed last at `quiet_from`."""

    first: int
    last: int
    gear: int
    quiet_from: float


def _idle(batch: Batch, index: int) -> Iterator[dict[str, Any]]:
    lane, recording = batch.lanes[index], batch.recording
    trim = np.where(recording.signal("fuel_closed_loop", index) > 0.5, recording.signal("fuel_trim", index), np.nan)
    integral = recording.signal("idle_integral", index)
    for stretch in _stretches(batch, index):
        first, last = stretch.first, stretch.last
        settled = integral[max(first, int((stretch.quiet_from + SETTLING_S) * RECORD_HZ)) : last]
        middle = (first + last) / 2 / RECORD_HZ
        yield {
            "time": _moment(lane, first / RECORD_HZ),
            "ended": _moment(lane, last / RECORD_HZ),
            "gear": GEAR_NAMES[stretch.gear],
            "oil_c": float(seconds_at(batch.warmth.oil_c[:, index], np.array([middle]))[0]),
            "integral_true_pct": float(settled.mean()) if settled.size >= RECORD_HZ else None,
            "trim_true_pct": None if np.isnan(trim[first:last]).all() else float(np.nanmean(trim[first:last])),
            "thermal": _thermal(batch, index, middle),
        }


def _stretches(batch: Batch, index: int) -> Iterator[_Stretch]:
    lane, throws = batch.lanes[index], batch.throws
    rows = throws.of(index)
    times = np.arange(int(_log_end(lane) * RECORD_HZ)) / RECORD_HZ
    quiet, disturbed = _quiet(batch, index, times)
    steps = throws.time_s[rows]
    gears = np.concatenate([throws.from_gear[rows][:1], throws.to_gear[rows]])
    number = np.searchsorted(steps, times, "right")
    since_shift = times - np.concatenate([[-60.0], steps])[number]
    quiet &= since_shift >= AFTER_SHIFT_S
    edges = np.flatnonzero(np.diff(np.concatenate([[0], quiet.astype(np.int8), [0]])))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if last - first >= SHORTEST_IDLE_S * RECORD_HZ and gears.size:
            shifted = float(times[first] - since_shift[first])
            yield _Stretch(int(first), int(last), int(gears[number[first]]), max(shifted, float(disturbed[first])))


def _quiet(batch: Batch, index: int, times: Floats) -> tuple[Bools, Floats]:
    """Where pedal, speed and age of the run allow an idle reading, and when pedal or start last disturbed."""
    lane = batch.lanes[index]
    rpm = batch.recording.signal("rpm", index)[: times.size]
    oil = seconds_at(batch.warmth.oil_c[:, index], times)
    busy = (demand_pct([lane], times)[:, 0] > 1.0) | (rpm < 200.0)
    disturbed = np.maximum.accumulate(np.where(busy, times, -60.0))
    stopped = np.maximum.accumulate(np.where(rpm < 200.0, times, -60.0))
    near = np.abs(rpm - idle_target_rpm(oil)) < 150.0
    return near & ~busy & (times - stopped > YOUNG_RUN_S), disturbed


def _thermal(batch: Batch, index: int, seconds: float) -> str:
    """Thermal state of a moment as the contract defines it, from the true coolant temperature."""
    coolant = batch.warmth.coolant_c[:, index]
    helm = batch.lanes[index].outing.helm
    began = helm.cranks[-1] if helm.cranks else 0.0
    at_start, now = coolant[int(began)], coolant[int(seconds)]
    age = seconds - began
    if at_start < COLD_START_C and age <= COLD_FOR_S:
        return "cold"
    waits = 60.0 if at_start >= HOT_C else COLD_FOR_S
    return "hot" if age >= waits and now >= HOT_C else "warming"


def fault_rows(scenario: Scenario) -> list[dict[str, Any]]:
    """The planted faults with their dates, and when each crosses the default limits."""
    rows = []
    for fault in scenario.faults:
        days = {"onset": fault.onset, "full": fault.full, "mended": fault.mended, **crossings(scenario, fault)}
        dates = {name: _date(scenario, day) for name, day in days.items()}
        kept = {name: value for name, value in asdict(fault).items() if name not in {"onset", "full", "mended"}}
        rows.append(kept | dates)
    return rows


def note_rows(scenario: Scenario) -> list[dict[str, Any]]:
    """The simulated notes, times in ISO 8601."""
    return [asdict(note) | {"at": note.at.isoformat()} for note in simulated_notes(scenario)]


def _date(scenario: Scenario, day: float | None) -> str | None:
    return None if day is None else (scenario.first_day + timedelta(days=int(day))).isoformat()


def fleet_facts(scenario: Scenario) -> dict[str, Any]:
    """The true parameters of every boat and engine."""
    return {
        "seed": scenario.seed,
        "first_day": scenario.first_day.isoformat(),
        "last_day": scenario.last_day.isoformat(),
        "cold_spell": [(scenario.first_day + timedelta(days=day)).isoformat() for day in scenario.weather.cold_spell],
        "morning_air_c": [round(float(value), 1) for value in scenario.weather.air_c],
        "note": "Loggers keep the minutes at the dock and the first run; engine hours go on unlogged.",
        "boats": [
            {
                "id": boat.id,
                "story": boat.story.name,
                "logger": {"suffix": boat.logger.suffix, "rate_hz": boat.logger.rate_hz, "layout": boat.logger.layout},
                "engines": [_engine_facts(engine) for engine in boat.engines],
            }
            for boat in scenario.boats
        ],
    }


def _engine_facts(engine: EngineUnit) -> dict[str, Any]:
    facts = asdict(engine)
    facts["table_pct"] = dict(zip(map(str, TABLE_OIL_C), engine.table_pct.tolist(), strict=True))
    for name in ("targets", "mismatch", "load_pct", "add_pct"):
        facts[name] = {GEAR_NAMES[gear]: value for gear, value in facts[name].items()}
    return facts
