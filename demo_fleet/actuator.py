"""The shift actuator: an electric drive with dead band, friction, detents and end stops, simulated throw by throw.

Throws of all lanes are run side by side at 10 ms; the traces are both what the log shows (with noise) and the truth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from demo_fleet.arrays import NEUTRAL, Bools, Floats, Ints
from demo_fleet.lanes import Lane, column

if TYPE_CHECKING:
    from collections.abc import Sequence

    from demo_fleet.warmup import Temperatures

STEP_S = 0.01
TRACE_S = 3.0
TRACE_POINTS = int(TRACE_S / STEP_S)
DEAD_BAND_PCT = 0.35
SLOW_DOWN_PCT = 8.0
"""The drive eases off within this distance of the target."""
DRIVE_LAG_S = 0.03
DETENT_PER_S = 9.0
FULL_DRIVE_A = 32.0
"""Current at full drive, A."""
NOMINAL_V = 13.2
GREASE_LIMIT_C = 17.0
ENGAGED_SHARE = 0.7
"""Share of the way from neutral at which the dogs take load."""
HESITATES_AT = (0.5, 0.68)


@dataclass(frozen=True)
class Throws:
    """All throws of a batch in order of lane and time. Arrays have one entry a throw; traces one row a throw.

    `trace_pct` is the noise-free reading (true position plus the sensor's mounting offset) from the target's step
    on, every 10 ms for 3 s; afterwards the position rests. `engaged_s` is when the dogs take or
    leave load, after the step.
    """

    lane: Ints
    time_s: Floats
    from_gear: Ints
    to_gear: Ints
    target_pct: Floats
    trace_pct: Floats
    sag_v: Floats
    engaged_s: Floats
    volts: Floats
    grease_c: Floats

    def of(self, lane: int) -> slice:
        """The rows of one lane."""
        return slice(int(np.searchsorted(self.lane, lane)), int(np.searchsorted(self.lane, lane, "right")))


@dataclass
class _Drive:
    """The state of one throw in every lane that has one."""

    x: Floats
    speed: Floats
    target: Floats
    rest: Floats
    stop: Floats
    outward: Floats
    full_speed: Floats
    friction: Floats
    volts: Floats
    ohm: Floats
    stuck_at: Floats
    stuck_s: Floats
    driving: Bools

    def step(self, clock_s: float) -> Floats:
        """Move on by one step; returns the voltage sag in V."""
        error = self.target - self.x
        self.driving &= np.abs(error) > DEAD_BAND_PCT
        effort = np.clip(error / SLOW_DOWN_PCT, -1.0, 1.0) * self.driving
        sag = self.ohm * FULL_DRIVE_A * (np.abs(effort) + 0.8 * self.driving * np.exp(-clock_s / 0.04))
        net = np.maximum(np.abs(effort) - self.friction, 0.0) / (1.0 - self.friction)
        wanted = np.sign(effort) * net * self.full_speed * (self.volts - sag) / NOMINAL_V
        stuck = (self.stuck_s > 0.0) & (np.sign(error) * (self.x - self.stuck_at) >= 0.0)
        self.stuck_s -= STEP_S * stuck
        self.speed += (wanted - self.speed) * (STEP_S / DRIVE_LAG_S)
        self.speed *= ~stuck
        near = np.abs(self.x - self.rest) < 3.0
        detent = np.where(near & ~stuck, (self.rest - self.x) * DETENT_PER_S, 0.0)
        moved = self.x + (self.speed + detent) * STEP_S
        self.x = np.where(self.outward > 0, np.minimum(moved, self.stop), np.maximum(moved, self.stop))
        return np.asarray(sag)


def resting_volts(lanes: Sequence[Lane], time_s: Floats) -> Floats:
    """Battery voltage apart from throws and cranking, one time a lane (or shape (times, lanes)), V."""
    weak = column(lanes, lambda lane: lane.condition.battery_weak)
    rest = 12.55 - 0.5 * weak
    charging = column(lanes, lambda lane: lane.engine.volts_charging + lane.luck.volts) - 0.9 * weak
    starts = column(lanes, lambda lane: lane.outing.helm.cranks[0] if lane.outing.helm.cranks else -600.0)
    since = np.maximum(time_s - starts, 0.0)
    return np.asarray(charging - (charging - rest) * np.exp(-since / 35.0))


def throw_all(lanes: Sequence[Lane], warmth: Temperatures) -> Throws:
    """Run every gear change of every lane."""
    plans = [[step for step in lane.gears if step[0] > 0.0] for lane in lanes]
    rounds = max(len(plan) for plan in plans)
    state = _first_state(lanes)
    done = [_throw_round(lanes, plans, number, warmth, state) for number in range(rounds)]
    return _in_order(done)


@dataclass
class _State:
    """Where each lane's shaft stands before its next throw, and the gear it is in."""

    x: Floats
    gear: Ints


def _first_state(lanes: Sequence[Lane]) -> _State:
    gears = np.array([lane.gears[0][1] if lane.gears and lane.gears[0][0] <= 0.0 else NEUTRAL for lane in lanes])
    rest = np.array([_rest(lane, int(gear)) for lane, gear in zip(lanes, gears, strict=True)])
    return _State(rest, gears)


def first_gear(lane: Lane) -> int:
    """The gear a log begins in."""
    return lane.gears[0][1] if lane.gears and lane.gears[0][0] <= 0.0 else NEUTRAL


def _rest(lane: Lane, gear: int) -> float:
    """Where detent and stop hold the shaft in a gear, % of travel, before any scatter."""
    built = lane.engine.targets[gear] + lane.outward(gear) * lane.engine.mismatch[gear]
    return _limited(built, lane, gear)


def _stop(lane: Lane, gear: int) -> float:
    """The mechanical end in the direction of a gear; far away while nothing is worn."""
    short = lane.short(gear)
    inward = -lane.engine.mismatch[gear]
    limit = max(short, inward) if short > 0.0 else inward
    return lane.engine.targets[gear] - lane.outward(gear) * limit if gear != NEUTRAL and limit > 0.0 else np.nan


def _limited(position: float, lane: Lane, gear: int) -> float:
    stop = _stop(lane, gear)
    if np.isnan(stop):
        return position
    return min(position, stop) if lane.outward(gear) > 0 else max(position, stop)


def _throw_round(
    lanes: Sequence[Lane],
    plans: Sequence[Sequence[tuple[float, int]]],
    number: int,
    warmth: Temperatures,
    state: _State,
) -> Throws:
    index = np.array([i for i, plan in enumerate(plans) if len(plan) > number])
    here = [lanes[i] for i in index]
    times = np.array([plans[i][number][0] for i in index])
    gears = np.array([plans[i][number][1] for i in index])
    following = np.array([plans[i][number + 1][0] if len(plans[i]) > number + 1 else np.inf for i in index])
    drive = _ready(here, times, gears, state.x[index], state.gear[index], warmth, index, number)
    grease = _grease_c(here, times, index, warmth)
    began = drive.x.copy()
    trace, sag = _run(drive)
    last = np.minimum((following - times) / STEP_S, TRACE_POINTS - 1).astype(int)
    ended = trace[np.arange(index.size), last].astype(np.float64)
    offsets = column(here, lambda lane: lane.condition.sensor_offset)
    result = Throws(
        index, times, state.gear[index], gears, drive.target, trace + offsets[:, None].astype(np.float32), sag,
        _engaged_s(here, began, gears, trace), drive.volts, grease,
    )  # fmt: skip
    state.x[index], state.gear[index] = ended, gears
    return result


def _grease_c(here: Sequence[Lane], times: Floats, index: Ints, warmth: Temperatures) -> Floats:
    """Temperature of the shift shaft's grease: near the air's, as most of the shaft sits low in the leg."""
    oil = warmth.oil_c[times.astype(int), index]
    return np.asarray(0.85 * column(here, lambda lane: lane.outing.air_c) + 0.15 * oil)


def _ready(
    here: Sequence[Lane],
    times: Floats,
    gears: Ints,
    x: Floats,
    from_gears: Ints,
    warmth: Temperatures,
    index: Ints,
    number: int,
) -> _Drive:
    luck = np.array([_throw_luck(lane, number) for lane in here])
    grease = _grease_c(here, times, index, warmth)
    colder = np.maximum(25.0 - grease, 0.0)
    stiff = column(here, lambda lane: lane.condition.grease) * np.maximum(GREASE_LIMIT_C - grease, 0.0) / 10.0
    slower = 1.0 + column(here, lambda lane: lane.condition.slower) + stiff + 0.004 * colder
    target = np.array([lane.target(int(gear)) for lane, gear in zip(here, gears, strict=True)])
    rest = np.array([_rest(lane, int(gear)) for lane, gear in zip(here, gears, strict=True)])
    rest = rest + column(here, lambda lane: lane.luck.stick) + 0.07 * luck[:, 0]
    rest = rest + luck[:, 1] * column(here, lambda lane: lane.condition.play) * (gears != NEUTRAL)
    stop = np.array([_stop(lane, int(gear)) for lane, gear in zip(here, gears, strict=True)])
    toward = np.sign(target - x)
    stop = np.where(
        np.isnan(stop),
        toward * 1000.0,
        stop + 0.07 * luck[:, 0] + luck[:, 1] * column(here, lambda n: n.condition.play),
    )
    share = column(here, lambda lane: lane.engine.hesitation + lane.condition.hesitation)
    hesitates = (luck[:, 2] < share) & (from_gears == NEUTRAL) & (gears != NEUTRAL)
    lo, hi = HESITATES_AT
    return _Drive(
        x=x.copy(), speed=np.zeros_like(x), target=target, rest=rest, stop=stop, outward=toward,
        full_speed=column(here, lambda lane: lane.engine.speed_pct_s) / slower * (1 + 0.02 * luck[:, 5]),
        friction=column(here, lambda lane: lane.engine.friction) * (1 + 0.01 * colder),
        volts=resting_volts(here, times),
        ohm=column(here, lambda lane: lane.engine.battery_ohm * (1 + 2.6 * lane.condition.battery_weak)),
        stuck_at=x + (target - x) * (lo + (hi - lo) * luck[:, 3]),
        stuck_s=np.where(hesitates, 0.17 + 0.4 * luck[:, 4], 0.0),
        driving=np.ones(x.size, dtype=bool),
    )  # fmt: skip


def _throw_luck(lane: Lane, number: int) -> Floats:
    """Chance of one throw: rest (normal), play (-1 to 1), hesitates, where and how long (0 to 1), speed (normal)."""
    rng = np.random.default_rng([*lane.seed, 4, number])
    return np.concatenate([rng.normal(size=1), rng.uniform(-1, 1, 1), rng.random(3), rng.normal(size=1)])


def _run(drive: _Drive) -> tuple[Floats, Floats]:
    trace = np.empty((TRACE_POINTS, drive.x.size), dtype=np.float32)
    sags = np.empty_like(trace)
    for point in range(TRACE_POINTS):
        trace[point] = drive.x
        sags[point] = drive.step(point * STEP_S)
    return np.ascontiguousarray(trace.T), np.ascontiguousarray(sags.T)


def _engaged_s(here: Sequence[Lane], began: Floats, gears: Ints, trace: Floats) -> Floats:
    """When the dogs meet (into gear) or part (into neutral), s after the step."""
    neutral = column(here, lambda lane: lane.engine.targets[NEUTRAL])
    outer = np.where(
        gears == NEUTRAL, began, [lane.engine.targets[int(g)] for lane, g in zip(here, gears, strict=True)]
    )
    share = (trace - neutral[:, None]) / np.where(np.abs(outer - neutral) < 1.0, 1.0, outer - neutral)[:, None]
    met = np.where((gears == NEUTRAL)[:, None], share < ENGAGED_SHARE, share >= ENGAGED_SHARE)
    return np.asarray(np.where(met.any(axis=1), met.argmax(axis=1) * STEP_S, 0.5))


def _in_order(rounds: Sequence[Throws]) -> Throws:
    names = (
        "lane",
        "time_s",
        "from_gear",
        "to_gear",
        "target_pct",
        "trace_pct",
        "sag_v",
        "engaged_s",
        "volts",
        "grease_c",
    )
    joined = {name: np.concatenate([getattr(part, name) for part in rounds]) for name in names}
    order = np.lexsort((joined["time_s"], joined["lane"]))
    return Throws(**{name: values[order] for name, values in joined.items()})


def settled_pct(throws: Throws) -> Floats:
    """Where each throw's noise-free reading comes to rest, % of travel."""
    return np.asarray(throws.trace_pct[:, -1], dtype=np.float64)


def transit_s(throws: Throws, band_pct: float = 2.0) -> Floats:
    """From the target's step until the noise-free reading first stays within 2 % of its settled position, s."""
    outside = np.abs(throws.trace_pct - throws.trace_pct[:, -1:]) > band_pct
    last_outside = TRACE_POINTS - 1 - outside[:, ::-1].argmax(axis=1)
    return np.asarray(np.where(outside.any(axis=1), (last_outside + 1) * STEP_S, 0.0))
