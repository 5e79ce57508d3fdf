"""The start of a fleet loads as it stands, and nothing that was there before is touched."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from pipeline.register import RegisterError, Started, init_fleet, load_register, starter_toml
from pipeline.register.tables import (
    BoatTable,
    EngineTable,
    FleetTable,
    LimitOverride,
    MapEntry,
    RegisterFile,
    Service,
)

if TYPE_CHECKING:
    from pathlib import Path


def test_a_new_fleet_has_its_folder_its_inbox_and_a_register_that_loads(tmp_path: Path) -> None:
    folder = tmp_path / "my fleet"
    started = init_fleet(folder)

    assert started == Started(made=(folder, folder / "inbox", folder / "fleet.toml"), kept=())
    assert sorted(path.name for path in folder.iterdir()) == ["fleet.toml", "inbox"]
    register = load_register(folder, frozenset({"shift_reach_error"}))
    assert [engine.engine_id for engine in register.engines()] == ["boat-1/main"]
    assert register.limits == {}


def test_the_register_still_loads_with_every_option_taken_up(tmp_path: Path) -> None:
    (tmp_path / "fleet.toml").write_text(re.sub(r"(?m)^#(?=\S)", "", starter_toml()), encoding="utf-8")

    register = load_register(tmp_path, frozenset({"shift_reach_error"}))

    assert register.limits["shift_reach_error"].hold == 2.0
    assert len(register.channel_maps["logger"]) == 7
    assert register.engine("boat-1/main").label == "Main"
    assert register.engine("boat-1/main").service is not None


def test_the_register_shows_every_key_there_is() -> None:
    tables = (RegisterFile, FleetTable, LimitOverride, MapEntry, BoatTable, EngineTable, Service)
    keys = {key for table in tables for key in table.model_fields} - {"simulated"}

    assert [key for key in sorted(keys) if not re.search(rf"\b{key}\b", starter_toml())] == []


def test_starting_a_fleet_again_keeps_what_is_there(tmp_path: Path) -> None:
    register = tmp_path / "fleet.toml"
    register.write_text("mine\n")
    log = tmp_path / "inbox" / "petrel" / "log.csv"
    log.parent.mkdir(parents=True)
    log.write_text("time,rpm\n")

    started = init_fleet(tmp_path)

    assert started == Started(made=(), kept=(tmp_path, tmp_path / "inbox", register))
    assert register.read_text() == "mine\n"
    assert log.read_text() == "time,rpm\n"


def test_what_is_lacking_is_made(tmp_path: Path) -> None:
    (tmp_path / "fleet.toml").write_text("mine\n")

    assert init_fleet(tmp_path).made == (tmp_path / "inbox",)


def test_a_file_in_the_place_of_the_folder_is_said_and_kept(tmp_path: Path) -> None:
    blocked = tmp_path / "fleet"
    blocked.write_text("a file")

    with pytest.raises(RegisterError, match="cannot be made"):
        init_fleet(blocked)
    assert blocked.read_text() == "a file"
