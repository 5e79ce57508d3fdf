"""`export`: every table in every format, the promised columns, times with offset, nothing that a spreadsheet runs."""

from __future__ import annotations

import csv
import json
import re
from dataclasses import fields
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from season_maker import made_withheld

from pipeline import exports
from pipeline.findings import Evidence, Finding, as_json

if TYPE_CHECKING:
    from conftest import Ask, Run

PROMISED = {
    "shifts": "boat engine log started_at from_gear to_gear target_pct settled_pct reach_error_pct transit_s battery_v "
    "temp_c withheld",
    "idle_windows": "boat engine log started_at duration_s gear temp_c rpm_mean rpm_sd integral_pct fuel_trim_pct "
    "thermal withheld",
    "readings": "boat engine indicator facet at value unit n withheld",
    "logs": "log file boat started_at seconds rows status reason",
    "runs": "boat engine log started_at",
    "findings": "boat engine indicator facet status value unit says do",
    "notes": "boat engine at kind text",
}


def _exported(run: Run, fleet: Path, table: str, file: Path) -> list[dict[str, Any]]:
    result = run("export", table, "--fleet", fleet, "--as-of", "2026-06-14", "-o", file)
    assert (result.exit_code, result.stdout) == (0, "")
    if file.suffix == ".parquet":
        return list(pq.read_table(file).to_pylist())
    text = file.read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines())) if file.suffix == ".csv" else list(json.loads(text))


@pytest.mark.parametrize("table", PROMISED)
def test_every_table_has_its_columns_and_the_same_rows_in_every_format(
    run: Run, fleet: Path, tmp_path: Path, table: str
) -> None:
    rows, packed, read = (_exported(run, fleet, table, tmp_path / f"t{end}") for end in (".json", ".parquet", ".csv"))

    assert packed == rows
    assert len(read) == len(rows)
    if table != "notes":
        assert rows
    for row, text in zip(rows, read, strict=True):
        assert set(PROMISED[table].split()) <= set(row)
        assert text == {name: _as_csv(value) for name, value in row.items()}


def _as_csv(value: object) -> str:
    return "" if value is None else str(value).lower() if isinstance(value, bool) else str(value)


def test_an_empty_table_still_has_its_columns(run: Run, fleet: Path, tmp_path: Path) -> None:
    _exported(run, fleet, "notes", tmp_path / "notes.csv")

    assert (
        (tmp_path / "notes.csv").read_text(encoding="utf-8").startswith("note,boat,engine,at,kind,text,author,until,")
    )


@pytest.mark.parametrize("table", ["logs", "runs", "shifts", "idle_windows", "readings"])
def test_times_are_iso_8601_with_the_fleets_offset(run: Run, fleet: Path, tmp_path: Path, table: str) -> None:
    column = "at" if table == "readings" else "started_at"

    times = [row[column] for row in _exported(run, fleet, table, tmp_path / "t.json") if row[column] is not None]

    assert times
    assert all(re.fullmatch(r"2026-06-\d\dT\d\d:\d\d:\d\d\.\d{3}\+01:00", at) for at in times)


def test_rows_of_one_log_are_found_by_it_in_every_table(run: Run, fleet: Path, tmp_path: Path) -> None:
    logs = {row["log"]: row["file"] for row in _exported(run, fleet, "logs", tmp_path / "t.json") if row["log"]}

    for table in ("runs", "shifts", "idle_windows"):
        found = {(row["log"], row["file"]) for row in _exported(run, fleet, table, tmp_path / "t.json")}
        assert found <= set(logs.items())


def test_nothing_later_than_the_moment_asked_for_is_exported(run: Run, fleet: Path, tmp_path: Path) -> None:
    file = tmp_path / "shifts.json"
    run("export", "shifts", "--fleet", fleet, "--as-of", "2026-06-10T12:00", "-o", file)

    times = [datetime.fromisoformat(row["started_at"]) for row in json.loads(file.read_text(encoding="utf-8"))]

    assert times
    assert max(times) <= datetime.fromisoformat("2026-06-10T12:00+01:00")


def test_the_findings_are_those_of_the_check_in_its_order(run: Run, ask: Ask, fleet: Path, tmp_path: Path) -> None:
    boats = ask("check", "--fleet", fleet, "--as-of", "2026-06-14")["boats"]

    rows = _exported(run, fleet, "findings", tmp_path / "t.json")

    shown = [(boat["boat"], found["says"], found["do"]) for boat in boats for found in boat["findings"]]
    assert [(row["boat"], row["says"], row["do"]) for row in rows if row["boat"]] == shown


def test_every_field_of_a_finding_is_exported() -> None:
    empty = {field.name: None for field in fields(Finding)} | {"because": (), "also": ()}
    known = as_json(Finding(**empty | {"evidence": Evidence(0, 0, ())}))

    assert set(known) - {"evidence"} | {"n", "runs", "logs"} <= set(exports.FINDINGS.names)


def test_notes_are_exported_where_no_log_has_been_read(run: Run, fleet: Path, tmp_path: Path) -> None:
    (tmp_path / "inbox" / "curlew").mkdir(parents=True)
    (tmp_path / "inbox" / "curlew" / "new.csv").write_text("time,rpm\n0,600\n", encoding="utf-8")
    (tmp_path / "fleet.toml").write_bytes((fleet / "fleet.toml").read_bytes())
    run("note", "--fleet", tmp_path, "--boat", "curlew", "--kind", "remark", "looked at")

    assert run("export", "notes", "--fleet", tmp_path, "-o", tmp_path / "notes.json").exit_code == 0
    (row,) = json.loads((tmp_path / "notes.json").read_text(encoding="utf-8"))

    assert row["text"] == "looked at"
    assert not (tmp_path / "store").exists()


@pytest.mark.parametrize("words", ["=1+1", "+1", "-1", "@sum(a1)", "\tx", "＝1+1"])
def test_text_that_a_spreadsheet_would_run_is_only_text_in_a_csv(
    run: Run, own: Path, tmp_path: Path, words: str
) -> None:
    """First characters as in OWASP's CSV Injection page; the leading apostrophe is its advice."""
    text = f"{words} was seen"
    note = ("note", "--fleet", own, "--boat", "curlew", "--kind", "remark", "--", text)
    assert run(*note).exit_code == 0
    run("export", "notes", "--fleet", own, "-o", tmp_path / "n.csv")
    run("export", "notes", "--fleet", own, "-o", tmp_path / "n.json")

    (row,) = csv.DictReader((tmp_path / "n.csv").read_text(encoding="utf-8").splitlines())
    (kept,) = json.loads((tmp_path / "n.json").read_text(encoding="utf-8"))

    assert kept["text"] == text.strip()
    assert row["text"] == (f"'{text}" if text == text.strip() else text.strip())


def test_numbers_below_zero_stay_numbers_in_a_csv(run: Run, fleet: Path, tmp_path: Path) -> None:
    rows = _exported(run, fleet, "idle_windows", tmp_path / "t.csv")

    assert any(float(row["integral_pct"]) < 0 for row in rows if row["integral_pct"])


def test_what_judgement_withholds_is_said_in_the_row_and_the_rest_stays_empty() -> None:
    withheld = made_withheld("petrel/port", "shift_position", [1], 2)
    shifts = pa.table({"run_id": ["run-000", "run-001"]})
    readings = pa.table(
        {
            "run_id": ["run-001", "run-001", "run-000"],
            "indicator": ["shift_reach_error", "battery_idle", "shift_reach_error"],
            "facet": ["forward", None, "forward"],
        }
    )

    assert exports.with_withheld("shifts", shifts, withheld)["withheld"].to_pylist() == [
        None,
        "reach_error_pct, transit_s, hesitation_s: shift position not believed (made so)",
    ]
    assert exports.with_withheld("readings", readings, withheld)["withheld"].to_pylist() == [
        "shift position not believed (made so)",
        None,
        None,
    ]


def test_another_ending_is_a_usage_error_and_writes_nothing(run: Run, fleet: Path, tmp_path: Path) -> None:
    result = run("export", "logs", "--fleet", fleet, "-o", tmp_path / "logs.xls")

    assert (result.exit_code, result.stdout) == (2, "")
    assert ".csv, .parquet, .json" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_said_without_a_trace(run: Run, fleet: Path, tmp_path: Path) -> None:
    result = run("export", "logs", "--fleet", fleet, "-o", tmp_path / "gone" / "logs.csv")

    assert (result.exit_code, result.stdout) == (2, "")
    assert "gone" in result.stderr
