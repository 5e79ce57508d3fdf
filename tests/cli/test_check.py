"""`check`: boats in order, reasons, what to do; nothing later than the moment asked for; its JSON as promised."""

from __future__ import annotations

import json
import re
import shutil
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import pytest
from pydantic import BaseModel, ConfigDict, Field

if TYPE_CHECKING:
    from conftest import Ask, Run

Status = Literal["hold", "watch", "ready", "unchecked"]
Pattern = Literal["constant", "growing", "step", "scattered", "new"]
ORDER = ["hold", "watch", "unchecked", "ready"]
EVENING = "2026-06-14"


class Strict(BaseModel):
    """Nothing but what is named, of the type that is named."""

    model_config = ConfigDict(extra="forbid", strict=True)


class EvidenceDocument(Strict):
    n: int
    runs: int
    logs: list[str]


class Numbers(Strict):
    indicator: str
    facet: str | None
    status: Status
    value: float | None
    unit: str
    watch: float | None
    hold: float | None
    baseline: float | None
    pattern: Pattern | None
    since: str | None
    per_100_hours: float | None
    hours_to_hold: float | None
    hours_to_hold_low: float | None
    hours_to_hold_high: float | None
    confidence: float | None
    cause: str | None
    says: str
    do: str
    evidence: EvidenceDocument
    # beyond what is promised to the outside
    per_week: float | None
    value_low: float | None
    value_high: float | None
    latest_at: str | None
    days_to_hold: float | None
    because: list[str]
    rather_than: str | None
    also: list[str]
    after_note: str | None
    deferred_until: str | None
    deferred_by: str | None
    deferred_for: str | None


class FindingDocument(Numbers):
    engine: str | None


class FleetFindingDocument(Numbers):
    engines: int


class EngineDocument(Strict):
    engine: str
    status: Status
    hours: float | None
    not_logged: list[str]  # beyond what is promised


class NoteDocument(Strict):
    engine: str | None
    at: str
    kind: str
    text: str
    outcome: str
    runs: int


class ChangeDocument(Strict):
    boat: str
    engine: str | None
    what: str
    turn: Literal["new", "worse", "better", "gone"]
    before: Status | None
    now: Status | None


class BoatDocument(Strict):
    rank: int
    boat: str
    status: Status
    departs: str | None
    last_log: str | None
    engines: list[EngineDocument]
    findings: list[FindingDocument]
    # beyond what is promised
    name: str
    notes: list[NoteDocument]


class MorningDocument(Strict):
    version: Literal[1] = Field(alias="schema")
    fleet: str
    as_of: str
    fleet_findings: list[FleetFindingDocument]
    boats: list[BoatDocument]
    # beyond what is promised
    simulated: bool
    changes: list[ChangeDocument]


def test_the_json_has_the_promised_fields_with_the_promised_types(run: Run, fleet: Path) -> None:
    result = run("check", "--fleet", fleet, "--as-of", EVENING, "--json")

    assert result.exit_code == 0
    found = MorningDocument.model_validate_json(result.stdout)
    assert found.as_of == "2026-06-14T23:59:59+01:00"
    assert sum(len(boat.findings) for boat in found.boats) > 0


def test_boats_stand_by_status_and_each_has_its_worst_engines(ask: Ask, fleet: Path) -> None:
    boats = ask("check", "--fleet", fleet, "--as-of", EVENING)["boats"]

    assert [boat["rank"] for boat in boats] == [1, 2, 3]
    assert [boat["status"] for boat in boats] == sorted((boat["status"] for boat in boats), key=ORDER.index)
    for boat in boats:
        assert boat["status"] == min((engine["status"] for engine in boat["engines"]), key=ORDER.index)
        assert {found["engine"] for found in boat["findings"]} <= {engine["engine"] for engine in boat["engines"]}


def test_times_have_the_offset_of_the_fleets_zone(ask: Ask, fleet: Path) -> None:
    boats = ask("check", "--fleet", fleet, "--as-of", EVENING)["boats"]

    assert all(re.fullmatch(r"2026-06-\d\dT\d\d:\d\d:\d\d\+01:00", boat["last_log"]) for boat in boats)


def test_a_time_without_an_offset_is_local_to_the_fleet(ask: Ask, fleet: Path) -> None:
    local, zoned = (
        ask("check", "--fleet", fleet, "--as-of", moment)
        for moment in ("2026-06-12T09:00", "2026-06-12T08:00:00+00:00")
    )

    assert local["as_of"] == "2026-06-12T09:00:00+01:00"
    assert local == zoned


def test_a_moment_that_is_none_is_a_usage_error(run: Run, fleet: Path) -> None:
    result = run("check", "--fleet", fleet, "--as-of", "yesterday")

    assert (result.exit_code, result.stdout) == (2, "")
    assert "'yesterday' is neither a date (2026-06-14) nor an ISO 8601 time" in result.stderr


@pytest.mark.parametrize("asked", ["2026-06-11", "2026-06-10T09:30"])
def test_a_morning_in_the_past_is_as_if_nothing_had_come_later(
    run: Run, ask: Ask, fleet: Path, tmp_path: Path, asked: str
) -> None:
    """The same fleet twice: one with everything that came later, logs and a note; one that never had it."""
    cut = datetime.fromisoformat(asked if "T" in asked else f"{asked}T23:59:59.999")
    later, never = tmp_path / "later", tmp_path / "never"
    shutil.copytree(fleet, later)
    shutil.copytree(fleet, never, ignore=shutil.ignore_patterns("store"))
    run("note", "--fleet", later, "--boat", "curlew", "--kind", "rebaseline", "all is well")
    for log in _logs(run, fleet, tmp_path):
        ended = datetime.fromisoformat(log["started_at"]).replace(tzinfo=None) + timedelta(seconds=log["seconds"])
        if ended > cut:
            (never / log["file"]).unlink()
    assert run("ingest", "--fleet", never).exit_code in {0, 3}

    mornings = [ask("check", "--fleet", each, "--as-of", asked) for each in (later, never)]

    assert mornings[0] == mornings[1]
    assert mornings[0] != ask("check", "--fleet", fleet, "--as-of", EVENING)


def _logs(run: Run, fleet: Path, tmp_path: Path) -> list[dict[str, Any]]:
    file = tmp_path / "logs.parquet"
    run("export", "logs", "--fleet", fleet, "-o", file)
    import pyarrow.parquet as pq  # noqa: PLC0415 - only this test reads what was exported

    return [row for row in pq.read_table(file).to_pylist() if row["status"] == "taken"]


def test_fail_on_ends_with_1_where_a_boat_stands_there_or_worse(run: Run, ask: Ask, fleet: Path) -> None:
    held = ask("check", "--fleet", fleet, "--as-of", EVENING)["boats"][0]["status"]

    assert held == "hold"
    assert run("check", "--fleet", fleet, "--as-of", EVENING, "--fail-on", "hold").exit_code == 1
    assert run("check", "--fleet", fleet, "--as-of", EVENING, "--fail-on", "watch").exit_code == 1
    assert run("check", "--fleet", fleet, "--as-of", EVENING, "--fail-on", "ready").exit_code == 2


def test_fail_on_does_not_count_boats_that_nobody_has_checked(run: Run, tmp_path: Path) -> None:
    run("init", tmp_path / "new")

    result = run("check", "--fleet", tmp_path / "new", "--fail-on", "watch")

    assert result.exit_code == 0
    assert "? UNCHECKED" in result.stdout
    assert "READY" not in result.stdout


def test_the_list_has_symbol_word_reason_and_what_to_do_for_each_boat(run: Run, ask: Ask, fleet: Path) -> None:
    document = ask("check", "--fleet", fleet, "--as-of", EVENING)
    text = run("check", "--fleet", fleet, "--as-of", EVENING).stdout

    flat = " ".join(text.split())
    places = [flat.index(f" {boat['name']} ") for boat in document["boats"]]
    assert places == sorted(places)
    for boat in document["boats"]:
        mark = {"hold": "■ HOLD", "watch": "▲ WATCH", "unchecked": "? UNCHECKED", "ready": "● READY"}[boat["status"]]
        assert f"{boat['rank']} {mark} {boat['name']}" in flat
        for found in boat["findings"][:4]:
            assert found["says"].split(": ")[-1].split("; ")[0].rstrip(".") in flat
            assert found["do"] in flat
    assert "simulated data" in flat
    assert "licensed technician decides" in flat


@pytest.mark.parametrize("columns", [60, 80, 160])
def test_no_line_is_wider_than_the_terminal_or_than_the_eye_follows(run: Run, fleet: Path, columns: int) -> None:
    text = run("check", "--fleet", fleet, "--as-of", EVENING, COLUMNS=str(columns)).stdout

    assert max(len(line) for line in text.splitlines()) <= min(columns, 100)


def test_what_to_do_is_not_said_twice_under_one_boat(run: Run, fleet: Path) -> None:
    text = run("check", "--fleet", fleet, "--as-of", EVENING).stdout

    for boat in re.split(r"\n(?= +\d+  \S )", text):
        said = re.findall(r"Do: ((?!as above).+?)(?=\n     \S|\n\n|\Z)", boat, re.DOTALL)
        assert len(said) == len(set(said))


def test_colour_comes_on_top_of_symbol_and_word_and_can_be_turned_off(run: Run, fleet: Path) -> None:
    words = ("check", "--fleet", fleet, "--as-of", EVENING)

    coloured, plain, piped = (
        run(*words, FORCE_COLOR="1", TERM="xterm-256color").stdout,
        run(*words, FORCE_COLOR="1", TERM="xterm-256color", NO_COLOR="1").stdout,
        run(*words).stdout,
    )

    colour = re.compile(r"\x1b\[[\d;]*3\dm")
    assert colour.search(coloured)
    assert not colour.search(plain)
    assert "\x1b" not in piped
    assert re.sub(r"\x1b\[[\d;]*m", "", coloured) == piped


def test_a_bad_line_of_the_schedule_is_a_warning_beside_the_answer(run: Run, own: Path) -> None:
    (own / "schedule.csv").write_text("boat,departs,note\ncurlew,soon,\n", encoding="utf-8")

    result = run("check", "--fleet", own, "--as-of", EVENING, "--json")

    assert result.exit_code == 0
    assert json.loads(result.stdout)["boats"]
    assert "schedule.csv, line 2" in result.stderr
