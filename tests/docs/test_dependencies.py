"""What the code imports is declared, and what is declared is used."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from importlib.metadata import requires
from pathlib import Path

ROOT = Path(__file__).parents[2]
PACKAGES = ("pipeline", "dashboard", "demo_fleet")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]

NOT_IMPORTED = {
    "authlib": "Streamlit's sign-in imports it",
    "httpx": "with it authlib asks the identity provider",
    "tzdata": "the time zones of zoneinfo, where the system has none",
    "mypy": "a command",
    "pandas_stubs": "types for mypy",
    "playwright": "drives a browser in tests, where it and a browser are installed",
    "pytest_xdist": "runs tests side by side",
    "ruff": "a command",
    "zstandard": "makes packed logs for tests, when imported there",
}

PART_OF = {"pydantic_core": "pydantic", "PIL": "streamlit"}
"""Packages that come with another one and are named through it."""


def _imported(folders: tuple[str, ...]) -> set[str]:
    trees = [ast.parse(path.read_text(encoding="utf-8")) for name in folders for path in (ROOT / name).rglob("*.py")]
    nodes = [node for tree in trees for node in ast.walk(tree)]
    names = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module for node in nodes if isinstance(node, ast.ImportFrom) and node.module and not node.level}
    tops = {name.partition(".")[0] for name in names}
    return {PART_OF.get(name, name) for name in tops} - set(sys.stdlib_module_names) - {*PACKAGES, "tests"}


def _declared(requirements: list[str]) -> set[str]:
    return {re.split(r"[<>=!~ \[]", requirement)[0].lower().replace("-", "_") for requirement in requirements}


OPTIONAL = PROJECT["optional-dependencies"]


def test_what_the_packages_import_is_declared_and_nothing_else_is() -> None:
    declared = _declared(PROJECT["dependencies"])

    assert _imported(PACKAGES) - _declared(OPTIONAL["mdf4"]) == declared - set(NOT_IMPORTED)


def test_what_the_sign_in_needs_is_what_streamlit_says_it_needs() -> None:
    asked = [each for each in requires("streamlit") or [] if re.search(r"extra == .auth.", each)]
    assert _declared(OPTIONAL["share"]) == _declared(asked)
    assert _declared(OPTIONAL["share"]) <= _declared(OPTIONAL["dev"])


def test_what_the_tests_need_beside_is_declared_for_developers() -> None:
    declared = _declared(PROJECT["dependencies"]) | _declared(OPTIONAL["dev"])
    local = {path.stem for path in (ROOT / "tests").rglob("*.py")}
    imported = _imported(("tests",)) - local

    assert imported - {"_pytest"} - declared == set()
    assert _declared(OPTIONAL["dev"]) - set(NOT_IMPORTED) - imported - _declared(OPTIONAL["mdf4"]) == set()
