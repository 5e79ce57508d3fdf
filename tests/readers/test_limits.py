"""Files that are made to hurt: bombs, endless fields, thousands of columns, odd Parquet. Each is a refusal or harmless.

Limits are `ReadingLimits`, small here so that the files can be small too.
"""

from __future__ import annotations

import decimal
import gzip
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import zstandard

from pipeline.database import scratch
from pipeline.problems import LONGEST_TEXT, legible
from pipeline.readers import LogRead, ReadRequest, read_log
from pipeline.readers.packed import RATIO_FROM
from pipeline.register import Engine, ReadingLimits

Read = Callable[..., Any]
Write = Callable[..., Path]

ENGINE = Engine(boat_id="petrel", id="port", label="port", serial=None, shift_targets=None, service=None, limits={})
PLAIN = b"time,rpm,oil_temp\n0.0,600,80\n0.5,610,81\n1.0,620,82\n"


def within(path: Path, **limits: Any) -> LogRead:
    """A log read under these limits."""
    return read_log(scratch(), ReadRequest(path, f"inbox/{path.name}", (ENGINE,), None, "UTC", ReadingLimits(**limits)))


def refusal(log: LogRead) -> str:
    """Its code; the sentence is short and can be printed."""
    assert log.status == "refused"
    assert log.problems[0].sentence().isprintable()
    assert len(log.problems[0].sentence()) < 4 * LONGEST_TEXT
    return log.problems[0].code


@pytest.mark.parametrize("pack", [lambda raw: gzip.compress(raw, 9), zstandard.compress], ids=["gz", "zst"])
def test_an_archive_that_becomes_too_much_is_given_up_while_it_is_unpacked(
    write: Write, pack: Callable[[bytes], bytes]
) -> None:
    ending = "gz" if pack is not zstandard.compress else "zst"
    rows = b"".join(b"%d,%d\n" % (at, at * 7919 % 6000) for at in range(200_000))
    path = write(pack(b"time,rpm\n" + rows), f"2026-06-14_0710.csv.{ending}")
    assert refusal(within(path, max_mb=1)) == "too_large"


@pytest.mark.parametrize("pack", [lambda raw: gzip.compress(raw, 9), zstandard.compress], ids=["gz", "zst"])
def test_an_archive_that_packs_better_than_any_log_is_a_bomb(write: Write, pack: Callable[[bytes], bytes]) -> None:
    ending = "gz" if pack is not zstandard.compress else "zst"
    path = write(pack(PLAIN + b"\n" * (RATIO_FROM + 1_000_000)), f"2026-06-14_0710.csv.{ending}")
    assert refusal(within(path)) == "packed_too_well"


def test_a_log_whose_channels_all_stand_still_is_no_bomb(write: Write) -> None:
    rows = b"".join(b"%.2f,600,80,12.5,0,0,0,100\n" % (at / 20) for at in range(24_000))
    names = b"time,rpm,oil_temp,battery,pedal,throttle,idle_integral,manifold_pressure\n"
    path = write(gzip.compress(names + rows), "2026-06-14_0710.csv.gz")
    assert within(path).rows == 24_000


def test_a_file_that_is_too_large_as_it_lies_is_not_opened(write: Write) -> None:
    assert refusal(within(write(PLAIN + b"0" * 2_000_000), max_mb=1)) == "too_large"


def test_ten_thousand_columns_are_refused_and_four_thousand_read(write: Write) -> None:
    def wide(columns: int) -> Path:
        names = ",".join(["time", "rpm", *(f"x{at}" for at in range(columns - 2))])
        rows = "".join(f"{at},{600 + at}{',1' * (columns - 2)}\n" for at in range(4))
        return write(f"{names}\n{rows}")

    assert refusal(within(wide(10_000))) == "too_many_columns"
    assert within(wide(4_000)).rows == 4


def test_more_rows_than_a_log_may_have_are_refused(write: Write) -> None:
    path = write("time,rpm\n" + "".join(f"{at},600\n" for at in range(50)))
    assert refusal(within(path, max_rows=49)) == "too_many_rows"
    assert within(path, max_rows=50).rows == 50


def test_more_memory_than_a_log_may_take_is_a_refusal_and_the_next_log_is_read(write: Write) -> None:
    rows = "".join(f"{at / 100},{at % 6000},80\n" for at in range(200_000))
    path = write(f"time,rpm,oil_temp\n{rows}")
    assert refusal(within(path, max_memory_mb=1)) == "too_large"
    assert within(path).rows == 200_000


def test_a_name_of_a_million_letters_does_not_reach_a_message(write: Write) -> None:
    assert refusal(within(write(f"time,{'a' * 1_000_000}\n0,1\n1,2\n"))) == "no_header"
    assert refusal(within(write(f"time,{'a' * 100_000}\n0,1\n1,2\n2,3\n"))) == "no_channel"


def test_a_field_of_megabytes_costs_its_row_or_the_log_and_nothing_else(write: Write) -> None:
    rows = [f"{at / 10},{600 + at},x" for at in range(400)]
    rows[300] = f"30.0,900,{'y' * 3_000_000}"
    log = within(write("time,rpm,note\n" + "\n".join(rows) + "\n"))
    assert log.status == "refused" or log.rows >= 399


def test_a_message_shows_what_moves_the_cursor_as_its_code() -> None:
    assert legible("a\x1b[2J\u202eb\n") == "a\\x1b[2J\\u202eb\\n"
    assert legible("a\u00a0°C – ok") == "a\u00a0°C – ok"
    assert len(legible("x" * 10_000)) <= LONGEST_TEXT


def parquet(folder: Path, **columns: Any) -> Path:
    """A Parquet log of two rows."""
    path = folder / "2026-06-14_0710.parquet"
    pq.write_table(pa.table({"time": [0.0, 1.0], "rpm": [600, 610], **columns}), path)
    return path


ODD_COLUMNS = {
    "decimal128": pa.array([decimal.Decimal("80.5"), decimal.Decimal("81.25")], pa.decimal128(38, 10)),
    "dictionary": pa.array(["80.5", "81.25"]).dictionary_encode(),
    "struct": pa.array([{"a": 1}, {"a": 2}]),
    "list": pa.array([[1.0], [2.0]]),
    "map": pa.array([[("a", 1)], [("b", 2)]], pa.map_(pa.string(), pa.int64())),
    "binary": pa.array([b"\0\xff", b"80"]),
    "time": pa.array([1, 2], pa.time64("us")),
    "null": pa.array([None, None]),
    "half": pa.array([80.5, 81.25], pa.float16()),
}


@pytest.mark.parametrize("kind", ODD_COLUMNS)
def test_a_parquet_column_of_any_type_is_read_or_null(read: Read, tmp_path: Path, kind: str) -> None:
    answer = read(parquet(tmp_path, oil_temp=ODD_COLUMNS[kind]))
    assert answer.log.status == "taken"
    assert answer.column("rpm") == [600, 610]
    numbers = {"decimal128", "dictionary", "half"}
    wanted = [80.5, 81.25] if kind in numbers else [None, 80.0] if kind == "binary" else [None, None]
    assert answer.column("oil_temp") == wanted


@pytest.mark.parametrize(
    "name", ['a"b', "a'; drop table log_rows; --", "=1+1", "\u202ex", "x" * 100_000, "a\nb", "<b>"]
)
def test_a_parquet_column_of_any_name_is_passed_over(read: Read, tmp_path: Path, name: str) -> None:
    assert read(parquet(tmp_path, **{name: [1, 2]})).column("rpm") == [600, 610]


def test_a_few_bytes_of_parquet_that_stand_for_millions_of_rows_are_refused_by_what_they_claim(tmp_path: Path) -> None:
    path = tmp_path / "2026-06-14_0710.parquet"
    column = pa.array([0] * 2_000_000, pa.int8())
    pq.write_table(pa.table({"time": column, "rpm": column}), path)
    assert path.stat().st_size < 20_000
    assert refusal(within(path, max_rows=1_000_000)) == "too_many_rows"


def test_a_parquet_file_with_too_many_columns_is_refused(tmp_path: Path) -> None:
    path = parquet(tmp_path, **{f"x{at}": [1, 2] for at in range(30)})
    assert refusal(within(path, max_columns=20)) == "too_many_columns"


def test_a_parquet_file_with_a_locked_footer_is_refused_as_such(read: Read, write: Write) -> None:
    assert read(write(b"PARE" + b"\0" * 60 + b"PARE", "a.parquet")).codes == ["encrypted_file"]


def test_an_mdf4_file_beyond_the_limits_is_refused(tmp_path: Path) -> None:
    asammdf = pytest.importorskip("asammdf", reason="asammdf, the MDF4 extra, is not installed")
    path = tmp_path / "log.mf4"
    with asammdf.MDF(version="4.10") as file:
        file.append([asammdf.Signal([600.0] * 50, [float(at) for at in range(50)], name=name) for name in "abc"])
        file.save(path, overwrite=True)
    assert refusal(within(path, max_rows=49)) == "too_many_rows"
    assert refusal(within(path, max_columns=2)) == "too_many_columns"
    assert refusal(within(path, max_mb=0.0001)) == "too_large"
