"""Text logs, each test named after what is wrong with its file. What is expected are the readers' documented rules."""

from __future__ import annotations

import gzip
import itertools
import random
from collections.abc import Callable
from typing import Any

import pytest
import zstandard

Read = Callable[..., Any]
Write = Callable[..., Any]

PLAIN = "time,rpm,oil_temp\n0.0,600,80\n0.5,610,81\n1.0,620,82\n"
RPM = [600.0, 610.0, 620.0]


def many(rows: int, tail: str = "") -> str:
    """A log of `rows` sound rows, then `tail`."""
    return "time,rpm,oil_temp\n" + "".join(f"{i / 10},{600 + i},80\n" for i in range(rows)) + tail


def test_a_plain_log_is_taken_whole(read: Read, write: Write) -> None:
    answer = read(write(PLAIN))
    assert answer.log.status == "taken"
    assert answer.column("rpm") == RPM
    assert answer.column("time_s")[1] - answer.column("time_s")[0] == 0.5
    assert answer.log.columns == {"port": ("rpm", "oil_temp")}
    assert (answer.log.rows, answer.log.rows_dropped, answer.log.problems) == (3, 0, ())


@pytest.mark.parametrize(
    "content",
    [
        PLAIN.encode("utf-8-sig"),
        PLAIN.encode("utf-16"),
        PLAIN.encode("utf-16-le"),
        PLAIN.encode("utf-16-be"),
        PLAIN.replace("\n", "\r\n").encode(),
        PLAIN.replace("\n", "\r").encode(),
        PLAIN.replace(",", ";").encode(),
        PLAIN.replace(",", "\t").encode(),
        PLAIN.replace(".", ",")
        .replace("time,rpm,oil_temp", "time;rpm;oil_temp")
        .replace("0,600,80", "0;600;80")
        .replace("5,610,81", "5;610;81")
        .replace("0,620,82", "0;620;82")
        .encode(),
        PLAIN.replace("0,6", "0, 6").replace("5,6", "5, 6").encode(),
        PLAIN.replace("600", '"600"').encode(),
        PLAIN.removesuffix("\n").encode(),
        (PLAIN + "\n\n").encode(),
        PLAIN.replace("\n", "\n\n").encode(),
        PLAIN.replace("\n0.5", "\r\n0.5").encode(),
    ],
    ids=[
        "utf8-mark",
        "utf16",
        "utf16-le",
        "utf16-be",
        "crlf",
        "cr",
        "semicolon",
        "tab",
        "decimal-comma",
        "space-after-comma",
        "quoted",
        "no-last-line-end",
        "empty-last-lines",
        "every-second-line-empty",
        "mixed-line-ends",
    ],
)
def test_the_same_rows_written_in_another_dialect_read_the_same(read: Read, write: Write, content: bytes) -> None:
    answer = read(write(content))
    assert answer.log.status == "taken", answer.log.problems
    assert answer.column("rpm") == RPM
    assert answer.column("oil_temp") == [80.0, 81.0, 82.0]
    assert answer.log.rows_dropped == 0


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("2026-06-14_0710.csv.gz", gzip.compress(PLAIN.encode())),
        ("2026-06-14_0710.csv.zst", zstandard.compress(PLAIN.encode())),
        ("2026-06-14_0710.CSV", PLAIN.encode()),
        ("2026-06-14_0710.txt", PLAIN.encode()),
        ("2026-06-14_0710.tsv.gz", gzip.compress(PLAIN.replace(",", "\t").encode())),
        ("2026-06-14_0710.csv.zst", zstandard.compress(PLAIN.encode("utf-16"))),
        ("2026-06-14_0710.csv.gz", gzip.compress(PLAIN.encode("utf-16"))),
    ],
)
def test_a_packed_log_reads_like_the_plain_one(read: Read, write: Write, name: str, content: bytes) -> None:
    assert read(write(content, name)).column("rpm") == RPM


def test_latin_1_header_with_degree_sign_names_its_unit(read: Read, write: Write) -> None:
    content = "time;Oil Temp [°F]\n0;32\n1;212\n".encode("latin-1")
    channel_map = {"time": {"column": "time"}, "oil_temp": {"column": "Oil Temp [°F]", "unit": "degF"}}
    # 32 °F = 0 °C, 212 °F = 100 °C: NIST SP 811.
    assert read(write(content), channel_map).column("oil_temp") == pytest.approx([0.0, 100.0], abs=1e-5)


def test_a_twice_encoded_degree_sign_in_the_header_is_the_degree_sign_of_the_map(read: Read, write: Write) -> None:
    content = "time,Coolant [\u00c2\u00b0C]\n0,20\n1,21\n".encode()
    channel_map = {"time": {"column": "time"}, "coolant_temp": {"column": "Coolant [°C]"}}
    assert read(write(content), channel_map).column("coolant_temp") == [20.0, 21.0]


def test_a_row_of_units_below_the_names_converts_the_columns(read: Read, write: Write) -> None:
    answer = read(write("time,oil_temp,oil_pressure\ns,degF,psi\n0,32,14.7\n1,212,14.7\n"))
    assert answer.column("oil_temp") == pytest.approx([0.0, 100.0], abs=1e-5)
    assert answer.column("oil_pressure") == pytest.approx([101.3529, 101.3529], rel=1e-6)  # NIST SP 811
    assert "unit_from_header" in answer.codes


def test_a_map_that_names_another_unit_than_the_header_counts_and_the_contradiction_is_named(
    read: Read, write: Write
) -> None:
    channel_map = {"time": {"column": "t"}, "oil_temp": {"column": "Oil", "unit": "degC"}}
    answer = read(write("t,Oil [degF]\n0,80\n1,81\n"), channel_map)
    assert answer.column("oil_temp") == [80.0, 81.0]
    assert answer.codes == ["unit_disagrees"]


def test_a_trailing_delimiter_on_every_row_does_not_shift_a_column(read: Read, write: Write) -> None:
    answer = read(write("time,rpm,oil_temp\n0.0,600,80,\n0.5,610,81,\n1.0,620,82,\n"))
    assert answer.column("rpm") == RPM
    assert answer.column("oil_temp") == [80.0, 81.0, 82.0]


def test_a_trailing_delimiter_on_the_header_alone_is_no_column(read: Read, write: Write) -> None:
    assert read(write("time,rpm,oil_temp,\n0.0,600,80\n0.5,610,81\n1.0,620,82\n")).column("oil_temp") == [
        80.0,
        81.0,
        82.0,
    ]


@pytest.mark.parametrize(
    ("rows", "code"), [("0,600\n1,601\n2,602\n", "fields_short"), ("0,1,2,3\n1,2,3,4\n2,2,3,4\n", "fields_long")]
)
def test_rows_of_another_width_than_the_header_are_refused_not_guessed(
    read: Read, write: Write, rows: str, code: str
) -> None:
    answer = read(write("time,rpm,oil_temp\n" + rows))
    assert answer.log.status == "refused"
    assert answer.codes == [code]
    assert answer.log.problems[0].line == 2
    assert "3 fields" in answer.log.problems[0].sentence()


def test_a_last_row_cut_short_is_left_out_and_named_with_its_line(read: Read, write: Write) -> None:
    answer = read(write(many(100, "10.0,7")))
    assert answer.log.rows == 100
    assert answer.log.rows_dropped == 1
    assert [(problem.code, problem.line) for problem in answer.log.problems] == [("cut_last_row", 102)]


def test_a_power_cut_that_filled_the_file_with_zeros_costs_only_the_last_row(read: Read, write: Write) -> None:
    answer = read(write(many(100).encode() + b"10.0,70" + b"\0" * 4096))
    assert (answer.log.status, answer.log.rows) == ("taken", 100)
    assert "cut_last_row" in answer.codes


def test_a_few_ragged_rows_are_left_out_and_named_with_their_lines(read: Read, write: Write) -> None:
    lines = many(400).splitlines()
    lines[200] = "logger restarted"
    lines[300] = "1,2,3,4,5"
    answer = read(write("\n".join(lines) + "\n"))
    assert answer.log.rows == 398
    assert [(problem.code, problem.line) for problem in answer.log.problems] == [
        ("ragged_rows", 201),
        ("ragged_rows", 301),
    ]


def test_many_ragged_rows_refuse_the_log(read: Read, write: Write) -> None:
    lines = many(400).splitlines()
    for at in range(200, 220):
        lines[at] = "1,2"
    answer = read(write("\n".join(lines) + "\n"))
    assert (answer.log.status, answer.codes, answer.log.problems[0].line) == ("refused", ["ragged_rows"], 201)


def test_a_word_in_a_column_of_numbers_costs_the_cell_and_not_the_row(read: Read, write: Write) -> None:
    lines = many(200).splitlines()
    lines[150] = "14.9,error,80"
    answer = read(write("\n".join(lines) + "\n"))
    assert answer.log.rows == 200
    assert answer.column("rpm")[149] is None
    assert answer.column("oil_temp")[149] == 80.0
    assert [(problem.code, problem.line) for problem in answer.log.problems] == [("unreadable_cells", 151)]


@pytest.mark.parametrize("token", ["", "NaN", "n/a", "-", "null", "inf", "-inf", "1e999"])
def test_what_is_no_finite_number_is_null(read: Read, write: Write, token: str) -> None:
    answer = read(write(f"time,rpm,oil_temp\n0.0,600,80\n0.5,{token},81\n1.0,620,82\n"))
    assert answer.column("rpm") == [600.0, None, 620.0]
    assert answer.column("oil_temp") == [80.0, 81.0, 82.0]


def test_a_late_not_a_number_token_is_null_too(read: Read, write: Write) -> None:
    lines = many(400).splitlines()
    lines[300] = "29.9,n/a,80"
    answer = read(write("\n".join(lines) + "\n"))
    assert answer.log.rows == 400
    assert answer.column("rpm")[299] is None


def test_staircase_blanks_before_each_channel_was_polled_are_nulls(read: Read, write: Write) -> None:
    answer = read(write("time,rpm,oil_temp,battery\n0,600,,\n1,601,80,\n2,602,81,12.5\n"))
    assert answer.column("oil_temp") == [None, 80.0, 81.0]
    assert answer.column("battery") == [None, None, 12.5]


def test_metadata_above_the_header_gives_the_start_and_is_no_data(read: Read, write: Write) -> None:
    content = "# Logger: bench\n# Start: 2026-06-14T07:10:00Z\n# Sample time: 0.5\n" + PLAIN
    answer = read(write(content, "anything.csv"))
    assert answer.column("time_s")[0] == 1781421000.0  # 2026-06-14T07:10:00Z
    assert not answer.log.start_assumed


def test_metadata_longer_than_the_first_look_is_read_on(read: Read, write: Write) -> None:
    content = "".join(f"Setting {i},{i * 3}\n" for i in range(1500)) + many(100)
    assert read(write(content)).column("rpm")[:2] == [600.0, 601.0]


def test_a_header_cell_with_a_line_break_in_quotes_is_one_cell(read: Read, write: Write) -> None:
    channel_map = {"time": {"column": "time"}, "rpm": {"column": "Engine speed"}}
    answer = read(write('time,"Engine\nspeed"\n0.0,600\n0.5,610\n1.0,620\n'), channel_map)
    assert answer.column("rpm") == RPM


def test_a_stray_quote_does_not_swallow_the_rest_of_the_log(read: Read, write: Write) -> None:
    lines = many(600).splitlines()
    lines[500] = '49.9,"1099,80'
    answer = read(write("\n".join(lines) + "\n"))
    assert answer.log.rows == 600
    assert answer.column("rpm")[499] is None


def test_two_columns_of_one_name_are_named_and_the_first_is_taken(read: Read, write: Write) -> None:
    channel_map = {"time": {"column": "t"}, "rpm": {"column": "n"}}
    answer = read(write("t,n,n\n0,1,9\n1,2,9\n"), channel_map)
    assert answer.column("rpm") == [1.0, 2.0]
    assert answer.codes == ["ambiguous_column"]


@pytest.mark.parametrize(
    ("content", "name", "code"),
    [
        ("", "a.csv", "empty_file"),
        ("\n\n\n", "a.csv", "empty_file"),
        (b"\0" * 9000, "a.csv", "empty_file"),
        ("time,rpm\n", "a.csv", "no_header"),
        ("just a note\nabout nothing\n", "a.csv", "no_header"),
        ("0,600\n1,601\n2,602\n", "a.csv", "no_header"),
        (gzip.compress(PLAIN.encode())[:-12], "a.csv.gz", "damaged_file"),
        (b"no archive at all", "a.csv.gz", "damaged_file"),
        (b"no archive at all", "a.csv.zst", "damaged_file"),
        (b"%PDF-1.7 ...", "a.pdf", "unknown_format"),
        ("speed,angle\n1,2\n3,4\n", "a.csv", "no_time"),
        ("time,angle\n1,2\n3,4\n", "a.csv", "no_channel"),
        ("time,rpm\nnever,1\nalways,2\n", "a.csv", "time_unreadable"),
    ],
)
def test_what_cannot_be_a_log_is_refused_with_a_way_out(
    read: Read, write: Write, content: str | bytes, name: str, code: str
) -> None:
    answer = read(write(content, name))
    assert answer.log.status == "refused"
    assert answer.codes[0] == code
    assert answer.log.problems[0].way_out
    assert answer.log.problems[0].file == f"inbox/petrel/{name}"


def test_names_repeated_where_the_logger_restarted_are_passed_over(read: Read, write: Write) -> None:
    lines = many(200).splitlines()
    lines[100:100] = [lines[0]]
    answer = read(write("\n".join(lines) + "\n"))
    assert (answer.log.rows, answer.log.rows_dropped) == (200, 0)
    assert [(problem.code, problem.line) for problem in answer.log.problems] == [("repeated_header", 101)]
    assert answer.column("rpm") == [600.0 + row for row in range(200)]


def test_any_damage_is_an_answer_with_times_that_rise_and_counts_that_fit(read: Read, write: Write) -> None:
    draw = random.Random(20260614)  # noqa: S311 - damage, not secrets
    whole = many(120).encode()
    for _ in range(60):
        damaged = bytearray(whole)
        for _ in range(draw.choice([1, 3, 20])):
            place = draw.randrange(len(damaged))
            damaged[place : place + draw.choice([0, 1, 40])] = draw.choice(
                [b"", b",", b"\n", b'"', b"\0", b"\xff", b"9" * 30]
            )
        answer = read(write(bytes(damaged)))
        times = answer.column("time_s")
        assert all(here < there for here, there in itertools.pairwise(times))
        assert len(times) == answer.log.rows
        assert answer.log.status == "taken" or answer.log.problems


def test_wildcards_in_a_file_name_do_not_read_its_neighbours(read: Read, write: Write) -> None:
    write(PLAIN, "2026-06-14_0710 log-b.csv")
    for name in ("2026-06-14_0710 log*.csv", "2026-06-14_0710 log?b.csv", "2026-06-14_0710 log[-]b.csv", "it's 1.csv"):
        assert read(write(PLAIN, name)).column("rpm") == RPM


def test_bytes_of_every_kind_are_an_answer_and_never_an_exception(read: Read, write: Write) -> None:
    every_byte = bytes(range(256)) * 40
    for content in (every_byte, PLAIN.encode() + every_byte, every_byte + PLAIN.encode(), b"\xff\xfe" + every_byte):
        assert read(write(content)).log.status in {"taken", "refused"}
