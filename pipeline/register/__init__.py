"""The register: what the fleet folder says about boats, engines, channel maps, limits and departures.

`tables` is the shape as written, `fleet` the objects others use, `mistakes` what can be wrong and how it is said.
"""

from pipeline.register.fleet import Boat, Engine, Register
from pipeline.register.load import load_register
from pipeline.register.map_writing import WrittenMap, write_map
from pipeline.register.mistakes import RegisterError
from pipeline.register.schedule import Departure, Schedule, load_schedule
from pipeline.register.starter import Started, init_fleet, starter_toml
from pipeline.register.tables import (
    FILE_NAME,
    GEARS,
    TIME_UNITS,
    ChannelMap,
    Gear,
    LimitOverride,
    MapEntry,
    ReadingLimits,
    Service,
)
from pipeline.register.words import did_you_mean, nearest

__all__ = [
    "FILE_NAME",
    "GEARS",
    "TIME_UNITS",
    "Boat",
    "ChannelMap",
    "Departure",
    "Engine",
    "Gear",
    "LimitOverride",
    "MapEntry",
    "ReadingLimits",
    "Register",
    "RegisterError",
    "Schedule",
    "Service",
    "Started",
    "WrittenMap",
    "did_you_mean",
    "init_fleet",
    "load_register",
    "load_schedule",
    "nearest",
    "starter_toml",
    "write_map",
]
