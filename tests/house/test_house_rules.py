"""How code is kept: small functions, words of the trade, nothing left over, a tidy top of the repository."""

from __future__ import annotations

import ast
import io
import re
import statistics
import tokenize
from pathlib import PurePosixPath
from textwrap import dedent
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

    from conftest import Module

LONGEST_LINES = 60
MEDIAN_LINES = 8

TOP_OF_REPOSITORY = {
    ".ci",
    ".gitignore",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "dashboard",
    "demo_fleet",
    "pipeline",
    "pyproject.toml",
    "tests",
}

# Each pattern is written so that it does not match itself.
BANNED = {
    "a thing left to do": r"\b(?:T[O]DO|FIX[M]E|X[X]X)\b",
    "a path of one machine": r"/(?:t[m]p|w[o]rk|r[o]ot|h[o]me|U[s]ers)/",
    "a registry's host": r"\bp[y]pi\.org|p[y]thonhosted",
    "a word that is no term of the trade: say target": r"(?i)(?<![a-z])a[i]ms?(?![a-z])",
    "where the work came from": r"(?i)\b(?:i[s]sue|s[e]ssion) #?[0-9]+|\bt[r]anscript\b|\bs[e]ed document\b",
}

NAMES_THAT_SAY_NOTHING = {"util", "utils", "helper", "helpers", "manager", "misc", "common", "data2"}

_NO_CODE = {
    tokenize.COMMENT,
    tokenize.NL,
    tokenize.NEWLINE,
    tokenize.INDENT,
    tokenize.DEDENT,
    tokenize.ENDMARKER,
    tokenize.ENCODING,
}

Function = ast.FunctionDef | ast.AsyncFunctionDef


def _code_lines(source: str) -> set[int]:
    """Numbers of the lines that hold code: no blank ones and no comments. A text over several lines holds each."""
    lines: set[int] = set()
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type not in _NO_CODE:
            lines.update(range(token.start[0], token.end[0] + 1))
    return lines


def _functions(source: str, tree: ast.Module) -> Iterator[tuple[Function, int]]:
    """Every function with the length of its body.

    Counted are the lines of code from the first statement after the docstring to the end. Signature, decorators,
    docstring, blank lines and comments are not; an inner function counts by itself and in the one around it.
    """
    code = _code_lines(source)
    for node in ast.walk(tree):
        if isinstance(node, Function):
            body = node.body[1:] if ast.get_docstring(node, clean=False) is not None else node.body
            last = node.end_lineno or node.lineno
            yield node, len(code & set(range(body[0].lineno, last + 1))) if body else 0


def test_no_function_is_longer_than_a_screen(modules: list[Module]) -> None:
    long = [
        f"{module.path}:{function.lineno}: {function.name} has {length} lines"
        for module in modules
        for function, length in _functions(module.source, module.tree)
        if length > LONGEST_LINES
    ]
    assert long == []


@pytest.mark.parametrize("package", ["pipeline", "dashboard", "demo_fleet"])
def test_most_functions_are_short(modules: list[Module], package: str) -> None:
    ours = [module for module in modules if module.path.startswith(f"{package}/")]
    lengths = [length for module in ours for _, length in _functions(module.source, module.tree)]
    assert not lengths or statistics.median(lengths) < MEDIAN_LINES


def test_the_length_of_a_function_is_that_of_its_code() -> None:
    source = dedent('''
        @decorated
        def outer(
            a: int,
        ) -> int:
            """Says what.

            At length.
            """
            # why

            text = """one
            two"""

            def inner() -> None:
                """Nothing else."""

            return a + len(
                text
            )
    ''')

    lengths = {function.name: length for function, length in _functions(source, ast.parse(source))}

    # outer: two lines of text, two of inner (its head and its docstring), three of the return.
    assert lengths == {"outer": 7, "inner": 0}


@pytest.mark.parametrize("kind", BANNED)
def test_no_file_holds(files: dict[str, str], kind: str) -> None:
    pattern = re.compile(BANNED[kind])
    found = [
        f"{path}:{number}: {line.strip()[:100]}"
        for path, text in sorted(files.items())
        for number, line in enumerate(text.splitlines(), start=1)
        if pattern.search(line) or (number == 1 and pattern.search(path))
    ]
    assert found == []


def test_the_banned_words_are_found_where_they_stand_and_not_inside_others() -> None:
    word = BANNED["a word that is no term of the trade: say target"]
    assert all(re.search(word, text.replace("_", "i", 1)) for text in ("a_m at", "the A_ms", "rpm.a_m"))
    assert not any(re.search(word, text) for text in ("claims", "maim", "aimless", "target"))


def test_the_top_of_the_repository_holds_what_belongs_there_and_nothing_else(files: dict[str, str]) -> None:
    assert {path.split("/")[0] for path in files} - TOP_OF_REPOSITORY == set()


def test_modules_have_names_that_say_what_they_hold(modules: list[Module]) -> None:
    silent = [
        module.path for module in modules if NAMES_THAT_SAY_NOTHING & set(PurePosixPath(module.path).stem.split("_"))
    ]
    assert silent == []


def test_every_module_and_every_test_opens_with_a_sentence(files: dict[str, str]) -> None:
    python = {path: text for path, text in files.items() if path.endswith(".py") and text.strip()}
    assert [path for path, text in sorted(python.items()) if not ast.get_docstring(ast.parse(text))] == []


def test_nothing_waits_for_a_time_to_pass(files: dict[str, str]) -> None:
    sleeper = re.compile(r"\btime\.s[l]eep\(|wait_for_t[i]meout\(")
    assert [path for path, text in sorted(files.items()) if path.endswith(".py") and sleeper.search(text)] == []


def test_screens_hold_no_sql(modules: list[Module]) -> None:
    query = re.compile(r"(?is)^\s*(?:with|select)\b.*\bfrom\b")
    found = [
        f"{module.path}:{node.lineno}"
        for module in modules
        if module.path.startswith(("dashboard/screens/", "dashboard/charts/"))
        for node in ast.walk(module.tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and query.match(node.value)
    ]
    assert found == []
