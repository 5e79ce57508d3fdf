"""Clears away an earlier simulated season before a new one is written into the same folder.

Only files that `build` listed as its own go, and the store read from them; what a person put there, and the
logbook, stays. A fleet that is not simulated is never written over.
"""

from __future__ import annotations

import json
import shutil
import tomllib
from typing import TYPE_CHECKING, Final

from demo_fleet.damaged import DAMAGED
from demo_fleet.shares import log_paths

if TYPE_CHECKING:
    from pathlib import Path

    from demo_fleet.scenario import Scenario

LIST: Final = "simulated_truth/written.json"


def clear_earlier(folder: Path) -> None:
    """Remove an earlier simulated season's logs and its store. Raises FileExistsError for a fleet of another kind."""
    if not (folder / "fleet.toml").exists():
        return
    if not _is_simulated(folder):
        raise FileExistsError(f"{folder} holds a fleet that is not simulated; name another folder")
    inbox = (folder / "inbox").resolve()
    for name in _listed(folder):
        path = (folder / name).resolve()
        if path.is_relative_to(inbox):
            path.unlink(missing_ok=True)
    shutil.rmtree(folder / "store", ignore_errors=True)


def list_own(folder: Path, scenario: Scenario) -> None:
    """Write down which inbox files this season is going to hold, before the first of them is written."""
    damaged = [f"inbox/{boat.id}/{name}" for boat in scenario.boats if boat.story.damaged_logs for name in DAMAGED]
    listed = folder / LIST
    listed.parent.mkdir(parents=True, exist_ok=True)
    listed.write_text(json.dumps(sorted({*log_paths(scenario), *damaged}), indent=1) + "\n")


def _listed(folder: Path) -> list[str]:
    listed = folder / LIST
    return list(json.loads(listed.read_text())) if listed.is_file() else []


def _is_simulated(folder: Path) -> bool:
    register = folder / "fleet.toml"
    try:
        return tomllib.loads(register.read_text())["fleet"]["simulated"] is True
    except (OSError, KeyError, TypeError, tomllib.TOMLDecodeError):
        return False
