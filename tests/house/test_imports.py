"""Who may know whom: the dependency rules, read from the import statements of every module of the packages."""

from __future__ import annotations

import ast
import graphlib
import sys
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

    from conftest import Module

ONLY_IN = {
    "duckdb": ("pipeline/database.py",),
    "streamlit": ("dashboard/",),
    "altair": ("dashboard/charts/", "dashboard/charts.py"),
    "asammdf": ("pipeline/readers/",),
}
"""Libraries that have one door: import name → where it may stand."""

STATISTICS_MAY_KNOW = {"numpy", "scipy", "pipeline.statistics"} | set(sys.stdlib_module_names)
"""The statistics know arrays; SciPy is arrays too."""


def _imports(tree: ast.AST) -> Iterator[tuple[str, ast.stmt]]:
    """Every imported dotted name; `from a import b` gives `a.b`, which may be a module or a name in `a`."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield from ((f"{node.module}.{alias.name}", node) for alias in node.names)


def _within(name: str, package: str) -> bool:
    return name == package or name.startswith(f"{package}.")


@pytest.mark.parametrize("library", ONLY_IN)
def test_a_library_with_one_door_is_imported_there_alone(modules: list[Module], library: str) -> None:
    strangers = [
        f"{module.path}:{node.lineno}"
        for module in modules
        if not module.path.startswith(ONLY_IN[library])
        for name, node in _imports(module.tree)
        if _within(name, library)
    ]
    assert strangers == []


def test_statistics_know_arrays_alone(modules: list[Module]) -> None:
    strangers = [
        f"{module.path}:{node.lineno}: {name}"
        for module in modules
        if _within(module.name, "pipeline.statistics")
        for name, node in _imports(module.tree)
        if not any(_within(name, known) for known in STATISTICS_MAY_KNOW)
    ]
    assert strangers == []


def test_the_core_knows_neither_screens_nor_demo_except_where_commands_start_them(modules: list[Module]) -> None:
    strangers = [
        f"{module.path}:{node.lineno}: {name}"
        for module in modules
        if _within(module.name, "pipeline") and not _within(module.name, "pipeline.commands.starting")
        for name, node in _imports(module.tree)
        if _within(name, "dashboard") or _within(name, "demo_fleet")
    ]
    assert strangers == []


def test_an_optional_library_is_imported_only_when_it_is_needed(modules: list[Module]) -> None:
    at_the_top = [
        f"{module.path}:{node.lineno}"
        for module in modules
        for node in module.tree.body
        for name, _ in _imports(node)
        if _within(name, "asammdf") and isinstance(node, ast.Import | ast.ImportFrom)
    ]
    assert at_the_top == []


def test_imports_are_absolute_so_that_a_reader_can_find_them(modules: list[Module]) -> None:
    relative = [
        f"{module.path}:{node.lineno}"
        for module in modules
        for node in ast.walk(module.tree)
        if isinstance(node, ast.ImportFrom) and node.level > 0
    ]
    assert relative == []


def test_no_module_is_part_of_an_import_circle(modules: list[Module]) -> None:
    """Imports for types alone and inside functions count too: they hide a circle and do not open it."""
    names = {module.name for module in modules}
    graph = {module.name: {_module(name, names) for name, _ in _imports(module.tree)} & names for module in modules}
    try:
        graphlib.TopologicalSorter(graph).prepare()
    except graphlib.CycleError as error:
        pytest.fail(" → ".join(reversed(error.args[1])))


def _module(imported: str, names: set[str]) -> str:
    """The module an imported name is, or lives in."""
    return imported if imported in names else imported.rpartition(".")[0]
