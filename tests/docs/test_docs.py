"""What README and DEVELOPERS say is what there is: modules, commands, options, and the two commands to begin with."""

from __future__ import annotations

import re
from pathlib import Path

import click
import pytest

from pipeline import wording
from pipeline.cli import main
from pipeline.export_tables import TABLES

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PACKAGES = ("pipeline", "dashboard", "demo_fleet")

BLOCKS = re.findall(r"^```\n(.*?)^```$", README, re.DOTALL | re.MULTILINE)
SET_UP, LIST, TESTS = (block.strip() for block in BLOCKS[:3])


def _modules() -> list[Path]:
    found = [path for package in PACKAGES for path in (ROOT / package).rglob("*.py")]
    return sorted(path.relative_to(ROOT) for path in found if path.name != "__init__.py")


def _section(module: Path) -> str:
    """The part of the map on a module's room; a room below `pipeline/` has its own paragraph."""
    package = DEVELOPERS.split(f"\n### {module.parts[0]}/", 1)[1].split("\n## ", 1)[0].split("\n### ", 1)[0]
    room = f"`{module.parent.as_posix()}/`"
    if module.parts[0] == "pipeline" and len(module.parts) > 2:
        return package.split(room, 1)[1].split("\n\n", 1)[0]
    return package


def test_the_map_names_every_module_in_its_room() -> None:
    assert [str(module) for module in _modules() if f"`{module.name}`" not in _section(module)] == []


def test_the_map_names_no_module_that_is_not_there() -> None:
    there = {path.name for path in _modules()} | {"__init__.py", "run.py"}

    assert {Path(name).name for name in re.findall(r"`([\w/.]+\.py)`", DEVELOPERS)} - there == set()


def test_the_map_names_every_folder_of_sql() -> None:
    folders = {path.name for path in (ROOT / "pipeline" / "sql").iterdir() if path.is_dir() and any(path.iterdir())}

    assert {name for name in folders if f"`{name}/`" not in DEVELOPERS} == set()


def test_paths_in_the_documents_are_there() -> None:
    found = re.findall(r"`((?:pipeline|dashboard|demo_fleet|tests|\.ci)/[\w/.]*)`", DEVELOPERS)

    assert found
    assert [path for path in found if "NAME" not in path and not (ROOT / path).exists()] == []


@pytest.mark.parametrize("name", main.commands)
def test_a_command_stands_in_the_readme_with_its_options_and_its_help_has_an_example(name: str) -> None:
    command = main.commands[name]
    (row,) = re.findall(rf"^\| `{name} ?([^`]*)` \|", README, re.MULTILINE)

    options = [each for parameter in command.params for each in parameter.opts if isinstance(parameter, click.Option)]
    assert [option for option in options if option not in row] == []
    assert f"Example: morningwatch {name} " in (command.help or "")


def test_the_readme_lists_no_command_or_option_that_is_not_there() -> None:
    rows = dict(re.findall(r"^\| `(\w+) ?([^`]*)` \|", README, re.MULTILINE))

    assert set(rows) == set(main.commands)
    for name, row in rows.items():
        known = {each for parameter in main.commands[name].params for each in parameter.opts}
        assert set(re.findall(r"(?<!\w)--?[a-z][\w-]*", row)) <= known


def test_the_readme_names_every_table_of_the_export_and_every_status_and_caution() -> None:
    flat = " ".join(README.split())

    assert [table for table in TABLES if table not in flat] == []
    for status, word in wording.STATUS_WORDS.items():
        assert f"| {wording.STATUS_SYMBOLS[status]} | {word.lower()} | {wording.STATUS_MEANINGS[status]}" in flat
    assert [caution for caution in wording.CAUTIONS if caution not in flat] == []


def test_the_first_screen_shows_a_command_and_its_output() -> None:
    head = README.splitlines()[:30]

    assert SET_UP in head
    assert any("■ HOLD" in line for line in head)


def test_the_two_commands_make_their_surroundings_and_do_their_job() -> None:
    made = "python3 -m venv .venv && .venv/bin/pip install -q --no-compile "

    assert f"{made}. && .venv/bin/morningwatch demo" == SET_UP
    assert f"{made}-e '.[dev]' && .venv/bin/pytest" == TESTS


def test_what_must_hold_before_a_change_is_tried_with_the_readmes_own_command() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")

    assert f'step "{TESTS}"' in script
    assert (ROOT / ".ci" / "run").stat().st_mode & 0o100
    assert [each for each in ("ruff check .", "ruff format --check .", "mypy --strict") if each not in script] == []


def test_the_list_in_the_readme_is_of_the_simulated_fleet_and_in_order() -> None:
    assert "(simulated)" in LIST.splitlines()[0]
    ranks = [int(rank) for rank in re.findall(r"^ *(\d+)  [■▲?●] ", LIST, re.MULTILINE)]
    assert ranks == sorted(ranks)
    assert max(len(line) for line in LIST.splitlines()) <= 80
