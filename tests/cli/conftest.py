"""A small simulated fleet, taken in once, and a way to run commands as a person does."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import demo_fleet
from pipeline.cli import main

sys.path.append(str(Path(__file__).parents[1] / "season"))

LAST_DAY = date(2026, 6, 14)
"""In summer time of the fleet's zone, Europe/Dublin: +01:00."""

Run = Callable[..., Result]
Ask = Callable[..., Any]


@pytest.fixture(scope="session")
def run() -> Run:
    """Run a command; nothing of the caller's surroundings reaches it."""

    def _run(*words: object, **environment: str | None) -> Result:
        surroundings = {
            "MORNINGWATCH_FLEET": None,
            "MORNINGWATCH_AUTHOR": None,
            "COLUMNS": "80",
            "NO_COLOR": None,
            "FORCE_COLOR": None,
        }
        result = CliRunner().invoke(main, [str(word) for word in words], env=surroundings | environment)
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result

    return _run


@pytest.fixture(scope="session")
def fleet(tmp_path_factory: pytest.TempPathFactory, run: Run) -> Path:
    """Three boats with ten days of logs; one limit so low that somebody stands at hold. Tests only read it."""
    folder = tmp_path_factory.mktemp("cli") / "fleet"
    demo_fleet.build(folder, boats=3, days=10, seed=3, last_day=LAST_DAY)
    register = folder / "fleet.toml"
    low = "\n[limits.idle_spread]\nwatch = 0.1\nhold = 0.2\n"
    register.write_text(register.read_text(encoding="utf-8") + low, encoding="utf-8")
    run("ingest", "--fleet", folder)
    return folder


@pytest.fixture
def own(fleet: Path, tmp_path: Path) -> Path:
    """A copy of the small fleet that a test may change."""
    return Path(shutil.copytree(fleet, tmp_path / "own"))


@pytest.fixture(scope="session")
def ask(run: Run) -> Ask:
    """Run a command with `--json` and give what it answers."""

    def _ask(*words: object, **environment: str | None) -> Any:
        return json.loads(run(*words, "--json", **environment).stdout)

    return _ask
