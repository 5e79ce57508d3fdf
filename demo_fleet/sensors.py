"""What the sensors make of the physics: every canonical channel of a lane at the logger's sample times, with noise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from demo_fleet.actuator import STEP_S as TRACE_STEP_S
from demo_fleet.actuator import TRACE_POINTS, Throws, first_gear, resting_volts
from demo_fleet.engine import RECORD_HZ, Recording, table_pct
from demo_fleet.physics import drag_factor, idle_target_rpm
from demo_fleet.warmup import Temperatures, demand_pct

if TYPE_CHECKING:
    from demo_fleet.arrays import Floats, Ints
    from demo_fleet.lanes import Lane

NOISE_SD: Final[dict[str, float]] = {
    "rpm": 1.2,
    "shift_position": 0.06,
    "throttle": 0.06,
    "pedal": 0.07,
    "idle_integral": 0.01,
    "oil_temp": 0.12,
    "coolant_temp": 0.15,
    "air_temp": 0.15,
    "lambda": 0.006,
    "fuel_trim": 0.12,
    "battery": 0.025,
    "oil_pressure": 2.0,
    "manifold_pressure": 0.5,
}
"""Standard deviation of each sensor's noise in the canonical unit; common practice, no published source."""

PRESSURE_RELIEF_KPA: Final = 470.0
CRANKING_DIP_V: Final = 2.6


@dataclass(frozen=True)
class Batch:
    """Lanes that were simulated side by side, with everything the simulation left."""

    lanes: tuple[Lane, ...]
    throws: Throws
    warmth: Temperatures
    recording: Recording


def sample_times(lane: Lane, noise_seed: tuple[int, ...]) -> Floats:
    """The logger's sample times in s since the log's start, strictly rising."""
    logger = lane.outing.boat.logger
    times = np.arange(int(lane.outing.helm.now * logger.rate_hz)) / logger.rate_hz
    if logger.jitter_s == 0.0:
        return times
    shaken = times + np.random.default_rng([*noise_seed, 6]).normal(0.0, logger.jitter_s, times.size)
    return np.unique(np.round(np.maximum(shaken, 0.0), 4))


def measure(batch: Batch, index: int, times_s: Floats, noise: float) -> dict[str, Floats]:
    """All canonical channels of one lane in canonical units, not yet quantised; gear is -1, 0 or 1."""
    lane = batch.lanes[index]
    clean = (
        _speed_and_idle(batch, index, times_s) | _shift(batch, index, times_s) | _fuel_and_supply(batch, index, times_s)
    )
    clean["idle_feedforward"] = table_pct(lane, clean["oil_temp"]) + _added(lane, clean["gear"])
    clean["battery"] -= clean.pop("sag")
    rng = np.random.default_rng([*lane.seed, 7])
    for channel, sd in NOISE_SD.items():
        clean[channel] = clean[channel] + (sd * noise) * rng.standard_normal(times_s.size, dtype=np.float32)
    clean["pedal"], clean["rpm"] = np.maximum(clean["pedal"], 0.0), np.where(clean["rpm"] < 15.0, 0.0, clean["rpm"])
    return _with_sensor_faults(lane, clean)


def at_times(signal: Floats, times_s: Floats) -> Floats:
    """A 20 Hz signal at other times, linear between its samples."""
    places = times_s * RECORD_HZ
    stride = round(float(places[1])) if places.size > 1 else 1
    if stride >= 1 and abs(float(places[-1]) - stride * (places.size - 1)) < 1e-6:
        return signal[: stride * places.size : stride].astype(np.float64)
    return np.asarray(np.interp(places, np.arange(signal.size), signal))


def seconds_at(column_c: Floats, times_s: Floats) -> Floats:
    """A once-a-second signal at other times."""
    return np.asarray(np.interp(times_s, np.arange(column_c.size), column_c))


def _speed_and_idle(batch: Batch, index: int, times_s: Floats) -> dict[str, Floats]:
    recording, lane = batch.recording, batch.lanes[index]
    oil = seconds_at(batch.warmth.oil_c[:, index], times_s)
    demand = demand_pct([lane], times_s)[:, 0].astype(np.float64)
    rpm = at_times(recording.signal("rpm", index), times_s)
    air = at_times(recording.signal("idle_air", index), times_s)
    torque = at_times(recording.signal("torque", index), times_s)
    turning = np.clip(rpm / 300.0, 0.0, 1.0)
    vacuum = lane.outing.pressure_kpa - (29.0 + 62.0 * torque / 430.0)
    pumped = lane.engine.oil_pressure_kpa * rpm / 600.0 * drag_factor(oil) / drag_factor(np.array(70.0))
    return {
        "rpm": rpm,
        "rpm_target": np.round(idle_target_rpm(oil)),
        "throttle": 1.1 + 0.055 * air + 0.92 * demand,
        "pedal": demand,
        "idle_integral": at_times(recording.signal("idle_integral", index), times_s),
        "idle_active": np.round(at_times(recording.signal("idle_active", index), times_s)),
        "oil_temp": oil,
        "oil_pressure": PRESSURE_RELIEF_KPA * np.tanh(pumped / PRESSURE_RELIEF_KPA),
        "manifold_pressure": lane.outing.pressure_kpa - vacuum * turning,
        "engine_hours": lane.hours + np.maximum(times_s, 0.0) / 3600.0,
    }


def _fuel_and_supply(batch: Batch, index: int, times_s: Floats) -> dict[str, Floats]:
    recording, lane = batch.recording, batch.lanes[index]
    coolant = seconds_at(batch.warmth.coolant_c[:, index], times_s)
    rpm = at_times(recording.signal("rpm", index), times_s)
    demand = demand_pct([lane], times_s)[:, 0]
    wanted = 1.0 - 0.06 * np.clip((42.0 - coolant) / 32.0, 0.0, 1.0) - 0.1 * (demand > 45.0)
    cowl = 6.0 * (1.0 - np.exp(-times_s / 200.0))
    alternator = 0.2 * np.clip((rpm - 700.0) / 1500.0, 0.0, 1.0)
    return {
        "coolant_temp": coolant,
        "air_temp": lane.outing.air_c + cowl,
        "lambda": at_times(recording.signal("lambda", index), times_s),
        "lambda_target": wanted,
        "fuel_trim": at_times(recording.signal("fuel_trim", index), times_s),
        "fuel_closed_loop": np.round(at_times(recording.signal("fuel_closed_loop", index), times_s)),
        "battery": resting_volts([lane], times_s[:, None])[:, 0] + alternator - _cranking(lane, times_s),
    }


def _cranking(lane: Lane, times_s: Floats) -> Floats:
    dip = np.zeros(times_s.size)
    weak = 1.0 + 0.5 * lane.condition.battery_weak
    for moment in lane.outing.helm.cranks:
        since = times_s - moment
        dip += np.where((since >= 0.0) & (since < 3.0), CRANKING_DIP_V * weak * np.exp(-since / 0.6), 0.0)
    return dip


def _shift(batch: Batch, index: int, times_s: Floats) -> dict[str, Floats]:
    """Gear asked for, target, position and the voltage sag of each throw."""
    lane, rows = batch.lanes[index], batch.throws.of(index)
    gear = first_gear(lane)
    at_start = lane.target(gear) + lane.outward(gear) * lane.engine.mismatch[gear] + lane.condition.sensor_offset
    number = np.searchsorted(batch.throws.time_s[rows], times_s, "right")
    if rows.stop == rows.start:
        still = np.full(times_s.size, 1.0)
        return {
            "gear": gear * still,
            "shift_target": lane.target(gear) * still,
            "shift_position": at_start * still,
            "sag": 0 * still,
        }
    before = number == 0
    which = np.maximum(number - 1, 0)
    since = np.maximum(times_s - batch.throws.time_s[rows][which], 0.0) / TRACE_STEP_S
    position = _on_trace(batch.throws.trace_pct[rows], which, since)
    sag = np.where(before | (since >= TRACE_POINTS), 0.0, _on_trace(batch.throws.sag_v[rows], which, since))
    return {
        "gear": np.where(before, gear, batch.throws.to_gear[rows][which]).astype(np.float64),
        "shift_target": np.where(before, lane.target(gear), batch.throws.target_pct[rows][which]),
        "shift_position": np.where(before, at_start, position),
        "sag": sag,
    }


def _on_trace(trace: Floats, which: Ints, places: Floats) -> Floats:
    low = np.minimum(places.astype(np.int64), TRACE_POINTS - 1)
    high = np.minimum(low + 1, TRACE_POINTS - 1)
    share = np.minimum(places - low, 1.0)
    return np.asarray(trace[which, low] * (1 - share) + trace[which, high] * share)


def _added(lane: Lane, gear: Floats) -> Floats:
    add = lane.engine.add_pct
    return np.where(gear > 0, add[1], np.where(gear < 0, add[-1], add[0]))


def _with_sensor_faults(lane: Lane, channels: dict[str, Floats]) -> dict[str, Floats]:
    if lane.condition.flat_position > 0.0:
        frozen = 0 if lane.condition.flat_position >= 1.0 else channels["shift_position"].size // 5
        channels["shift_position"][frozen:] = channels["shift_position"][frozen]
    if lane.condition.flat_coolant > 0.0:
        channels["coolant_temp"] = np.full_like(channels["coolant_temp"], channels["coolant_temp"][0])
    return channels
