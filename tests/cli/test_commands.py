"""The other commands: what they print, what they write, and how they end."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

import demo_fleet
from pipeline.logbook import in_force, notes
from pipeline.register import load_register
from pipeline.watch import Watch

if TYPE_CHECKING:
    from conftest import Ask, Run

LOG = "Time [s],Engine Speed [rpm],Oil Temp [degF]\n" + "".join(
    f"{second},{600 + second % 7},{70 + second / 10}\n" for second in range(120)
)


def test_init_makes_a_fleet_that_checks_cleanly(run: Run, ask: Ask, tmp_path: Path) -> None:
    folder = tmp_path / "charters"

    assert run("init", folder).exit_code == 0
    assert run("check", "--fleet", folder).exit_code == 0
    assert run("ingest", "--fleet", folder).exit_code == 0
    assert ask("check", "--fleet", folder)["boats"][0]["status"] == "unchecked"


def test_init_overwrites_nothing(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "charters"
    (folder / "inbox" / "petrel").mkdir(parents=True)
    (folder / "fleet.toml").write_text("# mine\n", encoding="utf-8")
    (folder / "inbox" / "petrel" / "a.csv").write_text(LOG, encoding="utf-8")

    result = run("init", folder)

    assert result.exit_code == 0
    assert (folder / "fleet.toml").read_text(encoding="utf-8") == "# mine\n"
    assert (folder / "inbox" / "petrel" / "a.csv").read_text(encoding="utf-8") == LOG
    assert f"kept {folder / 'fleet.toml'}" in result.stdout
    assert "made" not in result.stdout


def test_an_ingest_says_what_became_of_every_file_and_ends_with_3_if_one_was_refused(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "charters"
    run("init", folder)
    inbox = folder / "inbox" / "boat-1"
    inbox.mkdir()
    (inbox / "2026-06-14_0710.csv").write_text("time,rpm\n" + "".join(f"{s},600\n" for s in range(60)))
    (inbox / "2026-06-14_0810.csv").write_bytes(b"\x00\x01 not a log")

    first, second = run("ingest", "--fleet", folder, "--json"), run("ingest", "--fleet", folder)

    assert (first.exit_code, second.exit_code) == (3, 3)
    document = json.loads(first.stdout)
    assert list(document) == ["taken", "replaced", "known", "refused", "seconds"]
    assert (document["taken"], document["replaced"], document["known"]) == (1, 0, 0)
    assert isinstance(document["seconds"], float)
    (refused,) = document["refused"]
    assert list(refused) == ["file", "line", "reason"]
    assert refused["file"] == "inbox/boat-1/2026-06-14_0810.csv"
    assert "0 logs taken, 0 replaced, 1 known, 1 refused" in second.stdout
    assert f"{refused['file']}" in second.stdout
    assert refused["reason"] in second.stdout


def test_an_ingest_without_refusals_ends_with_0(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "charters"
    run("init", folder)
    (folder / "inbox" / "boat-1").mkdir()
    log = folder / "inbox" / "boat-1" / "2026-06-14_0710.csv"
    log.write_text("time,rpm\n" + "".join(f"{s},600\n" for s in range(60)))
    first = run("ingest", "--fleet", folder, "--json")
    log.write_text("time,rpm\n" + "".join(f"{s},600\n" for s in range(90)))
    grown = run("ingest", "--fleet", folder, "--json")

    assert (first.exit_code, grown.exit_code) == (0, 0)
    assert json.loads(grown.stdout)["replaced"] == 1


def test_check_before_the_first_ingest_says_what_to_do(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "charters"
    run("init", folder)
    (folder / "inbox" / "boat-1").mkdir()
    (folder / "inbox" / "boat-1" / "2026-06-14_0710.csv").write_text(LOG)

    result = run("check", "--fleet", folder)

    assert (result.exit_code, result.stdout) == (2, "")
    assert "morningwatch ingest" in result.stderr


def test_a_mistake_in_the_register_ends_with_2_and_names_file_line_key_and_the_nearest(
    run: Run, tmp_path: Path
) -> None:
    (tmp_path / "fleet.toml").write_text('[fleet]\nname = "Fleet"\ntimezone = "UTC"\ncurrency_day = 3\n')

    for command in (["check"], ["ingest"], ["serve"], ["export", "logs", "-o", tmp_path / "a.csv"]):
        result = run(*command, "--fleet", tmp_path)

        assert (result.exit_code, result.stdout) == (2, "")
        assert "fleet.toml, line 4" in result.stderr
        assert "currency_day" in result.stderr
        assert "Did you mean currency_days?" in result.stderr


def test_a_folder_that_is_no_fleet_ends_with_2(run: Run, tmp_path: Path) -> None:
    result = run("check", "--fleet", tmp_path)

    assert (result.exit_code, result.stdout) == (2, "")
    assert "fleet.toml" in result.stderr


@pytest.mark.parametrize(
    "words",
    [["chek"], ["check", "--jsn"], ["export", "shift", "-o", "a.csv"], ["note", "--boat", "curlew", "text"], ["init"]],
)
def test_a_wrong_command_option_or_choice_ends_with_2(run: Run, words: list[str]) -> None:
    result = run(*words)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr


def test_the_fleet_is_taken_from_the_surroundings_and_then_from_the_current_folder(
    run: Run, ask: Ask, fleet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = ask("check", "--fleet", fleet, "--as-of", "2026-06-14")

    named = run("check", "--as-of", "2026-06-14", "--json", MORNINGWATCH_FLEET=str(fleet))
    monkeypatch.chdir(fleet)
    here = run("check", "--as-of", "2026-06-14", "--json")

    assert json.loads(named.stdout) == asked == json.loads(here.stdout)


def test_columns_proposes_a_map_that_the_register_takes(run: Run, tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_text(LOG, encoding="utf-8")
    folder = tmp_path / "charters"
    run("init", folder)

    result = run("columns", log, "--fleet", folder)

    assert result.exit_code == 0
    register = folder / "fleet.toml"
    text = register.read_text(encoding="utf-8").replace("[[boat]]", f"{result.stdout}\n[[boat]]", 1)
    register.write_text(text, encoding="utf-8")
    proposed = load_register(folder).channel_maps["new"]
    assert {name: entry.column for name, entry in proposed.items()} == {
        "time": "Time [s]",
        "rpm": "Engine Speed [rpm]",
        "oil_temp": "Oil Temp [degF]",
    }


def test_columns_shows_what_the_log_gives_and_stays_pasteable(run: Run, tmp_path: Path) -> None:
    log = tmp_path / "2026-06-14_0710.csv"
    log.write_text(LOG, encoding="utf-8")

    shown = run("columns", log).stdout

    assert "# engine: 2 min, 1 run, 0 shifts, " in shown
    # 70 degF, and a tenth of a degree more each row
    assert "# oil_temp  21.111  21.167" in shown
    assert set(tomllib.loads(shown)) == {"channel_map"}


def test_columns_writes_the_map_and_the_boat_reads_its_logs_by_it(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "charters"
    run("init", folder)
    mine = (folder / "fleet.toml").read_text(encoding="utf-8")
    log = folder / "inbox" / "boat-1" / "2026-06-14_0710.csv"
    log.parent.mkdir()
    log.write_text(LOG.replace("Oil Temp [degF]", "X [degF]"), encoding="utf-8")
    asked = ("columns", log, "--fleet", folder, "--boat", "boat-1", "--name", "bench", "--write")

    written = run(*asked, "--set", "oil_temp=X [degF]:degF")

    assert written.exit_code == 0
    assert "channel map 'bench' written in" in written.stdout
    assert "boat-1 uses it" in written.stdout
    text = (folder / "fleet.toml").read_text(encoding="utf-8")
    assert [line for line in mine.splitlines() if line not in text.splitlines()] == []
    ingested = run("ingest", "--fleet", folder, "--json")
    assert (ingested.exit_code, json.loads(ingested.stdout)["taken"]) == (0, 1)
    again = run(*asked, "--set", "oil_temp=")
    assert again.exit_code == 2
    assert "there already" in again.stderr
    assert run(*asked, "--set", "oil_temp=", "--replace").exit_code == 0


def test_columns_answers_in_json_with_questions_and_preview(run: Run, tmp_path: Path) -> None:
    log = tmp_path / "2026-06-14_0710.csv"
    log.write_text(LOG.replace("Oil Temp [degF]", "AFR"), encoding="utf-8")

    document = json.loads(run("columns", log, "--json").stdout)

    assert [line["channel"] for line in document["proposed"]][:2] == ["time", "rpm"]
    assert document["preview"]["engines"][0]["runs"] == 1
    assert all(0 < line["confidence"] <= 1 and line["reasons"] for line in document["proposed"])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--boat", "boat-7"), "Did you mean boat-1?"),
        (("--set", "rmp=Engine Speed [rpm]"), "Did you mean rpm?"),
        (("--set", "rpm=Speed"), "The log has no column 'Speed'"),
    ],
)
def test_columns_says_what_is_wrong_with_an_answer(run: Run, tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    folder = tmp_path / "charters"
    run("init", folder)
    log = tmp_path / "log.csv"
    log.write_text(LOG, encoding="utf-8")

    result = run("columns", log, "--fleet", folder, *words)

    assert (result.exit_code, result.stdout) == (2, "")
    assert said in result.stderr


def test_columns_of_what_is_no_log_ends_with_3(run: Run, tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_bytes(b"\x00\x01\x02")

    result = run("columns", log)

    assert (result.exit_code, result.stdout) == (3, "")
    assert "log.csv" in result.stderr


def test_a_note_is_written_and_found_again(run: Run, own: Path, tmp_path: Path) -> None:
    words = ("note", "--fleet", own, "--boat", "curlew", "--engine", "port", "--kind", "cleaned")

    result = run(*words, "throttle body cleaned")

    assert (result.exit_code, result.stdout) == (0, "note 1 written\n")
    run("export", "notes", "--fleet", own, "-o", tmp_path / "notes.json")
    (note,) = json.loads((tmp_path / "notes.json").read_text(encoding="utf-8"))
    assert (note["boat"], note["engine"], note["kind"]) == ("curlew", "port", "cleaned")
    assert note["text"] == "throttle body cleaned"


def test_a_deferral_ends_with_its_day_in_the_fleets_zone_and_names_who_put_it_off(
    run: Run, own: Path, tmp_path: Path
) -> None:
    words = ("note", "--fleet", own, "--boat", "curlew", "--kind", "defer", "--until", "2096-07-01")

    run(*words, "waits for the part", MORNINGWATCH_AUTHOR="the yard")
    run(*words, "--author", "the skipper", "waits for the part", MORNINGWATCH_AUTHOR="the yard")
    run(*words[:-1], "2096-07-01T12:00", "waits for noon")
    run("export", "notes", "--fleet", own, "-o", tmp_path / "notes.json")

    written = json.loads((tmp_path / "notes.json").read_text(encoding="utf-8"))
    # Dublin's summer time is UTC+1
    day, noon = "2096-07-01T23:59:59+01:00", "2096-07-01T12:00:00+01:00"
    assert [(each["author"], each["until"]) for each in written] == [
        ("the yard", day),
        ("the skipper", day),
        (None, noon),
    ]


def test_a_note_puts_an_earlier_one_right(run: Run, own: Path) -> None:
    words = ("note", "--fleet", own, "--boat", "curlew", "--engine", "port", "--kind", "cleaned")
    run(*words, "starboard throttle body cleaned")

    result = run(*words, "--corrects", 1, "port throttle body cleaned")

    assert result.exit_code == 0
    assert [note.text for note in in_force(notes(own))] == ["port throttle body cleaned"]


@pytest.mark.parametrize(
    ("kind", "words", "said"),
    [
        ("cleaned", ["--until", "2096-07-01"], "leave --until out, or write --kind defer"),
        ("defer", ["--until", "tomorrow"], "neither a date (2026-06-20) nor"),
        ("defer", ["--until", "2026-06-01"], "is past: name a day from today on, in Europe/Dublin"),
        ("remark", ["--corrects", "7"], "There is no note 7 to put right: morningwatch export notes"),
    ],
)
def test_a_note_that_cannot_be_is_not_written_and_the_way_out_is_said(
    run: Run, own: Path, kind: str, words: list[str], said: str
) -> None:
    result = run("note", "--fleet", own, "--boat", "curlew", "--kind", kind, *words, "text")

    assert (result.exit_code, result.stdout) == (2, "")
    assert said in result.stderr
    assert notes(own) == ()


@pytest.mark.parametrize(
    ("place", "said"),
    [
        (["--boat", "curlw"], "curlew"),
        (["--boat", "curlew", "--engine", "prt"], "curlew/port"),
        (["--boat", "curlew", "--engine", ""], "curlew"),
    ],
)
def test_a_note_about_nothing_in_the_register_is_not_written(run: Run, own: Path, place: list[str], said: str) -> None:
    result = run("note", "--fleet", own, *place, "--kind", "remark", "text")

    assert (result.exit_code, result.stdout) == (2, "")
    assert said in result.stderr
    assert not (own / "logbook.sqlite").exists()


def test_a_note_without_words_is_not_written(run: Run, own: Path) -> None:
    result = run("note", "--fleet", own, "--boat", "curlew", "--kind", "remark", "  ")

    assert (result.exit_code, result.stdout) == (2, "")
    assert "its text is empty" in result.stderr


def test_a_demo_makes_a_fleet_takes_it_in_and_prints_the_list(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "fleet"

    result = run("demo", folder, "--boats", "1", "--days", "4", "--seed", "2", "--no-serve")

    assert result.exit_code == 0
    assert "simulated data" in result.stdout
    assert "1  " in result.stdout
    assert "logs taken" in result.stderr
    assert "logs taken" not in result.stdout
    assert len(load_register(folder).boats) == 1


def test_a_demo_leaves_a_folder_alone_that_is_no_simulated_fleet(run: Run, tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")

    result = run("demo", tmp_path, "--no-serve")

    assert result.exit_code == 2
    assert "no simulated fleet" in result.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


@pytest.mark.parametrize("command", ["serve", "demo"])
def test_the_dashboard_is_started_and_told_the_fleet(
    run: Run, fleet: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    started: list[tuple[Path, int]] = []
    monkeypatch.setattr("dashboard.server.serve", lambda folder, port, _: started.append((folder, port)))
    monkeypatch.setattr(demo_fleet, "build", lambda folder, **_: run("init", folder))

    folder = fleet if command == "serve" else tmp_path / "new"
    words = ["--fleet", folder] if command == "serve" else [folder]
    result = run(command, *words, "--port", "8765")

    assert result.exit_code == 0
    assert started == [(folder.resolve(), 8765)]


def test_help_needs_none_of_the_libraries_that_do_the_work() -> None:
    code = "import sys, pipeline.cli; print(*sorted({name.partition('.')[0] for name in sys.modules}))"

    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()  # noqa: S603

    assert {"scipy", "numpy", "pandas", "pyarrow", "duckdb", "pint", "streamlit", "demo_fleet"} & set(loaded) == set()


def test_a_terminal_without_the_symbols_still_shows_the_words(fleet: Path) -> None:
    command = [sys.executable, "-c", "from pipeline.cli import main; main()", "check", "--fleet", str(fleet)]
    result = subprocess.run(  # noqa: S603 - our own interpreter and command
        [*command, "--as-of", "2026-06-14"], capture_output=True, check=True, env={"PYTHONIOENCODING": "ascii"}
    )

    assert re.search(rb"\? +HOLD|\? HOLD", result.stdout)


def test_a_version_is_told(run: Run) -> None:
    assert re.search(r"\d+\.\d+", run("--version").stdout)


def test_a_backup_restored_elsewhere_verifies_and_gives_the_same_list(
    run: Run, ask: Ask, own: Path, tmp_path: Path
) -> None:
    again, saved = tmp_path / "again", tmp_path / "saved.zip"
    assert run("verify", "--fleet", own).exit_code == 0
    assert run("backup", saved, "--fleet", own, "--with-logs").exit_code == 0
    assert run("restore", saved, "--fleet", again).exit_code == 0
    assert run("restore", saved, "--fleet", again).exit_code == 2
    unread = run("verify", "--fleet", again, "--json")
    assert unread.exit_code == 3
    assert all(fault["can_be_remade"] for fault in json.loads(unread.stdout)["faults"])
    run("ingest", "--fleet", again)
    assert run("verify", "--fleet", again).exit_code == 0
    when = ("--as-of", "2026-06-14")
    assert run("check", "--fleet", again, *when).stdout == run("check", "--fleet", own, *when).stdout


def test_following_prints_one_line_of_json_a_round_until_it_is_stopped(
    run: Run, own: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Watch, "wait", lambda watch, _seconds: watch.stop() or frozenset())
    result = run("ingest", "--fleet", own, "--follow", "--json")
    assert result.exit_code == 0
    (line,) = result.stdout.splitlines()
    assert list(json.loads(line)) == ["taken", "replaced", "known", "refused", "seconds"]
