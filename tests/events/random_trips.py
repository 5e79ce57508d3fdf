"""Trips drawn from a seed: idling, shifting, cruising, stalling and starting again, with samples of many kinds."""

from __future__ import annotations

import numpy as np
from log_maker import Log, Trip

RATES_HZ = (2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
GEARS = ("reverse", "neutral", "forward")


def random_trip(seed: int) -> Trip:
    """A trip of a few minutes. Two moves of the target are never closer than a second."""
    draw = np.random.default_rng(seed)
    start_c = draw.uniform(10, 80)
    trip = Trip.warm(coolant_temp=start_c, oil_temp=start_c - 5)
    trip.at(0, rpm=0).at(now := draw.uniform(0, 5), rpm=620)
    gear = "neutral"
    for _ in range(draw.integers(5, 10)):
        kind = draw.choice(["idle", "shift", "shift", "cruise", "stop"], p=[0.3, 0.25, 0.25, 0.12, 0.08])
        if kind == "idle":
            trip.at(now, idle_integral=draw.normal(-2, 2), fuel_trim=draw.normal(0, 3), battery=draw.normal(13.8, 0.2))
            now += draw.uniform(3, 60)
        elif kind == "shift":
            gear = str(draw.choice([each for each in GEARS if each != gear]))
            settled = {"reverse": 12.0, "neutral": 50.0, "forward": 90.0}[gear] + draw.normal(0, 1.2)
            trip.shift(now, gear, settled=settled, dead_s=draw.uniform(0, 0.1), travel_s=draw.uniform(0.1, 0.9))
            trip.at(now, idle_integral=draw.normal(3, 1))
            now += draw.uniform(1.05, 15)
        elif kind == "cruise":
            trip.at(now, pedal=40, rpm=draw.uniform(1500, 4500))
            now += draw.uniform(3, 30)
            trip.at(now, pedal=0, rpm=620)
        else:
            trip.at(now, rpm=0)
            now += draw.uniform(2, 30)
            trip.at(now, rpm=620)
            now += draw.uniform(1, 30)
    trip.ramp(0.5, now, coolant_temp=80, oil_temp=78)
    return trip.until(now + draw.uniform(1, 20))


def random_log(seed: int) -> Log:
    """Its samples, at a random rate, regular or not, with noise, and sometimes with a hole that ends a run."""
    draw = np.random.default_rng(seed + 1_000_000)
    rate_hz = float(draw.choice(RATES_HZ))
    noise = {"rpm": 3.0, "shift_position": 0.1, "fuel_trim": 0.5}
    log = random_trip(seed).log(rate_hz, jitter=float(draw.choice([0.0, 0.3])), noise=noise, seed=seed)
    log = log.changed("rpm", np.where(log.channels["rpm"] < 50, 0.0, log.channels["rpm"]))
    if draw.random() < 0.3:
        from_s = draw.uniform(0, log.time_s[-1])
        log = log.only((log.time_s < from_s) | (log.time_s > from_s + 12))
    for name in ("rpm_target", "gear", "coolant_temp"):
        if draw.random() < 0.2:
            log = log.without(name)
    return log
