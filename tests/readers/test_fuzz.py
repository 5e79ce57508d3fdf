"""A sample of the damaged logs that `fuzz.py` makes: every answer is a value, and every taken log keeps the rules."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parent))

import fuzz

SAMPLE = 300


@pytest.fixture(scope="module")
def logs() -> dict[str, tuple[bytes, dict[str, object]]]:
    return fuzz.originals()


@pytest.mark.parametrize("tenth", range(10))
def test_a_damaged_log_is_answered_by_the_rules(
    tenth: int, logs: dict[str, tuple[bytes, dict[str, object]]], tmp_path: Path
) -> None:
    size = SAMPLE // 10
    for number in range(tenth * size, (tenth + 1) * size):
        damaged = fuzz.case(20260614, number, logs)
        _, told = fuzz.broken_rules(damaged, tmp_path)
        assert told == [], f"case {number} of {damaged.origin}"
