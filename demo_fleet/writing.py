"""Turns measured channels into log files in each logger's own format, quickly: Arrow writes the numbers."""

from __future__ import annotations

import gzip
import io
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
import pyarrow.parquet

from demo_fleet.arrays import GEAR_NAMES, Floats
from demo_fleet.loggers import SLOW, Column, Logger

if TYPE_CHECKING:
    from demo_fleet.lanes import Lane
    from demo_fleet.trips import Outing

DECIMALS: Final[dict[str, int]] = {
    "rpm": 0, "rpm_target": 0, "gear": 0, "shift_target": 1, "shift_position": 1, "throttle": 1, "pedal": 1,
    "idle_integral": 2, "idle_feedforward": 1, "idle_active": 0, "fuel_closed_loop": 0, "oil_temp": 1,
    "coolant_temp": 1, "air_temp": 1, "lambda": 3, "lambda_target": 3, "fuel_trim": 1, "battery": 2, "oil_pressure": 0,
    "manifold_pressure": 1, "engine_hours": 2,
}  # fmt: skip
"""Decimals each channel is logged with, in its canonical unit."""

UNIT_DECIMALS: Final[dict[str, int]] = {"afr": 2, "psi": 1, "mV": 0, "bar": 2, "hPa": 0}
KPA_PER_PSI: Final = 6.894757
Channels = Mapping[str, Floats]


def log_path(outing: Outing, engine: str | None) -> Path:
    """A log's place below the fleet folder; `engine` for loggers that keep a folder an engine."""
    logger = outing.boat.logger
    folder = Path("inbox") / outing.boat.id
    if engine is not None:
        folder /= engine
    return folder / (outing.started.strftime(logger.file_name) + logger.suffix)


def write_log(path: Path, lanes: Sequence[Lane], measured: Sequence[Channels], times_s: Floats) -> None:
    """Write one log with the channels of one or more engines."""
    logger = lanes[0].outing.boat.logger
    started = lanes[0].outing.started
    columns = {"time": _time_column(logger, started, times_s)}
    for lane, channels in zip(lanes, measured, strict=True):
        columns |= _engine_columns(logger, lane, channels, times_s)
    path.parent.mkdir(parents=True, exist_ok=True)
    table = pa.table(columns)
    if logger.suffix == ".parquet":
        pyarrow.parquet.write_table(table, path, compression="zstd")
    else:
        path.write_bytes(_text(logger, started, table))


def time_name(logger: Logger) -> str:
    """The name of the time column."""
    return {"bench": "Time", "words": "Clock [s]", "tabbed": "time of day", "epoch": "stamp"}.get(
        logger.channel_map or "", "time"
    )


def engine_name(logger: Logger, lane_id: str, label: str) -> str:
    """What stands for an engine in column names: its label where the register gives one, else its id."""
    return label if logger.channel_map == "bench" else lane_id


def _time_column(logger: Logger, started: datetime, times_s: Floats) -> Any:
    if logger.clock == "seconds":
        return pa.array(np.round(times_s, 4))
    begun = started.astimezone(UTC) if logger.clock in {"epoch_ms", "timestamp"} else started.replace(tzinfo=UTC)
    stamps = round(begun.timestamp() * 1000) + np.round(times_s * 1000).astype(np.int64)
    if logger.clock == "epoch_ms":
        return pa.array(stamps)
    moments = pa.array(stamps).cast(pa.timestamp("ms"))
    if logger.clock == "timestamp":
        return moments.cast(pa.timestamp("ms", tz="UTC"))
    if logger.clock == "clock":
        return pc.strftime(moments, format="%H:%M:%S")
    return pc.binary_join_element_wise(pc.strftime(moments, format="%Y-%m-%dT%H:%M:%S"), started.isoformat()[-6:], "")


def _engine_columns(logger: Logger, lane: Lane, channels: Channels, times_s: Floats) -> dict[str, Any]:
    engine = engine_name(logger, lane.engine.id, lane.engine.label)
    seconds = np.floor(times_s)
    off_beat = np.concatenate([[False], seconds[1:] == seconds[:-1]])
    columns = {}
    for channel, column in logger.columns.items():
        values = _logged(channel, column, channels[channel])
        if logger.sparse_slow and channel in SLOW:
            values = np.where(off_beat, np.nan, values)
        columns[column.name.replace("{engine}", engine)] = _array(channel, column, values)
    return columns


def _logged(channel: str, column: Column, values: Floats) -> Floats:
    """Values in the logged unit, rounded to what the logger prints."""
    decimals = UNIT_DECIMALS.get(column.unit or "", DECIMALS[channel])
    return np.round(_in_unit(column, values), decimals) + 0.0


def _in_unit(column: Column, values: Floats) -> Floats:
    if column.unit == "degF":
        return values * 1.8 + 32.0
    if column.unit == "afr":
        return values * (column.stoich or 1.0)
    factor = {"psi": 1 / KPA_PER_PSI, "mV": 1000.0, "bar": 0.01, "hPa": 10.0}.get(column.unit or "", 1.0)
    return values * factor if factor != 1.0 else values


def _array(channel: str, column: Column, values: Floats) -> Any:
    if channel == "gear" and column.values:
        words = {name: word for word, name in column.values}
        codes = (values + 1).astype(np.int8)
        return pa.DictionaryArray.from_arrays(codes, [words[GEAR_NAMES[gear]] for gear in (-1, 0, 1)]).cast(pa.string())
    if DECIMALS[channel] == 0 and (column.unit or "") in {"", "rpm"} and not np.isnan(values).any():
        return pa.array(values.astype(np.int16))
    kind = np.float64 if channel == "engine_hours" else np.float32
    return pa.array(values.astype(kind), from_pandas=True)


def _text(logger: Logger, started: datetime, table: Any) -> bytes:
    head = [started.strftime(line) for line in logger.metadata]
    names = [time_name(logger), *table.column_names[1:]]
    head.append(logger.delimiter.join(names))
    if logger.units_row:
        head.append(logger.delimiter.join(["s", *_units(logger) * (len(names) // len(logger.columns))]))
    body = io.BytesIO()
    options = pyarrow.csv.WriteOptions(include_header=False, delimiter=logger.delimiter, quoting_style="none")
    pyarrow.csv.write_csv(_with_commas(table) if logger.decimal_comma else table, body, options)
    text = ("\n".join(head) + "\n").encode() + body.getvalue()
    return gzip.compress(text, 1, mtime=0) if logger.suffix.endswith(".gz") else text


def _units(logger: Logger) -> list[str]:
    return [column.unit or "-" for column in logger.columns.values()]


def _with_commas(table: Any) -> Any:
    texts = {
        name: pc.replace_substring(table[name].cast(pa.string()), ".", ",")
        if pa.types.is_floating(table[name].type)
        else table[name]
        for name in table.column_names
    }
    return pa.table(texts)
