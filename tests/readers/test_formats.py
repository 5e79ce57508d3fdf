"""Parquet and MDF4 logs, and round trips: what pandas, polars, pyarrow and asammdf write is what the readers read."""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from pipeline.readers import LOG_SUFFIXES, is_log, log_suffix, mdf4_log

Read = Callable[..., Any]
Write = Callable[..., Any]

START = datetime(2026, 6, 14, 7, 10, tzinfo=UTC)
ROWS = 200
RNG = np.random.default_rng(20260614)
SECONDS = np.round(np.arange(ROWS) * 0.05, 2)
RPM = np.round(RNG.normal(620, 5, ROWS), 2)
OIL = np.where(np.arange(ROWS) % 20 == 0, np.round(RNG.normal(80, 1, ROWS), 1), np.nan)
"""A slow channel: blank between its own samples."""


def frame() -> pd.DataFrame:
    """A log of ten seconds at 20 Hz."""
    return pd.DataFrame({"time": SECONDS, "rpm": RPM, "oil_temp": OIL})


def assert_is_the_frame(answer: Any) -> None:
    """Everything of `frame` came through: values to FLOAT, blanks as null, times exactly."""
    assert answer.log.status == "taken", answer.log.problems
    assert np.array_equal(answer.column("time_s"), START.timestamp() + SECONDS)
    assert np.array_equal(np.array(answer.column("rpm"), dtype=np.float32), RPM.astype(np.float32))
    read = np.array([np.nan if value is None else value for value in answer.column("oil_temp")])
    assert np.allclose(read, OIL, rtol=1e-6, equal_nan=True)


@pytest.mark.parametrize(
    "arguments",
    [
        {},
        {"sep": ";", "decimal": ","},
        {"sep": "\t"},
        {"encoding": "utf-8-sig"},
        {"encoding": "utf-16"},
        {"na_rep": "NaN"},
        {"lineterminator": "\r\n"},
        {"quoting": 1},
        {"float_format": "%.6e"},
    ],
    ids=str,
)
def test_what_pandas_writes_as_text_is_read_back(read: Read, tmp_path: Path, arguments: dict[str, Any]) -> None:
    path = tmp_path / "2026-06-14_0710.csv"
    frame().to_csv(path, index=False, **arguments)
    assert_is_the_frame(read(path))


@pytest.mark.parametrize("packing", ["gz", "zst"])
def test_what_pandas_packs_is_read_back(read: Read, tmp_path: Path, packing: str) -> None:
    path = tmp_path / f"2026-06-14_0710.csv.{packing}"
    frame().to_csv(path, index=False)
    assert_is_the_frame(read(path))


def test_what_polars_writes_as_text_is_read_back(read: Read, tmp_path: Path) -> None:
    path = tmp_path / "2026-06-14_0710.csv"
    pl.from_pandas(frame()).write_csv(path)
    assert_is_the_frame(read(path))


def test_what_pandas_writes_as_parquet_is_read_back(read: Read, tmp_path: Path) -> None:
    path = tmp_path / "2026-06-14_0710.parquet"
    frame().to_parquet(path)
    assert_is_the_frame(read(path))


def test_what_polars_writes_as_parquet_is_read_back(read: Read, tmp_path: Path) -> None:
    path = tmp_path / "2026-06-14_0710.parquet"
    pl.from_pandas(frame()).write_parquet(path)
    assert_is_the_frame(read(path))


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
def test_a_parquet_time_stamp_with_a_zone_is_taken_as_it_is(read: Read, tmp_path: Path, unit: str) -> None:
    stamps = pa.array([START, START + timedelta(seconds=1)], pa.timestamp(unit, tz="Pacific/Auckland"))
    pq.write_table(pa.table({"time": stamps, "rpm": [600, 601]}), tmp_path / "log.parquet")
    answer = read(tmp_path / "log.parquet", timezone="Europe/Berlin")
    assert answer.column("time_s") == [START.timestamp(), START.timestamp() + 1]


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
def test_a_parquet_time_stamp_without_a_zone_is_local(read: Read, tmp_path: Path, unit: str) -> None:
    naive = START.replace(tzinfo=None)
    stamps = pa.array([naive, naive + timedelta(seconds=1)], pa.timestamp(unit))
    pq.write_table(pa.table({"time": stamps, "rpm": [600, 601]}), tmp_path / "log.parquet")
    answer = read(tmp_path / "log.parquet", timezone="Pacific/Auckland")  # UTC+12 in June
    assert answer.log.started_s == (START - timedelta(hours=12)).timestamp()


def test_parquet_types_of_every_kind_are_read_or_null(read: Read, tmp_path: Path) -> None:
    table = pa.table(
        {
            "time": pa.array([0, 1], pa.int64()),
            "rpm": pa.array([600, 601], pa.uint16()),
            "gear": pa.array(["neutral", "forward"], pa.dictionary(pa.int8(), pa.string())),
            "idle_active": pa.array([True, False]),
            "battery": pa.array(["12.5", "low"]),
            "oil_temp": pa.array([float("nan"), float("inf")], pa.float32()),
            "pedal": pa.array([[1.0], [2.0]], pa.list_(pa.float64())),
        }
    )
    pq.write_table(table, tmp_path / "2026-06-14_0710.parquet")
    answer = read(tmp_path / "2026-06-14_0710.parquet")
    assert answer.column("gear") == [0.0, 1.0]
    assert answer.column("idle_active") == [1.0, 0.0]
    assert answer.column("battery") == [12.5, None]
    assert answer.column("oil_temp") == [None, None]
    assert answer.column("pedal") == [None, None]


@pytest.mark.parametrize("content", [b"", b"PAR1", b"PAR1" * 50, b"time,rpm\n0,600\n"])
def test_a_damaged_parquet_file_is_a_refusal_without_the_machines_path(
    read: Read, write: Write, content: bytes
) -> None:
    answer = read(write(content, "a.parquet"))
    assert answer.codes == ["damaged_file"]
    assert str(Path.home().anchor) + "tmp" not in answer.log.problems[0].sentence()


def mdf4(path: Path, groups: list[list[Any]], start: datetime = START) -> Path:
    """An MDF4 file written by asammdf, one channel group an entry."""
    asammdf = pytest.importorskip("asammdf", reason="asammdf, the MDF4 extra, is not installed")
    with asammdf.MDF(version="4.10") as file:
        for group in groups:
            file.append(group)
        file.header.start_time = start
        file.save(path.with_suffix(".mf4"), overwrite=True)
    return path.with_suffix(".mf4").rename(path)


def signal(name: str, seconds: Any, samples: Any, unit: str = "") -> Any:
    """A signal of asammdf; text samples are UTF-8."""
    asammdf = pytest.importorskip("asammdf", reason="asammdf, the MDF4 extra, is not installed")
    text = {"encoding": "utf-8"} if np.asarray(samples).dtype.kind == "S" else {}
    return asammdf.Signal(np.asarray(samples), np.asarray(seconds, dtype=float), name=name, unit=unit, **text)


def test_what_asammdf_writes_is_read_back(read: Read, tmp_path: Path) -> None:
    fast = [signal("rpm", SECONDS, RPM, "rpm")]
    slow = [signal("oil_temp", SECONDS[::20], OIL[::20], "degC")]
    assert_is_the_frame(read(mdf4(tmp_path / "log.mf4", [fast, slow])))


def test_a_slow_mdf4_group_is_blank_between_its_own_samples_and_never_interpolated(read: Read, tmp_path: Path) -> None:
    path = mdf4(
        tmp_path / "log.MF4",
        [[signal("rpm", [0.0, 0.1, 0.2], [600.0, 610.0, 620.0])], [signal("oil_temp", [0.05, 0.2], [80.0, 90.0])]],
    )
    answer = read(path)
    offsets = [round(time - START.timestamp(), 6) for time in answer.column("time_s")]
    assert offsets == [0.0, 0.05, 0.1, 0.2]
    assert answer.column("rpm") == [600.0, None, 610.0, 620.0]
    assert answer.column("oil_temp") == [None, 80.0, None, 90.0]


def test_an_mdf4_unit_and_text_are_read_like_those_of_other_formats(read: Read, tmp_path: Path) -> None:
    group = [signal("oil_temp", [0, 1], [32.0, 212.0], "degF"), signal("gear", [0, 1], [b"neutral", b"forward"])]
    answer = read(mdf4(tmp_path / "log.mf4", [group]))
    assert answer.column("oil_temp") == pytest.approx([0.0, 100.0], abs=1e-5)  # NIST SP 811
    assert answer.column("gear") == [0.0, 1.0]


def test_an_mdf4_start_with_an_offset_is_that_instant(read: Read, tmp_path: Path) -> None:
    start = datetime(2026, 6, 14, 13, 10, tzinfo=timezone(timedelta(hours=6)))
    answer = read(
        mdf4(tmp_path / "log.mf4", [[signal("rpm", [0, 1], [600.0, 601.0])]], start), timezone="Pacific/Auckland"
    )
    assert answer.log.started_s == START.timestamp()


def test_an_mdf4_clock_that_was_not_set_is_refused(read: Read, tmp_path: Path) -> None:
    start = datetime(1970, 1, 1, tzinfo=UTC)
    answer = read(mdf4(tmp_path / "log.mf4", [[signal("rpm", [0, 1], [600.0, 601.0])]], start))
    assert answer.codes == ["clock_not_set"]


def test_an_mdf4_file_with_empty_groups_only_is_refused(read: Read, tmp_path: Path) -> None:
    assert read(mdf4(tmp_path / "log.mf4", [[signal("rpm", [], np.array([], dtype=float))]])).codes == ["no_rows"]


def test_an_mdf4_file_cut_at_any_place_is_an_answer_and_never_an_exception(read: Read, tmp_path: Path) -> None:
    whole = mdf4(
        tmp_path / "log.mf4", [[signal("rpm", SECONDS, RPM)], [signal("oil_temp", [0, 1], [80.0, 81.0])]]
    ).read_bytes()
    for share in (0.0, 0.001, 0.02, 0.1, 0.5, 0.9, 0.99):
        cut = tmp_path / "cut.mf4"
        cut.write_bytes(whole[: int(len(whole) * share)])
        answer = read(cut)
        assert answer.codes == ["damaged_file"] or answer.log.status == "taken"


def test_a_file_that_crashes_its_reader_is_a_refusal_and_the_next_one_is_read(
    read: Read, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = mdf4(tmp_path / "log.mf4", [[signal("rpm", [0, 1], [600.0, 601.0])]])
    monkeypatch.setattr(mdf4_log, "_CHILD", mdf4_log._Child())  # noqa: SLF001 - a process of this test's own
    with monkeypatch.context() as broken:
        broken.setattr(mdf4_log, "_SERVE", "import os; os.abort()")
        assert read(path).codes == ["damaged_file"]
    assert read(path).log.status == "taken"


def test_without_the_extra_an_mdf4_log_is_refused_with_how_to_install_it(
    read: Read, write: Write, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "asammdf", None)
    answer = read(write(b"MDF     4.10    ", "a.mf4"))
    assert answer.codes == ["missing_extra"]
    assert "pip install 'morning-watch[mdf4]'" in answer.log.problems[0].way_out


def test_file_endings_are_told_apart_whatever_their_case() -> None:
    assert [log_suffix(Path(name)) for name in ("a.b.CSV", "a.csv.GZ", "a.gz", "a.MF4")] == [
        ".csv",
        ".csv.gz",
        ".gz",
        ".mf4",
    ]
    assert is_log(Path("x.Parquet"))
    assert not is_log(Path("notes.md"))
    assert len(LOG_SUFFIXES) == 11


def test_an_mdf4_file_of_tens_of_groups_is_read_past_the_empty_ones_and_damaged_it_is_an_answer(
    read: Read, tmp_path: Path
) -> None:
    others = [
        [signal(f"x{at}", np.arange(10.0)[: 10 * (at % 2)], np.arange(10.0)[: 10 * (at % 2)])] for at in range(40)
    ]
    slow = [signal("oil_temp", SECONDS[::20], OIL[::20])]
    path = mdf4(tmp_path / "log.mf4", [[signal("rpm", SECONDS, RPM)], *others, slow])
    assert_is_the_frame(read(path))
    whole, draw = path.read_bytes(), np.random.default_rng(1)
    for _ in range(12):
        damaged = bytearray(whole)
        for place in draw.integers(0, len(whole), size=8):
            damaged[place] = draw.integers(256)
        path.write_bytes(bytes(damaged))
        answer = read(path)
        assert answer.codes[:1] == ["damaged_file"] or np.all(np.diff(answer.column("time_s")) > 0)
