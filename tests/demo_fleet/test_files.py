"""What lands in the fleet folder: the same bytes for the same seed, readable logs, a valid register, the truth."""

from __future__ import annotations

import hashlib
import json
import tomllib
from datetime import date, datetime
from typing import TYPE_CHECKING

import pyarrow.parquet
import pytest

from demo_fleet import build, shares
from demo_fleet.build import build_varied, yesterday
from demo_fleet.damaged import DAMAGED
from demo_fleet.loggers import CHANNELS as LOGGED
from demo_fleet.loggers import LOGGERS
from demo_fleet.notes import simulated_notes
from demo_fleet.scenario import Variation, draw_scenario
from pipeline.channels import CHANNELS
from pipeline.database import rows, scratch
from pipeline.logbook import Kind
from pipeline.readers import ReadRequest, read_log
from pipeline.register import Boat, load_register

if TYPE_CHECKING:
    from pathlib import Path

LAST_DAY = date(2026, 6, 14)


def prints(folder: Path) -> dict[str, str]:
    """The hash of every file below a folder."""
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def whole_logs(folder: Path) -> list[Path]:
    return sorted(path for path in (folder / "inbox").rglob("*") if path.is_file() and path.name not in DAMAGED)


def request(folder: Path, log: Path, boat: Boat, timezone: str) -> ReadRequest:
    register = load_register(folder)
    held = tuple(engine for engine in boat.engines if engine.id == log.parent.name) or boat.engines
    channel_map = register.channel_maps.get(boat.channel_map) if boat.channel_map else None
    return ReadRequest(log, log.name, held, channel_map, timezone)


def test_the_same_seed_writes_the_same_bytes(tiny_fleet: Path, tmp_path: Path) -> None:
    build(tmp_path, boats=3, days=5, seed=4, last_day=LAST_DAY)
    assert prints(tmp_path) == prints(tiny_fleet)


def test_another_seed_writes_other_logs(tiny_fleet: Path, tmp_path: Path) -> None:
    build(tmp_path, boats=1, days=3, seed=5, last_day=LAST_DAY)
    assert not set(prints(tmp_path / "inbox").values()) & set(prints(tiny_fleet / "inbox").values())


def test_the_files_do_not_depend_on_how_many_processes_wrote_them(
    tiny_fleet: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shares, "LANES_WORTH_A_PROCESS", 5)
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    build(tmp_path, boats=3, days=5, seed=4, last_day=LAST_DAY)
    assert prints(tmp_path) == prints(tiny_fleet)


def test_a_new_season_replaces_the_earlier_one_but_nothing_of_a_person(tmp_path: Path) -> None:
    build(tmp_path, boats=1, days=2, seed=5, last_day=LAST_DAY)
    first = prints(tmp_path / "inbox")
    own = tmp_path / "inbox" / "curlew" / "brought_by_hand.csv"
    own.write_text("time,rpm\n0,600\n")
    (tmp_path / "logbook.sqlite").write_bytes(b"notes")
    (tmp_path / "store").mkdir()
    build(tmp_path, boats=1, days=2, seed=6, last_day=LAST_DAY)
    now = prints(tmp_path / "inbox")
    assert not set(first.values()) & set(now.values())
    assert own.exists()
    assert (tmp_path / "logbook.sqlite").read_bytes() == b"notes"
    assert not (tmp_path / "store").exists()


def test_a_fleet_that_is_not_simulated_is_never_written_over(tmp_path: Path) -> None:
    register = '[fleet]\nname = "Real"\ntimezone = "UTC"\n'
    (tmp_path / "fleet.toml").write_text(register)
    (tmp_path / "store").mkdir()
    with pytest.raises(FileExistsError, match="not simulated"):
        build(tmp_path, boats=1, days=1, last_day=LAST_DAY)
    assert (tmp_path / "fleet.toml").read_text() == register
    assert (tmp_path / "store").exists()


@pytest.mark.parametrize("days", [1, 2])
def test_the_shortest_seasons_can_be_built(days: int, tmp_path: Path) -> None:
    build(tmp_path, boats=2, days=days, seed=3, last_day=LAST_DAY)
    assert whole_logs(tmp_path)


def test_progress_ends_at_the_whole(tmp_path: Path) -> None:
    heard: list[tuple[int, int]] = []
    build(
        tmp_path, boats=1, days=3, seed=5, last_day=LAST_DAY, progress=lambda done, total: heard.append((done, total))
    )
    assert heard[-1][0] == heard[-1][1] > 0


def test_the_register_is_valid_and_says_that_it_is_simulated(tiny_fleet: Path) -> None:
    text = tomllib.loads((tiny_fleet / "fleet.toml").read_text())
    assert text["fleet"]["simulated"] is True
    assert text["fleet"]["name"].endswith("(simulated)")
    assert len(load_register(tiny_fleet).boats) == 3


def test_a_log_of_every_logger_is_taken(tmp_path: Path) -> None:
    build_varied(tmp_path, Variation(planting="none"), boats=len(LOGGERS), days=3, seed=2, last_day=LAST_DAY)
    register = load_register(tmp_path)
    for boat in register.boats:
        log = next(path for path in whole_logs(tmp_path) if boat.id in path.parts)
        read = read_log(scratch(), request(tmp_path, log, boat, register.timezone))
        assert read.status == "taken", (boat.id, read.problems)
        assert not read.start_assumed


def test_every_log_of_the_tiny_fleet_is_taken_with_plausible_values(tiny_fleet: Path) -> None:
    register = load_register(tiny_fleet)
    for log in whole_logs(tiny_fleet):
        boat = register.boat(log.relative_to(tiny_fleet / "inbox").parts[0])
        read = read_log(scratch(), request(tiny_fleet, log, boat, register.timezone))
        assert read.status == "taken", read.problems
        for engine, channels in read.columns.items():
            for channel in channels:
                assert_plausible(engine, channel)


def assert_plausible(engine: str, channel: str) -> None:
    low, high = rows(scratch(), f'select min("{engine}.{channel}"), max("{engine}.{channel}") from log_rows')[
        0
    ].values()
    assert CHANNELS[channel].low <= low <= high <= CHANNELS[channel].high, (engine, channel, low, high)


def test_damaged_logs_lie_in_one_boats_inbox(tiny_fleet: Path) -> None:
    homes = {path.parent for name in DAMAGED for path in (tiny_fleet / "inbox").rglob(name)}
    assert len(homes) == 1


def test_departures_are_the_morning_after_with_an_offset(tiny_fleet: Path) -> None:
    lines = (tiny_fleet / "schedule.csv").read_text().splitlines()
    assert lines[0] == "boat,departs,note"
    for line in lines[1:]:
        departs = datetime.fromisoformat(line.split(",")[1])
        assert departs.tzinfo is not None
        assert departs.date() == date(2026, 6, 15)


def test_truth_names_every_log_that_was_written(tiny_fleet: Path) -> None:
    truth = pyarrow.parquet.read_table(tiny_fleet / "simulated_truth" / "runs.parquet")
    written = {log.relative_to(tiny_fleet).as_posix() for log in whole_logs(tiny_fleet)}
    assert set(truth["file"].to_pylist()) == written


def test_truth_gives_shift_times_with_a_zone(tiny_fleet: Path) -> None:
    table = pyarrow.parquet.read_table(tiny_fleet / "simulated_truth" / "shifts.parquet")
    assert table.schema.field("time").type.tz == "UTC"
    assert {"engine_id", "from_gear", "to_gear", "target_pct", "settled_true_pct", "transit_true_s"} <= set(
        table.column_names
    )


def test_truth_lists_the_planted_faults_and_the_engines(tiny_fleet: Path) -> None:
    faults = json.loads((tiny_fleet / "simulated_truth" / "faults.json").read_text())
    fleet = json.loads((tiny_fleet / "simulated_truth" / "fleet.json").read_text())
    known = {boat["id"] for boat in fleet["boats"]} | {"*"}
    assert {fault["boat"] for fault in faults} <= known


def test_simulated_notes_use_the_logbooks_kinds() -> None:
    notes = simulated_notes(draw_scenario(12, 60, 1, LAST_DAY))
    assert {note.kind for note in notes} == {"replaced", "new_target", "new_table"}
    assert {note.kind for note in notes} <= set(Kind)
    assert all(note.at.tzinfo is not None for note in notes)


def test_loggers_know_only_canonical_channels() -> None:
    assert set(LOGGED) == set(CHANNELS)
    assert all(set(logger.columns) <= set(CHANNELS) for logger in LOGGERS)


def test_yesterday_is_a_day_before_today_somewhere_on_earth() -> None:
    assert 0 <= (datetime.now().astimezone().date() - yesterday()).days <= 2


@pytest.mark.parametrize(("boats", "days"), [(0, 5), (1, 0)])
def test_too_small_a_fleet_is_refused(boats: int, days: int, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="at least 1 boat and 1 day"):
        build(tmp_path, boats=boats, days=days)
