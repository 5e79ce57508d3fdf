"""The running engine: air, drag, propeller, the idle loop and the lambda loop, every lane side by side in time.

Torque follows from the air the throttle lets in, drag from oil temperature; in gear the propeller loads the crankshaft.
The idle loop adds a table value, a proportional part and an integral; the lambda loop trims the fuel after a delay.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from demo_fleet.actuator import Throws, first_gear
from demo_fleet.arrays import FORWARD, NEUTRAL, REVERSE, Bools, Floats
from demo_fleet.lanes import Lane, column
from demo_fleet.physics import CONSTANT_DRAG, IDLE_RAD_S, RAD_S_PER_RPM, drag_factor, idle_target_rpm
from demo_fleet.scenario import TABLE_OIL_C
from demo_fleet.warmup import Temperatures, demand_pct

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

STEP_S: Final = 0.05
RECORD_HZ: Final = 1.0 / STEP_S
BLOCK: Final = 64
"""Samples gathered before they are turned from time order to lane order, which is dear one by one."""

INERTIA_KG_M2: Final = 0.26
MANIFOLD_LAG_S: Final = 0.17
"""Filling of the manifold at idle speed; shorter at higher speed."""
MAX_TORQUE_NM: Final = 430.0
FULL_BURN_RAD_S: Final = 44.0
NO_BURN_RAD_S: Final = 22.0
"""Below the one combustion weakens, below the other it is gone: 420 and 210 rpm."""
PROPORTIONAL_PCT_PER_RPM: Final = 0.03
INTEGRAL_PCT_PER_RPM_S: Final = 0.055
SPARK_PER_RPM: Final = 0.002
IDLE_REENTRY_RPM: Final = 250.0
INTEGRAL_LIMIT_PCT: Final = 20.0
DASHPOT_S: Final = 1.2
AFTERSTART_PCT: Final = 7.0
AFTERSTART_S: Final = 4.0
COMBUSTION_SD: Final = 0.033
LAMBDA_DELAY_STEPS: Final = 6
LAMBDA_LAG_S: Final = 0.25
STOPPED_LAMBDA: Final = 1.25
"""What the sensor reads in the exhaust of an engine that has stopped."""
YOUNG_S: Final = 8.0
TRIM_PER_S: Final = 0.4
TRIM_LIMIT_PCT: Final = 25.0
OPEN_LOOP_DEMAND_PCT: Final = 45.0
AIR_LINEAR: Final = 6.0
AIR_SQUARE: Final = 0.27
"""Air let in by the helm's demand p in %: AIR_LINEAR p + AIR_SQUARE p²."""

RECORDED: Final = (
    "rpm",
    "idle_integral",
    "idle_air",
    "idle_active",
    "fuel_trim",
    "fuel_closed_loop",
    "lambda",
    "torque",
)
"""What a recording holds, in this order."""


@dataclass(frozen=True)
class Recording:
    """Noise-free signals at 20 Hz, shape (signals as in RECORDED, lanes, samples)."""

    signals: Floats

    def signal(self, name: str, lane: int) -> Floats:
        """One signal of one lane."""
        return np.asarray(self.signals[RECORDED.index(name), lane])


def run_engines(lanes: Sequence[Lane], throws: Throws, warmth: Temperatures, samples: int) -> Recording:
    """Run all lanes from their logs' start for that many 20 Hz samples."""
    demand = demand_pct(lanes, np.arange(samples) * STEP_S)
    events = _events(lanes, throws)
    engines = _Engines(lanes, demand[0])
    luck = _combustion_luck(lanes, samples)
    record = np.empty((len(RECORDED), len(lanes), samples), dtype=np.float32)
    block = np.empty((len(RECORDED), BLOCK, len(lanes)), dtype=np.float32)
    upcoming = 0
    for step in range(samples):
        if step % round(RECORD_HZ) == 0:
            second = min(round(step * STEP_S), warmth.oil_c.shape[0] - 1)
            engines.follow_warmth(warmth.oil_c[second], warmth.coolant_c[second])
        while upcoming < len(events) and events[upcoming].step <= step:
            engines.apply(events[upcoming])
            upcoming += 1
        engines.advance(demand[step], luck[step])
        engines.write(block[:, step % BLOCK])
        if step % BLOCK == BLOCK - 1 or step == samples - 1:
            first = step - step % BLOCK
            record[:, :, first : step + 1] = block[:, : step + 1 - first].transpose(0, 2, 1)
    return Recording(record)


def _combustion_luck(lanes: Sequence[Lane], samples: int) -> Floats:
    """Standard normal numbers, shape (samples, lanes), from each lane's own seed: a lane is alike in any batch."""
    luck = np.empty((len(lanes), samples), dtype=np.float32)
    for index, lane in enumerate(lanes):
        np.random.default_rng([*lane.seed, 5]).standard_normal(out=luck[index], dtype=np.float32)
    return np.ascontiguousarray(luck.T)


@dataclass(frozen=True)
class _Event:
    step: int
    lane: int
    kind: str
    gear: int = NEUTRAL


def _events(lanes: Sequence[Lane], throws: Throws) -> list[_Event]:
    events = [_Event(round(t / STEP_S), i, "crank") for i, lane in enumerate(lanes) for t in lane.outing.helm.cranks]
    for i, lane in enumerate(lanes):
        if lane.outing.helm.stop_s is not None:
            events.append(_Event(round(lane.outing.helm.stop_s / STEP_S), i, "stop"))
        if lane.condition.misfire > 0.0:
            events += _misfires(i, lane)
    for row in range(throws.lane.size):
        lane_index, gear = int(throws.lane[row]), int(throws.to_gear[row])
        asked = float(throws.time_s[row])
        events.append(_Event(round(asked / STEP_S), lane_index, "asked", gear))
        events.append(_Event(round((asked + float(throws.engaged_s[row])) / STEP_S), lane_index, "engaged", gear))
    return sorted(events, key=lambda event: (event.step, event.lane))


def _misfires(index: int, lane: Lane) -> list[_Event]:
    """Combustion fails just after forward goes in: for good where the scenario says so, else for a moment."""
    dying = lane.outing.helm.dies_at
    into = [t for t, gear in lane.gears if gear == FORWARD and t > 0.0]
    return [
        _Event(round((t + 0.35) / STEP_S), index, "die" if any(abs(t - d) < 0.5 for d in dying) else "misfire")
        for t in into
    ]


class _Engines:
    """The state of every lane's engine, one array entry a lane."""

    def __init__(self, lanes: Sequence[Lane], demand: Floats) -> None:
        n = len(lanes)
        engine = [lane.engine for lane in lanes]
        density = column(
            lanes, lambda lane: lane.outing.pressure_kpa / 101.3 * np.sqrt(285.0 / (273.15 + lane.outing.air_c))
        )
        self.power = np.array([e.power_w_per_pct for e in engine]) * np.sqrt(density)
        self.drag = np.array([e.friction_nm for e in engine])
        self.base_air = column(lanes, lambda lane: lane.engine.leak_pct + lane.condition.air + lane.luck.air_pct)
        self.cold_air = column(lanes, lambda lane: lane.condition.cold_air)
        self.tables = np.array([e.table_pct for e in engine]).T + column(lanes, lambda lane: lane.condition.table)
        self.add_by_gear = _by_gear(lanes, lambda lane, gear: lane.engine.add_pct[gear])
        self.load_by_gear = _by_gear(lanes, _load_torque)
        self.impact = column(lanes, lambda lane: lane.engine.impact_rpm) * RAD_S_PER_RPM
        self.lean = (column(lanes, lambda n: n.engine.lean_cold), column(lanes, lambda n: n.engine.lean_hot))
        self.lean_load = column(lanes, lambda lane: lane.engine.lean_load)
        self.lean_extra = column(lanes, lambda lane: lane.condition.lean + lane.luck.lean_pct)
        self.misfire = column(lanes, lambda lane: lane.condition.misfire)
        self._at_start(lanes, demand, n)

    def _at_start(self, lanes: Sequence[Lane], demand: Floats, n: int) -> None:
        gears = [first_gear(lane) for lane in lanes]
        runs = column(lanes, lambda lane: float(lane.outing.helm.running_at_start)) > 0.0
        self.firing: Bools = runs.copy()
        self.speed = np.where(runs, 380.0, 0.0)
        self.age = np.where(runs, 600.0, 0.0)
        self.gear = np.array(gears)
        self.add = np.array([lane.engine.add_pct[gear] for lane, gear in zip(lanes, gears, strict=True)])
        self.load = np.array([_load_torque(lane, gear) for lane, gear in zip(lanes, gears, strict=True)])
        self.integral: Floats = np.where(runs, 2.0, 0.0)
        self.dashpot: Floats = np.zeros(n)
        self.cranking, self.dead, self.weak_s, self.weak_share = np.zeros(n), np.zeros(n), np.zeros(n), np.ones(n)
        self.air = np.where(runs, 30.0 + AIR_LINEAR * demand + AIR_SQUARE * demand**2, 0.0)
        self.trim = np.where(runs, self.lean[1] + self.lean_extra, 0.0)
        self.lambda_seen = np.ones(n)
        self.pipe = np.ones((LAMBDA_DELAY_STEPS, n))
        self.tick = 0
        self.active: Bools = np.zeros(n, dtype=bool)
        self.closed: Bools = np.zeros(n, dtype=bool)
        self.torque: Floats = np.zeros(n)
        self.command: Floats = np.zeros(n)

    def follow_warmth(self, oil_c: Floats, coolant_c: Floats) -> None:
        """Once a second: what depends on temperature."""
        self.drag_nm = self.drag * drag_factor(oil_c)
        self.target = idle_target_rpm(oil_c)
        cold_missing = self.cold_air * np.clip((40.0 - oil_c) / 30.0, 0.0, 1.3)
        self.beside_table = self.base_air - cold_missing
        self.table = _look_up(self.tables, oil_c)
        coldness = np.clip((62.0 - coolant_c) / 42.0, 0.0, 1.0)
        self.idle_lean = self.lean[0] * coldness + self.lean[1] * (1 - coldness) + self.lean_extra
        self.lambda_wanted = 1.0 - 0.06 * np.clip((42.0 - coolant_c) / 32.0, 0.0, 1.0)
        self.sensor_ready_s = 12.0 + 0.3 * np.maximum(50.0 - coolant_c, 0.0)

    def apply(self, event: _Event) -> None:
        """A gear asked for or engaged, a start, a stop or a moment of bad combustion in one lane."""
        lane = event.lane
        if event.kind == "asked":
            self.gear[lane], self.add[lane] = event.gear, self.add_by_gear[event.gear][lane]
        elif event.kind == "engaged":
            if event.gear != NEUTRAL:
                self.speed[lane] = max(self.speed[lane] - self.impact[lane], 0.0)
            self.load[lane] = self.load_by_gear[event.gear][lane]
        elif event.kind == "crank" and self.speed[lane] < NO_BURN_RAD_S:
            self.firing[lane], self.cranking[lane], self.age[lane] = True, 2.5, 0.0
        elif event.kind == "stop":
            self.firing[lane] = False
        elif event.kind in {"die", "misfire"}:
            dies = event.kind == "die"
            self.weak_s[lane] = 4.0 if dies else 0.7
            self.weak_share[lane] = 0.0 if dies else 1.0 - 0.35 * self.misfire[lane]

    def advance(self, demand: Floats, luck: Floats) -> None:
        """One step of air, torque and speed, then fuel."""
        rpm = self.speed / RAD_S_PER_RPM
        self._control_idle(demand, rpm)
        air_in = self.command + AIR_LINEAR * demand + AIR_SQUARE * demand * demand
        fill = np.minimum(STEP_S / MANIFOLD_LAG_S * np.maximum(self.speed / IDLE_RAD_S, 0.7), 0.5)
        self.air += (air_in - self.air) * fill
        self._turn(rpm, luck)
        self._fuel(demand)
        self._clock()

    def _control_idle(self, demand: Floats, rpm: Floats) -> None:
        error = self.target - rpm
        self.active = self.firing & (demand < 0.8) & (error > -IDLE_REENTRY_RPM) & (self.age > 2.0)
        proportional = _between(PROPORTIONAL_PCT_PER_RPM * error, -8.0, 8.0) * self.active
        free = self.active & (self.command > 2.0) & (self.command < 98.0)
        self.integral += _between(error, -60.0, 60.0) * free * (INTEGRAL_PCT_PER_RPM_S * STEP_S)
        self.integral = _between(self.integral, -INTEGRAL_LIMIT_PCT, INTEGRAL_LIMIT_PCT)
        self.dashpot = np.maximum(self.dashpot * (1 - STEP_S / DASHPOT_S), np.minimum(0.5 * demand, 8.0))
        after_start = AFTERSTART_PCT * np.exp(-self.age / AFTERSTART_S)
        self.command = _between(
            self.table + self.add + self.integral + proportional + self.dashpot + after_start, 0.0, 100.0
        )

    def _turn(self, rpm: Floats, luck: Floats) -> None:
        burn = _between((self.speed - NO_BURN_RAD_S) / (FULL_BURN_RAD_S - NO_BURN_RAD_S), 0.0, 1.0)
        spark = _between(SPARK_PER_RPM * (self.target - rpm), -0.15, 0.15) * self.active
        share = (
            burn
            * (1.0 + spark + COMBUSTION_SD * luck)
            * self.firing
            * np.where(self.weak_s > 0.0, self.weak_share, 1.0)
        )
        ideal = self.power * np.maximum(self.air + self.beside_table, 0.0) / np.maximum(self.speed, 20.0)
        self.torque = np.minimum(ideal, MAX_TORQUE_NM) * share
        relative = self.speed * (1 / IDLE_RAD_S)
        drag = self.drag_nm * (CONSTANT_DRAG + (1 - CONSTANT_DRAG) * relative) * np.minimum(self.speed, 1.0)
        propeller = self.load * relative * np.sqrt(relative)
        starter = np.where(self.cranking > 0.0, 190.0 * np.maximum(1.0 - self.speed / 48.0, 0.0), 0.0)
        self.speed += (self.torque + starter - drag - propeller) * (STEP_S / INERTIA_KG_M2)
        np.maximum(self.speed, 0.0, out=self.speed)

    def _fuel(self, demand: Floats) -> None:
        loaded = _between((demand - 8.0) / 25.0, 0.0, 1.0)
        lean = self.idle_lean * (1 - loaded) + (self.lean_load + self.lean_extra) * loaded
        wanted = self.lambda_wanted - 0.1 * (demand > OPEN_LOOP_DEMAND_PCT)
        burnt = wanted * (1.0 + 0.01 * (lean - self.trim))
        slot = self.tick % LAMBDA_DELAY_STEPS
        arriving = self.pipe[slot].copy()
        self.pipe[slot] = np.where((self.speed > NO_BURN_RAD_S) | (self.age < YOUNG_S), burnt, STOPPED_LAMBDA)
        self.lambda_seen += (arriving - self.lambda_seen) * (STEP_S / LAMBDA_LAG_S)
        self.closed = self.firing & (self.age > self.sensor_ready_s) & (demand < OPEN_LOOP_DEMAND_PCT)
        excess = _between(100.0 * (self.lambda_seen / wanted - 1.0), -8.0, 8.0)
        self.trim += excess * self.closed * (TRIM_PER_S * STEP_S)
        self.trim = _between(self.trim, -TRIM_LIMIT_PCT, TRIM_LIMIT_PCT)

    def _clock(self) -> None:
        self.tick += 1
        self.age += STEP_S * self.firing
        self.cranking -= STEP_S
        self.cranking[self.speed > 46.0] = 0.0
        self.weak_s -= STEP_S
        stands = self.firing & (self.speed < 5.0) & (self.gear == NEUTRAL)
        self.dead = np.where(stands, self.dead + STEP_S, 0.0)
        again = self.dead > 5.0
        self.cranking[again], self.age[again], self.dead[again] = 2.5, 0.0, 0.0

    def write(self, record: Floats) -> None:
        """Put the present signals into one row of a recording, shape (signals, lanes)."""
        record[0] = self.speed / RAD_S_PER_RPM
        record[1], record[2], record[3] = self.integral, self.command, self.active
        record[4], record[5], record[6], record[7] = self.trim, self.closed, self.lambda_seen, self.torque


def _between(values: Floats, low: float, high: float) -> Floats:
    """As numpy's clip, at a third of its cost on short arrays."""
    return np.asarray(np.minimum(np.maximum(values, low), high))


def _look_up(tables: Floats, oil_c: Floats) -> Floats:
    """Linear interpolation in each lane's table; shape of `tables` is (rows, lanes)."""
    high = np.clip(np.searchsorted(TABLE_OIL_C, oil_c), 1, TABLE_OIL_C.size - 1)
    low_c, high_c = TABLE_OIL_C[high - 1], TABLE_OIL_C[high]
    share = np.clip((oil_c - low_c) / (high_c - low_c), 0.0, 1.0)
    every = np.arange(oil_c.size)
    return np.asarray(tables[high - 1, every] * (1 - share) + tables[high, every] * share)


def table_pct(lane: Lane, oil_c: Floats) -> Floats:
    """The neutral feed-forward value of one lane at these oil temperatures, %."""
    return np.asarray(np.interp(oil_c, TABLE_OIL_C, lane.engine.table_pct + lane.condition.table))


def _by_gear(lanes: Sequence[Lane], value: Callable[[Lane, int], float]) -> dict[int, Floats]:
    return {gear: np.array([value(lane, gear) for lane in lanes]) for gear in (REVERSE, NEUTRAL, FORWARD)}


def _load_torque(lane: Lane, gear: int) -> float:
    """Propeller torque at the idle speed, Nm, from the idle air it needs."""
    if gear == NEUTRAL:
        return 0.0
    share = 1.0 if gear == FORWARD else 0.82
    pct = lane.engine.load_pct[gear] + share * lane.condition.load
    return pct * lane.engine.power_w_per_pct / IDLE_RAD_S
