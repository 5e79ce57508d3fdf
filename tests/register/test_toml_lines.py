"""The line of every key of a TOML text, checked against the standard library's parser on texts of every shape."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import hypothesis.strategies as st
from hypothesis import given, seed, settings

from pipeline.register.toml_lines import KeyPath, key_lines, line_of

_HERE = Path(__file__).parent


def _paths(value: Any, path: KeyPath = ()) -> set[KeyPath]:
    """Every path of a parsed document."""
    items: list[tuple[str | int, Any]] = []
    if isinstance(value, dict):
        items = list(value.items())
    if isinstance(value, list):
        items = list(enumerate(value))
    return {(*path, key) for key, _ in items}.union(*(_paths(below, (*path, key)) for key, below in items))


def test_keys_of_every_way_of_writing_a_table_have_their_line() -> None:
    lines = key_lines((_HERE / "every_shape.toml").read_text(encoding="utf-8"))

    assert lines == {
        ("top",): 2,
        ("quoted key",): 3,
        ("quoted key", "and = another"): 3,
        ("a",): 5,
        ("a", "b"): 5,
        ("a", "b", "c"): 6,
        ("a", "b", "c", 0): 6,
        ("a", "b", "c", 1): 6,
        ("a", "b", "c", 2): 7,
        ("a", "list"): 8,
        ("a", "list", 0): 8,
        ("a", "list", 0, "x"): 9,
        ("a", "list", 0, "x", "y"): 9,
        ("a", "list", 0, "x", "y", "z"): 9,
        ("a", "list", 0, "x", "w.v"): 9,
        ("a", "list", 0, "x", "w.v", 0): 9,
        ("a", "list", 0, "x", "w.v", 0, "u"): 9,
        ("a", "list", 0, "x", "w.v", 1): 10,
        ("a", "list", 0, "x", "w.v", 1, "u"): 10,
        ("a", "list", 1): 11,
        ("a", "list", 1, "inner"): 12,
        ("a", "list", 1, "inner", "k"): 13,
        ("a", "list", 1, "deep"): 17,
        ("a", "list", 1, "deep", 0): 17,
        ("a", "list", 1, "deep", 0, "m"): 18,
        ("a", "list", 1, "deep", 1): 19,
        ("a", "list", 1, "deep", 1, "m"): 20,
        ("a", "list", 1, "deep", 1, "m", "n"): 20,
        ("a", "list", 1, "deep", 1, "é"): 21,
        ("z",): 22,
        ("z", ""): 23,
    }


def test_windows_line_ends_count_as_one_line() -> None:
    assert key_lines("a = 1\r\n\r\n[b]\r\nc = '''\r\nx\r\n'''\r\nd = 2\r\n") == {
        ("a",): 1,
        ("b",): 3,
        ("b", "c"): 4,
        ("b", "d"): 7,
    }


def test_a_place_that_is_not_written_has_the_line_of_what_is_around_it() -> None:
    lines = key_lines("\n[a]\nb = 1\n")

    assert line_of(lines, ("a", "b")) == 3
    assert line_of(lines, ("a", "lacking", 3, "deeper")) == 2
    assert line_of(lines, ("lacking",)) == 1


_KEYS = st.sampled_from(["a", "b-2", "_", "1", '"q \\" # ]"', "'l = ['", '""', '"\\t"', '"é"'])
_SCALARS = st.sampled_from((_HERE / "odd_values.txt").read_text(encoding="utf-8").strip().split("\n\n"))
_SPACES = st.sampled_from(["", " ", "\t"])
_BREAKS = st.sampled_from(["", " ", "\n", " # ] } comment = 1\n", "\n\n  "])


@st.composite
def _values(draw: st.DrawFn, depth: int = 2) -> str:
    kind = draw(st.sampled_from(["scalar", "array", "table"])) if depth else "scalar"
    if kind == "array":
        elements = draw(st.lists(_values(depth - 1), max_size=3))
        gaps = [draw(_BREAKS) for _ in range(len(elements) + 1)]
        return "[" + gaps[0] + ",".join(e + gap for e, gap in zip(elements, gaps[1:], strict=True)) + "]"
    if kind == "table":
        keys = draw(st.lists(_KEYS, max_size=3, unique=True))
        return "{" + ", ".join(f"{key}{draw(_SPACES)}= {draw(_values(depth - 1))}" for key in keys) + " }"
    return draw(_SCALARS)


@st.composite
def _documents(draw: st.DrawFn) -> str:
    """A TOML text by chance, not always a valid one: the same table may come twice."""
    parts = []
    for _ in range(draw(st.integers(1, 6))):
        key = f"{draw(_SPACES)}.{draw(_SPACES)}".join(draw(st.lists(_KEYS, min_size=1, max_size=3)))
        written = draw(st.sampled_from([f"[{key}]", f"[[{key}]]", f"[ {key} ]", f"{key} = {draw(_values())}"]))
        parts.append(draw(_SPACES) + written + draw(st.sampled_from(["\n", " # [c] = 1\n", "\n\n"])))
    return "".join(parts)


@seed(1)
@settings(max_examples=150, deadline=None, derandomize=True)
@given(_documents())
def test_every_path_the_standard_parser_finds_has_a_line_and_no_other(text: str) -> None:
    try:
        parsed = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return

    lines = key_lines(text)

    assert set(lines) == _paths(parsed)
    written = text.split("\n")
    for path, line in lines.items():
        if isinstance(path[-1], str) and path[-1].isalnum() and path[-1].isascii():
            assert path[-1] in written[line - 1]
