"""Whole small logs drawn by hypothesis: dialect, header, units, rates, blanks, clock, and what must be read of each.

`fuzz.py --drawn N` runs as many as are asked for; a sample runs with the tests.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

import numpy as np
from hypothesis import strategies as st

from pipeline.database import scratch
from pipeline.readers import LogRead, ReadRequest, read_log
from pipeline.register import Engine

if TYPE_CHECKING:
    from collections.abc import Sequence

ZONE: Final = "Europe/Berlin"
ENGINE: Final = Engine(
    boat_id="petrel", id="port", label="port", serial=None, shift_targets=None, service=None, limits={}
)
MAY_BE_REFUSED: Final = frozenset({"doubtful_numbers"})
"""Codes with which a sound log may be refused: its numbers can be read in two ways, and none may be guessed."""

CLOCKS: Final = ("elapsed", "elapsed from a line", "epoch", "iso with offset", "iso local", "time of day")

_UNITS: Final = {
    "rpm": (("rpm", 1.0, 0.0), ("1/min", 1.0, 0.0)),
    "shift_position": (("%", 1.0, 0.0),),
    "pedal": (("%", 1.0, 0.0),),
    "oil_temp": (("degC", 1.0, 0.0), ("degF", 5 / 9, -32 * 5 / 9), ("K", 1.0, -273.15)),
    "coolant_temp": (("degC", 1.0, 0.0), ("degF", 5 / 9, -32 * 5 / 9)),
    "battery": (("V", 1.0, 0.0), ("mV", 0.001, 0.0)),
    "oil_pressure": (("kPa", 1.0, 0.0), ("bar", 100.0, 0.0), ("psi", 6.894757293168361, 0.0)),
    "lambda": (("", 1.0, 0.0),),
}
"""Channels with units they are logged in, with factor and offset to the canonical one (SI Brochure; NIST SP 811)."""


@dataclass(frozen=True)
class Drawn:
    """A log as it lies in its file, and what it says: times in seconds since 1970, values in canonical units.

    A value is NaN where the cell is blank; a channel that is blank throughout is not in `values`.
    """

    name: str
    content: bytes
    time_s: tuple[float, ...]
    values: dict[str, tuple[float, ...]]
    told: str


@dataclass(frozen=True)
class _Look:
    """How a log is written."""

    delimiter: str
    decimal: str
    line_end: str
    encoding: str
    blank: str
    header: str
    clock: str
    is_quoted: bool
    ends_with_delimiter: bool


def looks() -> st.SearchStrategy[_Look]:
    """Dialects that loggers write."""
    marks = st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), ("|", ".")])
    return st.builds(
        lambda both, **others: _Look(both[0], both[1], **others),
        marks,
        line_end=st.sampled_from(["\n", "\r\n", "\r"]),
        encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]),
        blank=st.sampled_from(["", " ", "NaN", "n/a", "-"]),
        header=st.sampled_from(["plain", "units row", "brackets", "round brackets"]),
        clock=st.sampled_from(CLOCKS),
        is_quoted=st.booleans(),
        ends_with_delimiter=st.booleans(),
    )


@st.composite
def logs(draw: st.DrawFn) -> Drawn:
    """A log of 5 to 40 rows and 1 to 8 channels, with rates from 1 to 200 Hz and blanks in the slower channels."""
    look = draw(looks())
    start = datetime(2026, 6, 1, tzinfo=UTC) + timedelta(seconds=draw(st.integers(0, 20 * 86_400)))
    rows = draw(st.integers(5, 40))
    # a time of day may not come to midnight without a date of its own: 40 rows of a second are far from a day
    steps_ms = draw(st.lists(st.integers(5, 1000), min_size=rows - 1, max_size=rows - 1))
    at_ms = [0, *np.cumsum(steps_ms).tolist()]
    channels = draw(st.lists(st.sampled_from(sorted(_UNITS)), min_size=1, max_size=8, unique=True))
    drawn = {channel: draw(_cells(channel, rows, look)) for channel in channels}
    strange = draw(st.lists(st.sampled_from(["note", "Spare 1", "x_accel", "Flag"]), max_size=2, unique=True))
    table = [[_time(look, start, ms) for ms in at_ms], *(cells for _, cells, _ in drawn.values())]
    table += [[draw(st.sampled_from(["1", "0", "on", ""])) for _ in range(rows)] for _ in strange]
    names = _names(look, [(channel, drawn[channel][0]) for channel in channels], strange)
    rows_written = _joined(look, [*names, *zip(*table, strict=True)])
    lines = [*_metadata(look, start, draw(st.integers(0, 2))), *rows_written]
    text = look.line_end.join(lines) + look.line_end
    values = {channel: read for channel, (_, _, read) in drawn.items() if not np.isnan(read).all()}
    return Drawn(
        name=_file_name(look, start),
        content=text.encode(look.encoding),
        time_s=tuple(start.timestamp() + ms / 1000 for ms in at_ms),
        values=values,
        told=repr(look),
    )


@st.composite
def _cells(draw: st.DrawFn, channel: str, rows: int, look: _Look) -> tuple[str, list[str], tuple[float, ...]]:
    """A channel's unit, its cells as written, and what they mean."""
    unit, factor, offset = draw(st.sampled_from(_UNITS[channel])) if look.header != "plain" else _UNITS[channel][0]
    digits = draw(st.integers(0, 3))
    every = draw(st.sampled_from([1, 1, 2, 5]))
    numbers = draw(st.lists(st.integers(-20_000, 6_000_000), min_size=rows, max_size=rows))
    logged = [round(number / 1000, digits) if at % every == 0 else None for at, number in enumerate(numbers)]
    cells = [look.blank if each is None else f"{each:.{digits}f}".replace(".", look.decimal) for each in logged]
    return unit, cells, tuple(float("nan") if each is None else each * factor + offset for each in logged)


def _time(look: _Look, start: datetime, ms: int) -> str:
    moment = start + timedelta(milliseconds=ms)
    local = moment.astimezone(ZoneInfo(ZONE))
    match look.clock:
        case "iso with offset":
            return local.isoformat(timespec="milliseconds")
        case "iso local":
            return local.replace(tzinfo=None).isoformat(" ", timespec="milliseconds")
        case "time of day":
            return local.time().isoformat(timespec="milliseconds")
        case "epoch":
            return f"{start.timestamp() + ms / 1000:.3f}".replace(".", look.decimal)
    return f"{ms / 1000:.3f}".replace(".", look.decimal)


def _names(look: _Look, channels: list[tuple[str, str]], strange: list[str]) -> list[list[str]]:
    """The line of names, and the line of units where there is one."""
    time_unit = "s" if look.clock.startswith("elapsed") else ""
    units = [("time", time_unit), *channels, *((name, "") for name in strange)]
    brackets = {"brackets": "{} [{}]", "round brackets": "{} ({})"}.get(look.header)
    names = [brackets.format(name, unit) if brackets and unit else name for name, unit in units]
    quoted = [f'"{name}"' if look.is_quoted else name for name in names]
    return [quoted, [unit for _, unit in units]] if look.header == "units row" else [quoted]


def _metadata(look: _Look, start: datetime, lines: int) -> list[str]:
    """Lines before the names. Of those that tell the start there is one where the clock needs it."""
    told = ["# logger: bench", "Device: none"][:lines]
    if look.clock == "elapsed from a line":
        told.append(f"Start: {start.astimezone(ZoneInfo(ZONE)).isoformat()}")
    return told


def _joined(look: _Look, rows: Sequence[Sequence[str]]) -> list[str]:
    end = look.delimiter if look.ends_with_delimiter else ""
    return [look.delimiter.join(row) + end for row in rows]


def _file_name(look: _Look, start: datetime) -> str:
    if look.clock in {"elapsed", "time of day"}:
        return f"{start.astimezone(ZoneInfo(ZONE)):%Y-%m-%d_%H%M%S}.csv"
    return "run.csv"


def broken_promises(log: Drawn, folder: Path) -> tuple[str, list[str]]:
    """What the reader answered (the status, or the code of a refusal), and where that is not what was written."""
    path = folder / log.name
    path.write_bytes(log.content)
    os.utime(path, (log.time_s[-1] + 60, log.time_s[-1] + 60))
    read = read_log(scratch(), ReadRequest(path, f"inbox/petrel/{path.name}", (ENGINE,), None, ZONE))
    if read.status == "refused":
        code = read.problems[0].code
        return code, [] if code in MAY_BE_REFUSED else [f"refused: {read.problems[0].sentence()}"]
    return "taken", _unlike(log, read)


def _unlike(log: Drawn, read: LogRead) -> list[str]:
    held = scratch().execute("select * from log_rows").fetchnumpy()
    times = np.asarray(held["time_s"])
    if times.size != len(log.time_s) or not np.allclose(times, log.time_s, rtol=0, atol=2e-6):
        return [f"other times: {times.size} rows of {len(log.time_s)}, from {times[0]} to {times[-1]}"]
    found = [f"channels {read.columns.get('port', ())}"] * (set(read.columns.get("port", ())) != set(log.values))
    for channel, values in log.values.items():
        got = np.ma.filled(np.ma.asarray(held.get(f"port.{channel}", np.full(times.size, np.nan)), dtype=float), np.nan)
        if not np.allclose(got, values, rtol=1e-6, atol=1e-4, equal_nan=True):
            found.append(f"{channel}: other values")
    return found
