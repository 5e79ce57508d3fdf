"""Departures from `schedule.csv`: local times, and one bad line never hides the others."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest

from pipeline.register import Register, Schedule, load_register, load_schedule

if TYPE_CHECKING:
    from pathlib import Path

FLEET = """
[fleet]
name = "Fleet"
timezone = "Pacific/Auckland"
[[boat]]
id = "petrel"
[[boat]]
id = "gannet"
"""


@pytest.fixture
def register(tmp_path: Path) -> Register:
    (tmp_path / "fleet.toml").write_text(FLEET)
    return load_register(tmp_path)


def _read(register: Register, text: str) -> Schedule:
    (register.folder / "schedule.csv").write_text(text, encoding="utf-8")
    return load_schedule(register)


def test_a_fleet_without_a_schedule_has_an_empty_one(register: Register) -> None:
    assert load_schedule(register) == Schedule()
    assert _read(register, "") == Schedule()
    assert _read(register, "boat,departs,note\n") == Schedule()


def test_times_without_an_offset_are_local_to_the_fleet(register: Register) -> None:
    schedule = _read(
        register,
        "\ufeffBoat, departs ,note\n"
        'petrel,2026-06-15T09:30,"two guests, one dog"\n'
        "\n"
        "petrel,2026-06-14 20:30:00Z,\n"
        "gannet,2026-01-15T08:00:00+01:00\n",
    )

    assert schedule.problems == ()
    # New Zealand is at +12:00 in June; tz database, zone Pacific/Auckland.
    assert [(each.departs.isoformat(), each.note) for each in schedule.departures["petrel"]] == [
        ("2026-06-14T20:30:00+00:00", ""),
        ("2026-06-15T09:30:00+12:00", "two guests, one dog"),
    ]
    assert schedule.departures["gannet"][0].departs == datetime(2026, 1, 15, 7, tzinfo=UTC)


def test_the_next_departure_is_the_first_at_or_after_the_moment(register: Register) -> None:
    schedule = _read(register, "boat,departs\npetrel,2026-06-16T10:00Z\npetrel,2026-06-15T10:00Z\n")
    first, second = (datetime(2026, 6, day, 10, tzinfo=UTC) for day in (15, 16))

    assert [schedule.next_departure("petrel", at) for at in (first, second)] == list(schedule.departures["petrel"])
    assert schedule.next_departure("petrel", datetime(2026, 6, 17, tzinfo=UTC)) is None
    assert schedule.next_departure("gannet", first) is None


def test_a_bad_line_is_named_and_the_others_are_kept(register: Register) -> None:
    schedule = _read(
        register,
        "note,boat,departs\n"
        ",petrl,2026-06-15T09:30\n"
        ",petrel,tomorrow\n"
        '"over\ntwo lines",petrel,2026-06-15\n'
        ",petrel\n"
        ",petrel,2026-06-15T09:30\n",
    )

    assert [(problem.line, problem.code) for problem in schedule.problems] == [
        (2, "schedule_boat"),
        (3, "schedule_time"),
        (4, "schedule_time"),
        (6, "schedule_time"),
    ]
    assert "Did you mean petrel?" in schedule.problems[0].way_out
    assert len(schedule.departures["petrel"]) == 1


@pytest.mark.parametrize(("header", "lacking"), [("boat,time", "departs"), ("petrel,2026-06-15T09:30", "boat")])
def test_a_schedule_without_its_columns_is_said(register: Register, header: str, lacking: str) -> None:
    (problem,) = _read(register, f"{header}\n").problems

    assert (problem.line, problem.code, problem.expected) == (1, "schedule_columns", f"a column {lacking}")


def test_a_schedule_that_is_no_text_is_said(register: Register) -> None:
    (register.folder / "schedule.csv").write_bytes(b"boat,departs\nM\xf6we,2026\n")

    schedule = load_schedule(register)

    assert schedule.departures == {}
    assert [problem.code for problem in schedule.problems] == ["schedule_unreadable"]
