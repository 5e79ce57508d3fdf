"""The loggers on the boats: file format, names, units, rates and clocks, as different as they are in real life."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Final, Literal

Layout = Literal["combined", "folders"]
Clock = Literal["seconds", "iso_offset", "epoch_ms", "clock", "timestamp"]

FAST: Final = ("rpm", "rpm_target", "gear", "shift_target", "shift_position", "throttle", "pedal", "idle_integral",
               "idle_feedforward", "idle_active", "fuel_closed_loop", "lambda", "lambda_target", "fuel_trim", "battery",
               "manifold_pressure")  # fmt: skip
SLOW: Final = ("oil_temp", "coolant_temp", "air_temp", "oil_pressure", "engine_hours")
CHANNELS: Final = FAST + SLOW


@dataclass(frozen=True)
class Column:
    """How one channel stands in a log: its name there, its unit, and the words that stand for values."""

    name: str
    unit: str | None = None
    stoich: float | None = None
    values: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Logger:
    """One kind of logger. `channel_map` None: the log bears canonical names and needs no map."""

    suffix: str
    columns: dict[str, Column]
    channel_map: str | None = None
    layout: Layout = "combined"
    clock: Clock = "seconds"
    file_name: str = "%Y-%m-%d_%H%M"
    delimiter: str = ","
    decimal_comma: bool = False
    metadata: tuple[str, ...] = field(default=())
    """Lines before the header, strftime patterns of the log's start."""
    units_row: bool = False
    rate_hz: float = 20.0
    jitter_s: float = 0.0
    sparse_slow: bool = False
    """Slow channels are blank between their own 1 Hz samples."""
    split_trips: bool = False
    """Departure and return come as two logs."""

    def at_rate(self, rate_hz: float | None) -> Logger:
        """The same logger at another sampling rate; None leaves it."""
        return self if rate_hz is None else replace(self, rate_hz=rate_hz)


def _plain(template: str, *leave_out: str, **units: str) -> dict[str, Column]:
    """Columns that bear the canonical name, with `{engine}` where the template has it."""
    return {
        channel: Column(template.format(channel=channel, engine="{engine}") + units.get(channel, ""))
        for channel in CHANNELS
        if channel not in leave_out
    }


_GEAR_LETTERS = (("R", "reverse"), ("N", "neutral"), ("F", "forward"))

_BENCH: Final[dict[str, Column]] = {
    "rpm": Column("{engine} Engine Speed", "rpm"),
    "rpm_target": Column("{engine} Idle Target", "rpm"),
    "gear": Column("{engine} Lever", values=_GEAR_LETTERS),
    "shift_target": Column("{engine} Shift Target", "%"),
    "shift_position": Column("{engine} Shift Position", "%"),
    "throttle": Column("{engine} Throttle", "%"),
    "pedal": Column("{engine} Demand", "%"),
    "idle_integral": Column("{engine} Idle I-Term", "%"),
    "idle_feedforward": Column("{engine} Idle Base", "%"),
    "oil_temp": Column("{engine} Oil Temp", "degF"),
    "coolant_temp": Column("{engine} Coolant Temp", "degF"),
    "air_temp": Column("{engine} Intake Air", "degF"),
    "lambda": Column("{engine} AFR", "afr", 14.6),
    "lambda_target": Column("{engine} AFR Target", "afr", 14.6),
    "fuel_trim": Column("{engine} Fuel Trim", "%"),
    "fuel_closed_loop": Column("{engine} Closed Loop"),
    "battery": Column("{engine} Battery", "V"),
    "oil_pressure": Column("{engine} Oil Pressure", "psi"),
    "engine_hours": Column("{engine} Hours", "h"),
}

_WORDS: Final[dict[str, Column]] = {
    "rpm": Column("Crank speed", "rpm"),
    "rpm_target": Column("Idle speed wanted", "rpm"),
    "gear": Column("Gear asked", values=(("astern", "reverse"), ("neutral", "neutral"), ("ahead", "forward"))),
    "shift_target": Column("Shift set", "%"),
    "shift_position": Column("Shift at", "%"),
    "throttle": Column("Plate", "%"),
    "pedal": Column("Lever", "%"),
    "idle_integral": Column("Idle correction", "%"),
    "idle_feedforward": Column("Idle table", "%"),
    "idle_active": Column("Idle loop on"),
    "oil_temp": Column("Oil", "degC"),
    "coolant_temp": Column("Cooling water", "degC"),
    "air_temp": Column("Air", "degC"),
    "lambda": Column("Lambda"),
    "lambda_target": Column("Lambda wanted"),
    "fuel_trim": Column("Fuel correction", "%"),
    "fuel_closed_loop": Column("Fuel loop on"),
    "battery": Column("Supply", "mV"),
    "oil_pressure": Column("Oil pressure", "bar"),
    "manifold_pressure": Column("Manifold", "hPa"),
    "engine_hours": Column("Hours", "h"),
}

COLUMNAR: Final = Logger(".parquet", _plain("{channel}.{engine}"), "columnar", clock="timestamp", rate_hz=10.0)
"""The logger of the largest boats."""

LOGGERS: Final[tuple[Logger, ...]] = (
    Logger(".csv", _plain("{engine}_{channel}", "fuel_closed_loop", "manifold_pressure")),
    Logger(
        ".csv.gz",
        _plain("{channel}", "coolant_temp"),
        metadata=("# logger start: %Y-%m-%d %H:%M:%S",),
        file_name="log_%y%m%d%H%M",
    ),
    COLUMNAR,
    Logger(
        ".csv",
        _plain("{channel}", "manifold_pressure", oil_temp="_c", coolant_temp="_c", air_temp="_c"),
        layout="folders",
        clock="iso_offset",
        sparse_slow=True,
        split_trips=True,
    ),
    Logger(".csv", _BENCH, "bench", file_name="%Y-%m-%d_%H%M%S", units_row=True, rate_hz=10.0),
    Logger(".csv", _WORDS, "words", delimiter=";", decimal_comma=True, file_name="%Y-%m-%dT%H%M"),
    COLUMNAR,
    Logger(
        ".tsv",
        _plain("{engine} {channel}", "air_temp", "engine_hours"),
        "tabbed",
        clock="clock",
        delimiter="\t",
        rate_hz=10.0,
        metadata=("Log date\t%Y-%m-%d",),
        file_name="%Y-%m-%d_%H%M",
    ),
    Logger(".csv.gz", _BENCH, "bench", file_name="%Y-%m-%d_%H%M%S", units_row=True, rate_hz=10.0),
    Logger(".csv.gz", _plain("{engine}_{channel}", "gear"), rate_hz=10.0, sparse_slow=True),
    Logger(
        ".csv",
        _plain("{channel}", "idle_active", "manifold_pressure", "lambda_target"),
        rate_hz=50.0,
        jitter_s=0.004,
        sparse_slow=True,
    ),
    Logger(
        ".csv",
        _plain("{channel}/{engine}", "oil_temp", "rpm_target"),
        "epoch",
        clock="epoch_ms",
        delimiter=";",
        rate_hz=10.0,
    ),
)
"""The loggers in the order of the boats."""
