"""Whose log a file is, told from where it stands, and what a log is known by."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline.inbox import Place, Places, log_id
from pipeline.inbox_files import scan
from pipeline.problems import Problem
from pipeline.register import load_register

if TYPE_CHECKING:
    from tests.store.conftest import Fleet


def _places(fleet: Fleet) -> dict[str, Place | Problem]:
    places = Places(load_register(fleet.folder))
    return {each.file.removeprefix("inbox/"): places.of(each) for each in scan(fleet.folder)}


def _engines(place: Place | Problem) -> list[str]:
    assert isinstance(place, Place)
    return [engine.engine_id for engine in place.engines]


def test_a_log_is_known_by_the_blake2b_digest_of_its_bytes(tmp_path: Path) -> None:
    path = tmp_path / "abc"
    path.write_bytes(b"abc")
    # RFC 7693, appendix A: BLAKE2b-512("abc") begins BA 80 A5 3F 98 1C 4D 0D
    assert log_id(path) == "ba80a53f981c4d0d"


@pytest.mark.parametrize(
    ("name", "engines"),
    [
        ("petrel/one.csv", ["petrel/port", "petrel/starboard"]),
        ("petrel/port/one.csv", ["petrel/port"]),
        ("petrel/2026-06/Starboard/one.csv", ["petrel/starboard"]),
        ("petrel/port/2026-06/one.csv", ["petrel/port"]),
        ("petrel/main/one.csv", ["petrel/port", "petrel/starboard"]),
        ("heron/one.csv", ["heron/main"]),
    ],
)
def test_a_folder_named_after_an_engine_narrows_the_log_to_it(fleet: Fleet, name: str, engines: list[str]) -> None:
    fleet.log(name)
    assert _engines(_places(fleet)[name]) == engines


def test_files_come_in_the_order_of_their_names(fleet: Fleet) -> None:
    for name in ("petrel/b.csv", "heron/z.csv", "petrel/a.csv"):
        fleet.log(name)
    assert [each.file for each in scan(fleet.folder)] == [
        "inbox/heron/z.csv",
        "inbox/petrel/a.csv",
        "inbox/petrel/b.csv",
    ]


@pytest.mark.parametrize(
    ("name", "code", "way_out"),
    [
        ("loose.csv", "inbox_no_boat", "petrel"),
        ("Petrel/one.csv", "inbox_unknown_boat", "Did you mean petrel?"),
        ("whale/one.csv", "inbox_unknown_boat", "add the boat to fleet.toml"),
    ],
)
def test_a_file_in_no_boats_folder_is_a_problem_with_its_way_out(
    fleet: Fleet, name: str, code: str, way_out: str
) -> None:
    fleet.log(name)
    problem = _places(fleet)[name]
    assert isinstance(problem, Problem)
    assert problem.code == code
    assert way_out in problem.way_out


def test_a_name_that_is_not_text_is_a_problem_and_not_a_crash(fleet: Fleet) -> None:
    folder = fleet.path("heron")
    folder.mkdir()
    (Path(os.fsdecode(os.fsencode(folder) + b"/caf\xe9.csv"))).write_text("", encoding="utf-8")
    problem = _places(fleet)["heron/caf\\xe9.csv"]
    assert isinstance(problem, Problem)
    assert problem.code == "inbox_name"
    assert [refusal.file for refusal in fleet.ingest().refused] == ["inbox/heron/caf\\xe9.csv"]


def test_the_reading_key_changes_with_the_map_the_engines_and_the_zone_only(fleet: Fleet) -> None:
    fleet.log("petrel/port/one.csv")
    register = (fleet.folder / "fleet.toml").read_text(encoding="utf-8")

    def key(changed: str) -> str:
        fleet.register(changed)
        place = _places(fleet)["petrel/port/one.csv"]
        assert isinstance(place, Place)
        return place.reading_key

    now = key(register)
    assert key(register.replace('name = "Test"', 'name = "Other"')) == now
    assert key(register.replace('id = "starboard"', 'id = "stbd"')) == now
    changed = [
        register.replace('column = "oil"', 'column = "Oil"'),
        register.replace('timezone = "UTC"', 'timezone = "Pacific/Auckland"'),
        register.replace('id = "port"', 'id = "port"\nlabel = "P"'),
    ]
    assert len({now, *(key(each) for each in changed)}) == 4
