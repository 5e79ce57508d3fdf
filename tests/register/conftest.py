"""Small registers, written where a test can read them."""

from __future__ import annotations

from collections.abc import Callable
from textwrap import dedent
from typing import TYPE_CHECKING

import pytest

from pipeline.problems import Problem
from pipeline.register import Register, RegisterError, load_register

if TYPE_CHECKING:
    from pathlib import Path

Load = Callable[[str], Register]
Mistakes = Callable[[str], tuple[Problem, ...]]


@pytest.fixture
def load(tmp_path: Path) -> Load:
    """Write a `fleet.toml` and load it."""

    def write_and_load(text: str) -> Register:
        (tmp_path / "fleet.toml").write_text(dedent(text), encoding="utf-8")
        return load_register(tmp_path, frozenset({"shift_reach_error", "battery_idle"}))

    return write_and_load


@pytest.fixture
def mistakes(load: Load) -> Mistakes:
    """Load a `fleet.toml` that is wrong; every line that a mistake stands in must end with `# wrong`, no other may."""

    def found_in(text: str) -> tuple[Problem, ...]:
        with pytest.raises(RegisterError) as raised:
            load(text)
        marked = [line for line, words in enumerate(dedent(text).splitlines(), start=1) if words.endswith("# wrong")]
        assert [problem.line for problem in raised.value.problems] == marked
        assert {problem.file for problem in raised.value.problems} == {"fleet.toml"}
        return raised.value.problems

    return found_in
