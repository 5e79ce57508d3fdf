"""What an ingest makes of the inbox: every file one status, every log once, and no more work than is new."""

from __future__ import annotations

import os
import random
import shutil
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pyarrow.parquet as pq
import pytest

from pipeline import intake
from pipeline.channels import CHANNELS

if TYPE_CHECKING:
    from tests.store.conftest import Fleet

START_S = 1_700_000_000.0
HOUR_S = 3600.0


def test_new_logs_are_taken_then_known(fleet: Fleet) -> None:
    fleet.log("petrel/port/one.csv")
    fleet.log("petrel/starboard/two.csv", seconds=7)
    fleet.log("heron/three.csv", seconds=9)
    assert fleet.counts() == (3, 0, 0, 0)
    assert fleet.counts() == (0, 0, 3, 0)
    assert fleet.spans() == [
        ("heron/main", "heron/three.csv", 10),
        ("petrel/port", "petrel/port/one.csv", 6),
        ("petrel/starboard", "petrel/starboard/two.csv", 8),
    ]
    assert fleet.rows("from marts.readings order by engine_id") == [
        {"engine_id": "heron/main", "logs": 1},
        {"engine_id": "petrel/port", "logs": 1},
        {"engine_id": "petrel/starboard", "logs": 1},
    ]


def test_nothing_new_publishes_nothing_new(fleet: Fleet) -> None:
    fleet.log("heron/one.csv")
    fleet.ingest()
    published = fleet.store.snapshot()
    fleet.ingest()
    assert fleet.store.snapshot() == published


def test_an_ingest_never_changes_the_inbox(fleet: Fleet) -> None:
    fleet.log("heron/one.csv")
    fleet.write("heron/note.md", "not a log")
    fleet.write("nowhere/two.csv", "time,rpm\n")

    def state() -> list[tuple[str, int, int]]:
        paths = sorted(fleet.path("").rglob("*"))
        return [(str(path), path.stat().st_mtime_ns, path.stat().st_size) for path in paths]

    before = state()
    fleet.ingest()
    assert state() == before
    assert {path.name for path in fleet.folder.iterdir()} == {"fleet.toml", "inbox", "store"}


def test_a_log_of_two_engines_gives_each_its_samples(fleet: Fleet) -> None:
    register = (fleet.folder / "fleet.toml").read_text(encoding="utf-8")
    gull = '[[boat]]\nid = "gull"\n[[boat.engine]]\nid = "port"\n[[boat.engine]]\nid = "starboard"\n'
    fleet.register(f"{register}\n{gull}")
    fleet.write(
        "gull/both.csv",
        "time,port_rpm,starboard_rpm,starboard_battery\n1700000000,600,700,12.5\n1700000001,601,701,12.4\n",
    )
    assert fleet.counts() == (1, 0, 0, 0)
    assert fleet.spans() == [("gull/port", "gull/both.csv", 2), ("gull/starboard", "gull/both.csv", 2)]
    listed = fleet.rows("select engine_id, channels, samples from marts.engine_logs order by engine_id")
    assert [(row["engine_id"], row["channels"]) for row in listed] == [
        ("gull/port", ["rpm"]),
        ("gull/starboard", ["rpm", "battery"]),
    ]
    starboard = fleet.store.samples_path(listed[1]["samples"])
    assert fleet.rows(f"select time_s, rpm, battery, oil_temp from '{starboard}'") == [
        {"time_s": 1700000000.0, "rpm": 700.0, "battery": 12.5, "oil_temp": None},
        {"time_s": 1700000001.0, "rpm": 701.0, "battery": pytest.approx(12.4), "oil_temp": None},
    ]


def test_sample_files_all_have_the_same_columns_in_the_contracts_order(fleet: Fleet) -> None:
    fleet.log("heron/one.csv")
    fleet.log("petrel/port/two.csv")
    fleet.ingest()
    for samples in fleet.samples():
        schema = pq.read_schema(fleet.store.samples_path(samples))
        assert schema.names == ["time_s", *CHANNELS]
        doubles = [field.name for field in schema if str(field.type) == "double"]
        assert doubles == ["time_s", "engine_hours"]


def test_a_grown_file_replaces_what_it_was(fleet: Fleet) -> None:
    fleet.log("heron/one.csv", seconds=5)
    fleet.ingest()
    fleet.log("heron/one.csv", seconds=50)
    assert fleet.counts() == (0, 1, 0, 0)
    assert fleet.spans() == [("heron/main", "heron/one.csv", 51)]
    assert len(fleet.samples()) == 1


def test_a_file_that_went_bad_takes_its_log_with_it(fleet: Fleet) -> None:
    fleet.log("heron/one.csv")
    fleet.ingest()
    fleet.write("heron/one.csv", "")
    assert fleet.counts() == (0, 0, 0, 1)
    assert fleet.spans() == []
    assert fleet.listed() == [("heron/one.csv", "refused")]


def test_the_same_bytes_under_two_names_are_one_log(fleet: Fleet) -> None:
    fleet.log("petrel/port/b.csv")
    fleet.copy("petrel/port/b.csv", "petrel/port/a.csv")
    fleet.copy("petrel/port/b.csv", "heron/copy.csv")
    result = fleet.ingest()
    # heron comes first but cannot read petrel's columns, so the first of the others is taken
    assert (result.taken, result.replaced, result.known) == (1, 0, 1)
    assert [refusal.file for refusal in result.refused] == ["inbox/heron/copy.csv"]
    assert fleet.spans() == [("petrel/port", "petrel/port/a.csv", 6)]
    assert fleet.rows("select copies from marts.logs where status = 'taken'") == [
        {"copies": ["inbox/petrel/port/b.csv"]}
    ]


def test_a_copy_that_arrives_later_is_known_and_changes_nothing(fleet: Fleet) -> None:
    fleet.log("petrel/port/one.csv")
    fleet.ingest()
    fleet.copy("petrel/port/one.csv", "petrel/a_copy.csv")
    assert fleet.counts() == (0, 0, 2, 0)
    assert fleet.spans() == [("petrel/port", "petrel/port/one.csv", 6)]


def test_a_log_stays_while_one_file_still_has_its_bytes(fleet: Fleet) -> None:
    fleet.log("heron/a.csv")
    fleet.copy("heron/a.csv", "heron/b.csv")
    fleet.ingest()
    fleet.log("heron/a.csv", start_s=START_S + HOUR_S)
    assert fleet.counts() == (0, 1, 1, 0)
    assert fleet.spans() == [("heron/main", "heron/a.csv", 6), ("heron/main", "heron/b.csv", 6)]


def test_a_touched_file_is_known_and_not_read(fleet: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    path = fleet.log("heron/one.csv")
    fleet.ingest()
    os.utime(path, ns=(1, 1))
    monkeypatch.setattr(intake, "take", _must_not_run)
    published = fleet.store.snapshot()
    assert fleet.counts() == (0, 0, 1, 0)
    assert fleet.store.snapshot() == published
    monkeypatch.setattr(intake, "identify", _must_not_run)
    assert fleet.counts() == (0, 0, 1, 0)


def test_a_refused_file_is_refused_again_without_being_read(fleet: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    fleet.write("heron/empty.csv", "")
    first = fleet.ingest()
    monkeypatch.setattr(intake, "take", _must_not_run)
    monkeypatch.setattr(intake, "identify", _must_not_run)
    second = fleet.ingest()
    assert first.refused == second.refused
    assert first.refused[0].file == "inbox/heron/empty.csv"


def test_a_refused_file_that_was_mended_is_taken(fleet: Fleet) -> None:
    fleet.write("heron/one.csv", "")
    fleet.ingest()
    fleet.log("heron/one.csv")
    assert fleet.counts() == (1, 0, 0, 0)
    assert fleet.listed() == [("heron/one.csv", "taken")]


def test_a_deleted_file_keeps_its_log(fleet: Fleet) -> None:
    fleet.log("heron/one.csv").unlink()
    fleet.log("heron/two.csv")
    fleet.ingest()
    fleet.path("heron/two.csv").unlink()
    assert fleet.counts() == (0, 0, 0, 0)
    assert fleet.spans() == [("heron/main", "heron/two.csv", 6)]


def test_a_name_used_again_after_the_inbox_was_cleared_does_not_lose_the_first_log(fleet: Fleet) -> None:
    path = fleet.log("heron/LOG0001.csv")
    fleet.ingest()
    path.unlink()
    fleet.ingest()
    fleet.log("heron/LOG0001.csv", start_s=START_S + HOUR_S, seconds=8)
    assert fleet.counts() == (1, 0, 0, 0)
    assert sorted(samples for _, _, samples in fleet.spans()) == [6, 9]


def test_a_log_moved_to_the_right_boat_changes_boats(fleet: Fleet) -> None:
    text = "time,rpm,speed\n1700000000,600,600\n1700000001,600,600\n"
    fleet.write("petrel/port/one.csv", text)
    fleet.ingest()
    fleet.move("petrel/port/one.csv", "heron/one.csv")
    assert fleet.counts() == (0, 1, 0, 0)
    assert fleet.spans() == [("heron/main", "heron/one.csv", 2)]
    assert [name.split("/")[1] for name in fleet.samples()] == ["heron"]


def test_a_renamed_log_is_known_under_its_new_name(fleet: Fleet) -> None:
    fleet.log("heron/one.csv")
    fleet.ingest()
    fleet.move("heron/one.csv", "heron/june/renamed.csv")
    assert fleet.counts() == (0, 0, 1, 0)
    assert fleet.spans() == [("heron/main", "heron/june/renamed.csv", 6)]


def test_a_changed_channel_map_reads_the_logs_it_concerns_again_and_no_others(fleet: Fleet) -> None:
    fleet.log("petrel/port/one.csv")
    fleet.log("heron/two.csv")
    fleet.ingest()
    register = (fleet.folder / "fleet.toml").read_text(encoding="utf-8")
    fleet.register(register.replace('column = "oil"', 'column = "oil", unit = "degF"'))
    assert fleet.counts() == (0, 1, 1, 0)
    samples = fleet.store.samples_path(fleet.ledger().engine_logs()[1].samples)
    # 60 °F is 15.56 °C (NIST SP 811, appendix B.8: t/°C = (t/°F - 32) / 1.8)
    assert fleet.rows(f"select round(min(oil_temp), 2) as oil from '{samples}'") == [{"oil": pytest.approx(15.56)}]


def test_a_changed_shift_target_measures_again_without_reading(fleet: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    fleet.log("heron/one.csv")
    fleet.ingest()
    published = fleet.store.snapshot()
    monkeypatch.setattr(intake, "take", _must_not_run)
    register = (fleet.folder / "fleet.toml").read_text(encoding="utf-8")
    fleet.register(register.replace("reverse = 12", "reverse = 14"))
    assert fleet.counts() == (0, 0, 1, 0)
    assert fleet.store.snapshot() != published


def test_a_log_in_an_unknown_boats_folder_is_refused_with_the_nearest_boat(fleet: Fleet) -> None:
    fleet.log("petrol/port/one.csv")
    refusal = fleet.ingest().refused[0]
    assert refusal.file == "inbox/petrol/port/one.csv"
    assert "petrel" in refusal.reason
    assert fleet.listed() == [("petrol/port/one.csv", "refused")]


def test_a_boat_added_to_the_register_later_gets_its_logs(fleet: Fleet) -> None:
    fleet.log("gull/one.csv")
    fleet.ingest()
    register = (fleet.folder / "fleet.toml").read_text(encoding="utf-8")
    more = '[[boat]]\nid = "gull"\nchannel_map = "plain"\n[[boat.engine]]\nid = "main"\n'
    fleet.register(f"{register}\n{more}")
    assert fleet.counts() == (1, 0, 0, 0)


def test_every_file_has_one_status_and_hidden_or_unfinished_files_have_none(fleet: Fleet) -> None:
    for name in (".hidden.csv", "heron/.trash/one.csv", "heron/two.csv.part", "heron/three.tmp", "heron/four.csv~"):
        fleet.log(name)
    for name in ("heron/notes.md", "loose.csv", "heron/empty.csv", "heron/photo.jpg"):
        fleet.write(name, "")
    (fleet.path("heron/broken_link.csv")).symlink_to("nowhere.csv")
    fleet.log("heron/good.csv")
    result = fleet.ingest()
    assert (result.taken, result.replaced, result.known) == (1, 0, 0)
    assert [refusal.file.removeprefix("inbox/") for refusal in result.refused] == [
        "heron/broken_link.csv",
        "heron/empty.csv",
        "heron/notes.md",
        "heron/photo.jpg",
        "loose.csv",
    ]
    assert fleet.ingest().refused == result.refused


def test_an_empty_inbox_still_publishes_every_table(true_fleet: Fleet) -> None:
    assert true_fleet.counts() == (0, 0, 0, 0)
    for table in ("events.runs", "events.shifts", "events.idle_windows", "marts.readings", "marts.logs"):
        assert true_fleet.rows(f"select count(*) as n from {table}") == [{"n": 0}]


def test_a_fleet_without_an_inbox_folder_is_an_empty_fleet(fleet: Fleet) -> None:
    shutil.rmtree(fleet.path(""))
    assert fleet.counts() == (0, 0, 0, 0)
    assert not fleet.path("").exists()


def test_a_fleet_folder_can_be_the_current_folder(fleet: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    fleet.log("heron/one.csv")
    monkeypatch.chdir(fleet.folder)
    here = replace(fleet, folder=Path())
    assert here.counts() == (1, 0, 0, 0)
    assert here.spans() == [("heron/main", "heron/one.csv", 6)]
    assert fleet.counts() == (0, 0, 1, 0)


def test_progress_rises_to_what_was_expected(fleet: Fleet) -> None:
    for number in range(4):
        fleet.log(f"heron/{number}.csv", start_s=START_S + number * HOUR_S)
    fleet.ingest()
    done = [each for each, _ in fleet.told]
    assert done == sorted(done)
    assert fleet.told[-1] == (8, 8)


def test_logs_that_follow_closely_are_measured_together_in_whatever_order_they_come(fleet: Fleet) -> None:
    first = fleet.log("heron/1.csv", start_s=START_S, seconds=60)
    last = fleet.log("heron/3.csv", start_s=START_S + 130, seconds=60)
    fleet.ingest()
    assert fleet.rows("select count(distinct chain) as chains from events.runs") == [{"chains": 2}]
    middle = fleet.log("heron/2.csv", start_s=START_S + 65, seconds=60)
    fleet.ingest()
    chain = "+".join(_log_ids(fleet, [first, middle, last]))
    assert fleet.rows("select distinct chain from events.runs") == [{"chain": chain}]
    assert len(fleet.spans()) == 3


def test_a_chain_that_loses_its_middle_is_measured_as_two(fleet: Fleet) -> None:
    for number in range(3):
        fleet.log(f"heron/{number}.csv", start_s=START_S + number * 65, seconds=60)
    fleet.ingest()
    fleet.log("heron/1.csv", start_s=START_S + 5 * HOUR_S, seconds=60)
    fleet.ingest()
    assert fleet.rows("select count(distinct chain) as chains, count(*) as n from events.runs") == [
        {"chains": 3, "n": 3}
    ]


def test_a_shorter_copy_of_a_log_under_another_name_is_not_counted_twice(fleet: Fleet) -> None:
    fleet.log("heron/part.csv", seconds=30)
    fleet.log("heron/whole.csv", seconds=60)
    assert fleet.counts() == (2, 0, 0, 0)
    assert fleet.spans() == [("heron/main", "heron/whole.csv", 61)]
    reason = fleet.rows("select reason from marts.logs where file = 'inbox/heron/part.csv'")[0]["reason"]
    assert "inbox/heron/whole.csv" in reason


@pytest.mark.parametrize("seed", range(3))
def test_after_any_changes_the_store_shows_what_a_store_made_afresh_would(fleet: Fleet, seed: int) -> None:
    """The oracle is the program itself on an empty store: what happened before must leave no trace."""
    dice = random.Random(seed)  # noqa: S311 - a reproducible test, nothing secret
    for _ in range(8):
        for _ in range(dice.randint(1, 3)):
            _change_something(fleet, dice)
        result = fleet.ingest()
        files = sum(path.is_file() for path in fleet.path("").rglob("*"))
        assert result.taken + result.replaced + result.known + len(result.refused) == files
    lived = fleet.spans(), fleet.listed(), fleet.samples()
    shutil.rmtree(fleet.store.folder)
    fleet.ingest()
    assert (fleet.spans(), fleet.listed(), fleet.samples()) == lived


def _change_something(fleet: Fleet, dice: random.Random) -> None:
    """Add a log, let one grow, spoil one, mend one, or put one among the hours of the others."""
    name = f"{dice.choice(['heron', 'petrel/port', 'nowhere'])}/{dice.randint(0, 5)}.csv"
    if dice.random() < 0.2:
        fleet.write(name, "")
    else:
        fleet.log(name, start_s=START_S + dice.randint(0, 9) * 70, seconds=dice.choice([20, 61, 65]))


def _log_ids(fleet: Fleet, paths: list[Path]) -> list[str]:
    by_file = {log.file: log.log_id for log in fleet.ledger().logs().values()}
    return [by_file[path.relative_to(fleet.folder).as_posix()] for path in paths]


def _must_not_run(*_: object) -> None:
    raise AssertionError("this file must not be looked at again")
