"""Any log that pandas, polars, pyarrow or asammdf writes is read back sample by sample.

Logs are drawn: rates from 1 to 200 Hz, values of any finite size, blanks; dialects as the libraries can write them.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

Read = Callable[..., Any]

START = datetime(2026, 6, 14, 7, 10, tzinfo=UTC)
THRIFTY = settings(
    max_examples=25, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@st.composite
def logs(draw: st.DrawFn) -> pd.DataFrame:
    """A log of 3 to 60 rows: times to the millisecond, two channels, blanks in the slower one."""
    rows = draw(st.integers(3, 60))
    steps_ms = draw(st.lists(st.integers(5, 1000), min_size=rows, max_size=rows))
    values = st.floats(-1e6, 1e6, allow_nan=False, width=32)
    blanks = st.one_of(st.none(), values)
    rpm = draw(st.lists(values, min_size=rows, max_size=rows))
    oil = draw(st.lists(blanks, min_size=rows, max_size=rows))
    seconds = (np.cumsum(steps_ms) - steps_ms[0]) / 1000
    return pd.DataFrame({"time": seconds, "rpm": rpm, "oil_temp": np.array(oil, dtype=float)})


def assert_same(answer: Any, log: pd.DataFrame) -> None:
    """Every sample came through: values to FLOAT, blanks as null, times to the microsecond."""
    assert answer.log.status == "taken", answer.log.problems
    assert answer.log.rows_dropped == 0
    assert np.allclose(np.array(answer.column("time_s")) - START.timestamp(), log["time"], rtol=0, atol=1e-6)
    for channel in ("rpm", "oil_temp"):
        read = np.array([np.nan if cell is None else cell for cell in answer.column(channel)], dtype=np.float32)
        assert np.array_equal(read, log[channel].to_numpy(dtype=np.float32), equal_nan=True), channel


@given(
    logs(),
    st.sampled_from([(",", "."), (";", ","), ("\t", "."), ("|", ".")]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    st.sampled_from(["\n", "\r\n"]),
    st.sampled_from(["", "NaN", "n/a", "--"]),
)
@THRIFTY
def test_what_pandas_writes_as_text_is_read_back_whatever_the_dialect(
    read: Read, tmp_path: Path, log: pd.DataFrame, marks: tuple[str, str], encoding: str, end: str, blank: str
) -> None:
    path = tmp_path / "2026-06-14_0710.csv"
    separator, decimal = marks
    log.to_csv(
        path, index=False, sep=separator, decimal=decimal, encoding=encoding, lineterminator=end, na_rep=blank
    )  # fmt: skip
    answer = read(path)
    if answer.codes == ["doubtful_numbers"]:
        assert decimal == ","
        return
    assert_same(answer, log)


@given(logs(), st.sampled_from([",", ";", "\t"]), st.sampled_from(["with a mark", "without"]))
@THRIFTY
def test_what_polars_writes_as_text_is_read_back(
    read: Read, tmp_path: Path, log: pd.DataFrame, separator: str, mark: str
) -> None:
    path = tmp_path / "2026-06-14_0710.csv"
    pl.from_pandas(log).write_csv(path, separator=separator, include_bom=mark == "with a mark")
    assert_same(read(path), log)


@given(logs(), st.sampled_from(["snappy", "zstd", "gzip", "none"]), st.integers(1, 60))
@THRIFTY
def test_what_pyarrow_writes_as_parquet_is_read_back(
    read: Read, tmp_path: Path, log: pd.DataFrame, packing: str, group: int
) -> None:
    path = tmp_path / "2026-06-14_0710.parquet"
    pq.write_table(pa.Table.from_pandas(log, preserve_index=False), path, compression=packing, row_group_size=group)
    assert_same(read(path), log)


@given(st.lists(logs(), min_size=1, max_size=1))
@settings(THRIFTY, max_examples=8)
def test_what_asammdf_writes_is_read_back(read: Read, tmp_path: Path, drawn: list[pd.DataFrame]) -> None:
    asammdf = pytest.importorskip("asammdf", reason="asammdf, the MDF4 extra, is not installed")
    (log,) = drawn
    slow = log[log["oil_temp"].notna()]
    path = tmp_path / "log.mf4"
    with asammdf.MDF(version="4.10") as file:
        file.header.start_time = START
        file.append([asammdf.Signal(log["rpm"].to_numpy(), log["time"].to_numpy(), name="rpm")])
        if len(slow):
            file.append([asammdf.Signal(slow["oil_temp"].to_numpy(), slow["time"].to_numpy(), name="oil_temp")])
        file.save(path, overwrite=True)
    answer = read(path)
    if len(slow):
        assert_same(answer, log)
    else:
        assert answer.column("rpm") == log["rpm"].tolist()
