"""The repository as the house rules see it: its files and its parsed modules."""

from __future__ import annotations

import ast
import subprocess
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = ("pipeline", "dashboard", "demo_fleet")


@dataclass(frozen=True)
class Module:
    """One module of the packages; `path` is relative to the repository and uses slashes."""

    path: str
    name: str
    source: str
    tree: ast.Module


@pytest.fixture(scope="session")
def files() -> dict[str, str]:
    """Every text file that is or would be tracked: path → text. Without git, every file that is no cache."""
    found = {path: _text(ROOT / path) for path in _tracked() if (ROOT / path).is_file()}
    return {path: text for path, text in found.items() if text is not None}


@pytest.fixture(scope="session")
def modules(files: dict[str, str]) -> list[Module]:
    """Every Python module of the packages."""
    ours = [path for path in files if path.endswith(".py") and path.split("/")[0] in PACKAGES]
    return [Module(path, _module_name(path), files[path], ast.parse(files[path])) for path in sorted(ours)]


@pytest.fixture(scope="session")
def queries(files: dict[str, str]) -> dict[str, str]:
    """Every SQL file: path → text."""
    return {path: text for path, text in sorted(files.items()) if path.endswith(".sql")}


def _tracked() -> list[str]:
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    if (ROOT / ".git").exists():
        listed = subprocess.run(command, cwd=ROOT, capture_output=True, check=True)  # noqa: S603 - a fixed command
        return [path for path in listed.stdout.decode().split("\0") if path]
    found = [path.relative_to(ROOT) for path in ROOT.rglob("*") if path.is_file()]
    return [path.as_posix() for path in found if not any(part.startswith((".", "__")) for part in path.parts[:-1])]


def _text(path: Path) -> str | None:
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return None


def _module_name(path: str) -> str:
    return path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
