"""Sensor and unit faults to be put into the samples of one engine: each at several strengths, with what must be told.

A fault changes the channels of one log (arrays of one length, canonical units, NaN where blank) as such a fault would.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Channels = dict[str, Floats]
Change = Callable[[Channels, Floats, float], Mapping[str, Floats]]
"""Channels, times (s from the log's start) and strength, to the channels that are changed."""


@dataclass(frozen=True)
class SensorFault:
    """One kind of fault. A finding on one of `facets` with one of `causes` tells it.

    `days` is on how many mornings it must have been there before it can be told.
    """

    kind: str
    strengths: tuple[float, ...]
    change: Change
    facets: frozenset[str]
    causes: frozenset[str] = frozenset({"sensor_fault"})
    days: int = 1


def _spoilt(channel: str, kind: str, strengths: tuple[float, ...], made: Callable[[Floats, Floats, float], Floats],
            cause: str = "sensor_fault", days: int = 1) -> SensorFault:  # fmt: skip
    """A fault of one channel: its values, the times and the strength to its values."""

    def change(channels: Channels, time_s: Floats, strength: float) -> Mapping[str, Floats]:
        return {channel: made(channels[channel], time_s, strength)}

    return SensorFault(f"{channel}: {kind}", strengths, change, frozenset({channel}), frozenset({cause}), days)


def _flat(values: Floats, _: Floats, share: float) -> Floats:
    """Stands from a share of the log on at what it read then; 0 is from the start."""
    place = min(int(share * values.size), values.size - 1)
    known = values[place:][~np.isnan(values[place:])]
    return np.where(np.arange(values.size) >= place, known[0], values)


def _frozen(values: Floats, time_s: Floats, seconds: float) -> Floats:
    """Stands for a while in the middle of the log, then lives again."""
    middle = float(time_s[-1]) / 3
    held = (time_s >= middle) & (time_s < middle + seconds)
    return np.where(held, values[np.flatnonzero(held)[0]], values)


def _lost(values: Floats, time_s: Floats, seconds: float) -> Floats:
    """Blank for a while in the middle of the log."""
    middle = float(time_s[-1]) / 3
    return np.where((time_s >= middle) & (time_s < middle + seconds), np.nan, values)


def _spiked(size: float) -> Callable[[Floats, Floats, float], Floats]:
    """Single samples off by `size`; the strength is how many, evenly over the log."""

    def made(values: Floats, _: Floats, count: float) -> Floats:
        spoilt = values.copy()
        places = (np.linspace(0.2, 0.8, int(count)) * values.size).astype(int)
        spoilt[places] = values[places] + size
        return spoilt

    return made


def _scaled(factor: float, offset: float = 0.0) -> Callable[[Floats, Floats, float], Floats]:
    """In another unit: the strength is how far its zero is off too, which is nothing."""
    return lambda values, _, strength: values * factor + offset + 0.0 * strength


def _at(values: Floats, _: Floats, strength: float) -> Floats:
    """At one value, trembling a little."""
    return strength + 1e-3 * np.sin(np.arange(values.size))


def _standing_at(values: Floats, _: Floats, strength: float) -> Floats:
    return np.full(values.size, strength)


def _added(values: Floats, _: Floats, strength: float) -> Floats:
    return values + strength


def _swapped(channels: Channels, _: Floats, __: float) -> Mapping[str, Floats]:
    return {"shift_target": channels["shift_position"], "shift_position": channels["shift_target"]}


def _all_shares(channels: Channels, _: Floats, __: float) -> Mapping[str, Floats]:
    return {name: channels[name] / 100 for name in ("shift_target", "shift_position")}


def _stuck_rich(channels: Channels, time_s: Floats, strength: float) -> Mapping[str, Floats]:
    """The lambda sensor reads rich whatever is done; the loop takes all the fuel out that it may."""
    closed = channels["fuel_closed_loop"] > 0
    return {
        "lambda": 0.85 + 0.004 * np.sin(time_s),
        "fuel_trim": np.where(closed & (time_s > 60), -strength, channels["fuel_trim"]),
    }


def _pedal_zero(channels: Channels, _: Floats, strength: float) -> Mapping[str, Floats]:
    """A pedal whose rest reads as demand, on a controller that logs no state of its own."""
    return {"pedal": channels["pedal"] + strength, "idle_active": np.full(channels["pedal"].size, np.nan)}


def _slow_rpm(factor: float) -> Change:
    return lambda channels, _, __: {"rpm": channels["rpm"] * factor}


def _rpm_lost(channels: Channels, time_s: Floats, count: float) -> Mapping[str, Floats]:
    """Moments of 0.3 s at zero."""
    starts = np.linspace(0.3, 0.7, int(count)) * float(time_s[-1])
    gone = np.any([(time_s >= start) & (time_s < start + 0.3) for start in starts], axis=0)
    return {"rpm": np.where(gone, 0.0, channels["rpm"])}


FAHRENHEIT: Final = _scaled(1.8, 32.0)

SENSOR_FAULTS: Final = (
    _spoilt("shift_position", "flat", (0.0, 0.3), _flat),
    _spoilt("shift_position", "at an end", (0.0, 100.0), _standing_at),
    _spoilt("shift_position", "spikes", (3, 10, 60), _spiked(25.0)),
    _spoilt("shift_position", "lost", (100, 300), _lost),
    _spoilt("shift_position", "a fraction", (0.0,), _scaled(0.01), "wrong_unit"),
    SensorFault("target and position swapped", (0.0,), _swapped, frozenset({"shift_position"}),
                frozenset({"swapped_channels"})),
    SensorFault("target and position: fractions", (0.0,), _all_shares, frozenset({"shift_position", "shift_target"}),
                frozenset({"wrong_unit"})),
    _spoilt("lambda", "flat", (0.0, 0.2), _flat),
    _spoilt("lambda", "frozen", (150, 400), _frozen),
    _spoilt("lambda", "lost", (100, 300), _lost),
    _spoilt("lambda", "air-fuel ratio", (0.0,), _scaled(14.6), "wrong_unit"),
    SensorFault("lambda: stuck rich, trim at its end", (20.0, 25.0), _stuck_rich, frozenset({"lambda"})),
    _spoilt("coolant_temp", "flat", (0.0,), _flat),
    _spoilt("coolant_temp", "°F", (0.0,), FAHRENHEIT, "wrong_unit"),
    _spoilt("coolant_temp", "K", (0.0,), _scaled(1.0, 273.15), "wrong_unit"),
    _spoilt("coolant_temp", "spikes", (3, 20), _spiked(60.0)),
    _spoilt("coolant_temp", "open circuit", (-60.0,), _at),
    _spoilt("coolant_temp", "offset", (18.0, -25.0), _added, days=3),
    _spoilt("oil_temp", "flat", (0.0,), _flat),
    _spoilt("oil_temp", "°F", (0.0,), FAHRENHEIT, "wrong_unit"),
    _spoilt("oil_temp", "K", (0.0,), _scaled(1.0, 273.15), "wrong_unit"),
    _spoilt("oil_temp", "offset", (18.0, -25.0), _added, days=3),
    _spoilt("air_temp", "°F", (0.0,), FAHRENHEIT, "wrong_unit"),
    _spoilt("oil_pressure", "psi", (0.0,), _scaled(1 / 6.894757), "wrong_unit"),
    _spoilt("oil_pressure", "bar", (0.0,), _scaled(0.01), "wrong_unit"),
    _spoilt("oil_pressure", "flat", (0.0, 0.2), _flat),
    _spoilt("oil_pressure", "frozen", (150, 400), _frozen),
    _spoilt("oil_pressure", "lost", (100, 300), _lost),
    _spoilt("oil_pressure", "beyond its range", (2000.0,), _at),
    _spoilt("manifold_pressure", "bar", (0.0,), _scaled(0.01), "wrong_unit"),
    _spoilt("manifold_pressure", "psi", (0.0,), _scaled(1 / 6.894757), "wrong_unit"),
    _spoilt("manifold_pressure", "hPa", (0.0,), _scaled(10.0), "wrong_unit"),
    _spoilt("manifold_pressure", "flat", (0.0,), _flat),
    _spoilt("battery", "mV", (0.0,), _scaled(1000.0), "wrong_unit"),
    _spoilt("battery", "no voltage", (0.0,), _at),
    _spoilt("battery", "beyond its range", (19.0, 40.0), _at),
    _spoilt("battery", "spikes", (3, 20), _spiked(6.0)),
    _spoilt("battery", "flat", (0.0,), _flat),
    SensorFault("rpm: a tenth", (0.0,), _slow_rpm(0.1), frozenset({"rpm"}), frozenset({"wrong_unit"})),
    SensorFault("rpm: half", (0.0,), _slow_rpm(0.5), frozenset({"rpm"}), frozenset({"wrong_unit"})),
    SensorFault("rpm: twice", (0.0,), _slow_rpm(2.0), frozenset({"rpm"}), frozenset({"wrong_unit"})),
    SensorFault("rpm: lost for moments", (3, 12), _rpm_lost, frozenset({"rpm"})),
    _spoilt("rpm", "spikes", (3, 20), _spiked(3000.0)),
    _spoilt("throttle", "a fraction", (0.0,), _scaled(0.01), "wrong_unit"),
    _spoilt("pedal", "a fraction", (0.0,), _scaled(0.01), "wrong_unit"),
    SensorFault("pedal: never at rest", (3.0, 8.0), _pedal_zero, frozenset({"pedal"})),
    _spoilt("fuel_trim", "a fraction", (0.0,), _scaled(0.01), "wrong_unit"),
    _spoilt("idle_integral", "a fraction", (0.0,), _scaled(0.01), "wrong_unit"),
    _spoilt("engine_hours", "minutes", (0.0,), _scaled(60.0), "wrong_unit"),
    _spoilt("engine_hours", "another counter", (300.0, -100.0), _added),
)  # fmt: skip

EXCHANGED: Final = "engines exchanged"
"""The kind in which both engines' channels change places."""
