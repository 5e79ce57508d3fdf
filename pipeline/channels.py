"""The canonical channels: unit, plausible range and meaning of each, and the way from a logged to the canonical unit.

Every reader, the register and the proposal of a channel map ask here; nothing else converts a unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pint


@dataclass(frozen=True)
class Channel:
    """One canonical channel. `low` and `high` are the widest physically plausible range, in `unit`, both inclusive."""

    name: str
    unit: str
    low: float
    high: float
    meaning: str


_ALL: Final = (
    # Ranges stay inside the scales of the public PID tables of SAE J1979 (-40 °C, 16383.75 rpm, -100 % trim), where
    # there is one; otherwise common practice, no published source.
    Channel("rpm", "rpm", 0, 15000, "crankshaft speed"),
    Channel("rpm_target", "rpm", 0, 15000, "the idle controller's target of crankshaft speed"),
    Channel("gear", "", -1, 1, "the gear asked for: -1 reverse, 0 neutral, 1 forward"),
    Channel("shift_target", "%", -25, 125, "the shift actuator's target, % of travel"),
    Channel("shift_position", "%", -25, 125, "the shift actuator's measured position, % of travel"),
    Channel("throttle", "%", -10, 110, "throttle plate opening"),
    Channel("pedal", "%", -10, 110, "helm demand"),
    Channel("idle_integral", "%", -100, 100, "slow correction of the idle controller"),
    Channel("idle_feedforward", "%", -100, 150, "table value of the idle controller"),
    Channel("idle_active", "0/1", 0, 1, "the idle controller is active"),
    Channel("fuel_closed_loop", "0/1", 0, 1, "the lambda loop is closed"),
    Channel("oil_temp", "degC", -40, 200, "engine oil temperature"),
    Channel("coolant_temp", "degC", -40, 150, "coolant temperature"),
    Channel("air_temp", "degC", -50, 120, "intake air temperature"),
    Channel("lambda", "lambda", 0.3, 20, "measured air-fuel ratio over the stoichiometric one"),
    Channel("lambda_target", "lambda", 0.3, 20, "target of lambda"),
    Channel("fuel_trim", "%", -100, 100, "correction of the closed lambda loop, positive where fuel is added"),
    Channel("battery", "V", 0, 36, "battery voltage"),
    Channel("oil_pressure", "kPa", -20, 1500, "engine oil pressure"),
    Channel("manifold_pressure", "kPa", 0, 500, "intake manifold pressure, absolute"),
    Channel("engine_hours", "h", 0, 200_000, "hours the engine has run in its life"),
)

CHANNELS: Final[dict[str, Channel]] = {channel.name: channel for channel in _ALL}
"""Every channel but `time`, in the contract's order. `low`/`high` are documented at `Channel`."""

GEAR_CODES: Final[dict[str, float]] = {"reverse": -1.0, "neutral": 0.0, "forward": 1.0}
FLAG_CODES: Final[dict[str, float]] = {
    "false": 0.0, "off": 0.0, "no": 0.0, "inactive": 0.0, "open": 0.0,
    "true": 1.0, "on": 1.0, "yes": 1.0, "active": 1.0, "closed": 1.0,
}  # fmt: skip
"""Words a 0/1 channel may bear; `open` and `closed` speak of the loop."""

AIR_FUEL_RATIO: Final = "afr"
_STOICH_RANGE: Final = (2.0, 40.0)
"""Nitromethane 1.7 to hydrogen 34.3 by mass; a stoich outside is a slip of the pen."""

# What people write in headers → the unit's name in pint. Spelling is compared folded: see `fold_unit`.
_TEMPERATURES: Final = {
    "degc": "degC", "°c": "degC", "c": "degC", "celsius": "degC", "centigrade": "degC", "℃": "degC",
    "degf": "degF", "°f": "degF", "f": "degF", "fahrenheit": "degF", "℉": "degF",
    "k": "kelvin", "kelvin": "kelvin", "degk": "kelvin", "°k": "kelvin",
}  # fmt: skip
_PRESSURES: Final = {
    "kpa": "kPa", "kpaa": "kPa", "kpag": "kPa", "pa": "Pa", "hpa": "hPa", "mpa": "MPa", "bar": "bar", "mbar": "mbar",
    "psi": "psi", "psia": "psi", "psig": "psi", "inhg": "inHg", "mmhg": "mmHg", "atm": "atm", "kgf/cm2": "kgf/cm**2",
}  # fmt: skip
_SPEEDS: Final = {
    "rpm": "1/min", "1/min": "1/min", "/min": "1/min", "min-1": "1/min", "min^-1": "1/min", "r/min": "1/min",
    "rev/min": "1/min", "u/min": "1/min", "hz": "1/s", "1/s": "1/s", "rps": "1/s", "r/s": "1/s", "rev/s": "1/s",
}  # fmt: skip
_SHARES: Final = {
    "%": "percent", "percent": "percent", "pct": "percent", "per cent": "percent",
    "fraction": "dimensionless", "ratio": "dimensionless", "0-1": "dimensionless",
}  # fmt: skip
_VOLTAGES: Final = {"v": "V", "volt": "V", "volts": "V", "mv": "mV"}
_DURATIONS: Final = {
    "h": "hour", "hr": "hour", "hrs": "hour", "hour": "hour", "hours": "hour",
    "min": "minute", "mins": "minute", "minutes": "minute",
    "s": "second", "sec": "second", "secs": "second", "seconds": "second", "ms": "ms", "d": "day", "days": "day",
}  # fmt: skip
_LAMBDAS: Final = {
    "lambda": "dimensionless", "λ": "dimensionless", "la": "dimensionless", "lam": "dimensionless",
    AIR_FUEL_RATIO: AIR_FUEL_RATIO, "a/f": AIR_FUEL_RATIO, "air/fuel": AIR_FUEL_RATIO,
}  # fmt: skip
_CODES: Final = {"0/1": "dimensionless", "bool": "dimensionless", "boolean": "dimensionless", "flag": "dimensionless"}
_NO_UNIT: Final = {"": "dimensionless", "-": "dimensionless", "\N{EN DASH}": "dimensionless", "1": "dimensionless"}

_SPELLINGS: Final[dict[str, Mapping[str, str]]] = {
    "rpm": _SPEEDS, "%": _SHARES, "0/1": {**_CODES, **_NO_UNIT}, "": {**_NO_UNIT, "gear": "dimensionless"},
    "degC": _TEMPERATURES, "lambda": {**_LAMBDAS, **_NO_UNIT}, "V": _VOLTAGES, "kPa": _PRESSURES, "h": _DURATIONS,
}  # fmt: skip
_PINT_CANONICAL: Final = {
    "rpm": "1/min",
    "%": "percent",
    "0/1": "dimensionless",
    "": "dimensionless",
    "lambda": "dimensionless",
    "h": "hour",
}
_TIME_SPELLINGS: Final = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), "s"),
    **dict.fromkeys(("ms", "msec", "milliseconds"), "ms"),
    **dict.fromkeys(("us", "µs", "μs", "usec", "microseconds"), "us"),
    **dict.fromkeys(("min", "mins", "minute", "minutes"), "min"),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), "h"),
    "epoch_s": "epoch_s", "epoch_ms": "epoch_ms", "epoch_us": "epoch_us",
}  # fmt: skip
_KNOWN_SPELLINGS: Final = frozenset(word for table in _SPELLINGS.values() for word in table if word)


class UnitError(ValueError):
    """A unit that does not fit its channel; `accepted` are spellings that do."""

    def __init__(self, channel: str, unit: str, accepted: tuple[str, ...], why: str = "") -> None:
        super().__init__(f"{unit!r} is no unit of {channel}{why}; accepted: {', '.join(accepted)}")
        self.channel = channel
        self.unit = unit
        self.accepted = accepted
        self.why = why

    def __reduce__(self) -> tuple[type[UnitError], tuple[str, str, tuple[str, ...], str]]:
        return type(self), (self.channel, self.unit, self.accepted, self.why)


@dataclass(frozen=True)
class Affine:
    """canonical = logged * factor + offset."""

    factor: float
    offset: float

    def __call__(self, logged: float) -> float:
        """`logged` in the canonical unit."""
        return logged * self.factor + self.offset

    def from_zero(self, zero: float) -> Affine:
        """The same conversion after `zero` has been subtracted from what is logged."""
        return Affine(self.factor, self.offset - zero * self.factor)


IDENTITY: Final = Affine(1.0, 0.0)


def fold_unit(text: str) -> str:
    """A unit as written in a header, folded for comparison: one degree sign, no brackets, lower case."""
    folded = text.strip().strip("[](){}").strip().replace("Â°", "°").replace("º", "°").replace("˚", "°").casefold()
    for spelled in ("degrees ", "degree ", "deg. ", "deg ", "deg.", "° "):
        folded = folded.replace(spelled, "°")
    return folded.replace("\N{SUPERSCRIPT MINUS}\N{SUPERSCRIPT ONE}", "-1").replace("⋅", "").strip()


def is_unit(text: str) -> bool:
    """Whether a cell of a header reads like a unit some channel or the time can bear."""
    folded = fold_unit(text)
    return folded in _KNOWN_SPELLINGS or folded in _OTHER_UNITS


_OTHER_UNITS: Final = frozenset({
    "km/h", "kmh", "mph", "kn", "kts", "m/s", "m/s2", "deg/s", "g/s", "kg/h", "l/h", "gph", "cc/min", "g/rev", "mg/stk",
    "g", "mg", "m", "km", "mm", "nm", "n·m", "n.m", "kw", "w", "a", "ma", "ω", "ohm", "°", "deg", "°btdc", "°ca",
    "us", "µs", "ns", "khz", "gal", "l", "iso8601", "iso", "clock", "hh:mm:ss", "epoch_s", "epoch_ms", "utc", "enum",
    "n/a", "none", "bit", "count",
})  # fmt: skip
"""Units of quantities that are no channel of ours: they let a units row be told from a row of names."""


def accepted_units(channel: str) -> tuple[str, ...]:
    """Every spelling of a unit that fits `channel`."""
    return tuple(word for word in _SPELLINGS[CHANNELS[channel].unit] if word)


def fits(channel: str, unit: str) -> bool:
    """Whether `unit` is a spelling that fits `channel`."""
    return fold_unit(unit) in _SPELLINGS[CHANNELS[channel].unit]


def time_unit(text: str) -> str | None:
    """The time unit of a channel map that a header's spelling means ('s', 'ms', …), None where it means none."""
    return _TIME_SPELLINGS.get(fold_unit(text))


def affine(channel: str, unit: str | None, stoich: float | None = None) -> Affine:
    """The conversion from `unit` to the canonical unit of `channel`; None is the canonical unit itself.

    An air-fuel ratio is divided by `stoich`, the stoichiometric ratio of the fuel (lambda = (A/F)/(A/F)s, Heywood,
    Internal Combustion Engine Fundamentals, §3.4). The equivalence ratio phi, its
    inverse, is not affine and not offered.

    Raises:
        UnitError: the unit does not fit the channel, or an air-fuel ratio comes without a usable `stoich`.
    """
    if unit is None:
        return IDENTITY
    canonical = CHANNELS[channel].unit
    logged = _SPELLINGS[canonical].get(fold_unit(unit))
    if logged is None:
        raise UnitError(channel, unit, accepted_units(channel))
    if logged == AIR_FUEL_RATIO:
        return Affine(1.0 / _usable_stoich(channel, unit, stoich), 0.0)
    return _by_pint(logged, _PINT_CANONICAL.get(canonical, canonical))


def _usable_stoich(channel: str, unit: str, stoich: float | None) -> float:
    low, high = _STOICH_RANGE
    if stoich is None or not low <= stoich <= high:
        why = f" without `stoich`, the fuel's stoichiometric air-fuel ratio ({low:g} to {high:g})"
        raise UnitError(channel, unit, accepted_units(channel), why)
    return stoich


@lru_cache(maxsize=256)
def _by_pint(logged: str, canonical: str) -> Affine:
    if logged == canonical:
        return IDENTITY
    quantity = _units().Quantity
    at_zero = float(quantity(0.0, logged).to(canonical).magnitude)
    at_thousand = float(quantity(1000.0, logged).to(canonical).magnitude)
    # Twelve significant digits: what the published constants hold, without the noise of two subtractions.
    return Affine(float(f"{(at_thousand - at_zero) / 1000.0:.13g}"), float(f"{at_zero:.13g}"))


@lru_cache(maxsize=1)
def _units() -> pint.UnitRegistry[float]:
    import pint  # noqa: PLC0415 - a fifth of a second, only for logs in other units

    return pint.UnitRegistry()
