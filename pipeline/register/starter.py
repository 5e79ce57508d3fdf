"""The start of a fleet: its folder, its inbox and a first `fleet.toml` to edit. Nothing that exists is touched."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from pipeline.problems import Problem, declare
from pipeline.register.mistakes import RegisterError
from pipeline.register.tables import FILE_NAME

if TYPE_CHECKING:
    from pathlib import Path

INBOX: Final = "inbox"

declare({"fleet_folder_blocked": "the fleet folder cannot be made"})

_STARTER: Final = """\
# The register of a fleet for Morning Watch. Change what stands here to your boats.
# A line that begins with # and no space after it is an option: take the # away to use it.

[fleet]
name = "My fleet"
timezone = "UTC"                    # IANA name, such as "Pacific/Auckland"; log times without an offset are local to it
currency_days = 3                   # a boat without a log for longer is 'unchecked'

# Limits for every engine; they can also stand under a boat or an engine. An indicator without a hold limit of its own
# never holds a boat until it gets one: take the figures for your engines from their maker's manual.
#[limits.shift_reach_error]
#watch = 1.0                         # % of travel
#hold = 2.0

# Where your logs keep each channel: one map for each shape of log, which several boats can share. Let
# `morningwatch columns LOG` propose one. Without a map, columns with canonical names are taken as they are.
#[channel_map.logger]
#time = { column = "Time", unit = "s" }                # s, ms, us, min, h, epoch_s, epoch_ms, epoch_us, iso8601, clock
# The date in a column of its own, the day before the month: time = { column = "T", date = "D", format = "day first" }
#rpm = { column = "Engine Speed", unit = "rpm" }       # unit may be left out where it is the canonical one
#oil_temp = { column = "Oil Temp", unit = "degF" }
#lambda = { column = "AFR", unit = "afr", stoich = 14.6 }
#gear = { column = "Lever", values = { R = "reverse", N = "neutral", F = "forward" } }
#pedal = { column = "Pedal", zero = 16.0 }             # the logged value that means 0
# A log that holds several engines: write {engine} in the column's name where the engine's id or label stands.
#battery = { column = "{engine} Battery", unit = "V" }

# What one log may take of the machine; a log beyond is refused.
#[reading]
#max_mb = 1000                       # MB of one log, unpacked
#max_columns = 4000
#max_rows = 20_000_000
#max_memory_mb = 4000                # MB of memory to read it with

[[boat]]
id = "boat-1"                       # lower-case letters, digits, _ and -; also its folder: inbox/boat-1/
name = "Boat 1"
#channel_map = "logger"

[[boat.engine]]
id = "main"                         # logs in inbox/boat-1/main/ are this engine's alone
#label = "Main"                      # what {engine} stands for, where it is not the id
#serial = "A-0001"
#shift_targets = { reverse = 12, neutral = 50, forward = 90 }   # % of travel; otherwise learned from the logs
#idle_rows_c = [0, 20, 40, 60, 80, 100]                         # °C of the idle feed-forward table's rows
#service = { every_hours = 100, last_hours = 0.0 }              # engine hours
"""


@dataclass(frozen=True)
class Started:
    """What `init_fleet` made, and what was there before and stays as it was."""

    made: tuple[Path, ...]
    kept: tuple[Path, ...]


def starter_toml() -> str:
    """A first `fleet.toml`, with every option as a comment; it loads as it stands."""
    return _STARTER


def init_fleet(folder: Path) -> Started:
    """Make the fleet folder, its inbox and its register, whichever of them are lacking.

    Raises:
        RegisterError: a file stands where a folder should be, or the place cannot be written.
    """
    steps = {folder: _make_folder, folder / INBOX: _make_folder, folder / FILE_NAME: _write_register}
    kept = tuple(path for path in steps if path.exists())
    try:
        for path, step in steps.items():
            step(path)
    except OSError as error:
        raise RegisterError([_blocked(folder, error)]) from error
    return Started(made=tuple(path for path in steps if path not in kept), kept=kept)


def _make_folder(path: Path) -> None:
    path.mkdir(parents=True, exist_ok=True)


def _write_register(path: Path) -> None:
    """Exclusive creation: a register that appeared in the meantime is kept too."""
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(_STARTER)
    except FileExistsError:
        return


def _blocked(folder: Path, error: OSError) -> Problem:
    got = f"{error.strerror}: {error.filename}"
    way_out = "Name another folder, or clear the way."
    return Problem(FILE_NAME, None, "fleet_folder_blocked", f"a place for the folder {folder}", got, way_out)
