"""Logs whose names say nothing: most channels are still found, and the confidence holds what it promises.

What is true is what the simulator wrote; nothing of the proposal is used to say so.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.proposal.proposing import proposal_of

SURE = 0.9


@dataclass(frozen=True)
class Outcomes:
    """Confidence and rightness of every line mentioned, the share of all true channels proposed, the lines by boat."""

    told: np.ndarray
    right: np.ndarray
    found: float
    lines: dict[str, dict[str, str | None]]


def _outcomes(logs: list[Any]) -> Outcomes:
    proposals = [(log, proposal_of(Path(__file__), log.peek)) for log in logs]
    mentioned = [
        (line.confidence, log.truth.get(line.column) == line.channel)
        for log, each in proposals
        for line in (*each.chosen, *each.maybe)
        if line.channel != "time"
    ]
    lines = {log.boat: {line.channel: log.truth.get(line.column) for line in each.chosen} for log, each in proposals}
    found = sum(channel == true for each in lines.values() for channel, true in each.items())
    told, right = zip(*mentioned, strict=True)
    return Outcomes(np.array(told), np.array(right), found / sum(len(log.truth) for log in logs), lines)


@pytest.fixture(scope="module")
def plain(scrambled: list[Any]) -> Outcomes:
    return _outcomes(scrambled)


@pytest.fixture(scope="module")
def crowded(scrambled_with_others: list[Any]) -> Outcomes:
    return _outcomes(scrambled_with_others)


def test_most_channels_are_found_by_how_they_behave(plain: Outcomes) -> None:
    assert plain.found >= 0.8


def test_more_than_half_are_found_among_as_many_columns_that_are_no_channel(crowded: Outcomes) -> None:
    assert crowded.found >= 0.55


def test_what_is_called_nearly_certain_is_right_nine_times_in_ten(plain: Outcomes, crowded: Outcomes) -> None:
    for each in (plain, crowded):
        sure = each.told >= SURE
        assert sure.sum() >= 30, "enough to count"
        assert each.right[sure].mean() >= 0.9


def test_no_level_of_confidence_promises_more_than_it_holds(plain: Outcomes, crowded: Outcomes) -> None:
    told, right = np.concatenate([plain.told, crowded.told]), np.concatenate([plain.right, crowded.right])
    for low, high in ((0.3, 0.5), (0.5, 0.65), (0.65, 0.8), (0.8, 0.9), (0.9, 1.0)):
        here = (told >= low) & (told < high)
        # two standard errors of a share of that many lines
        allowed = 2 * np.sqrt(told[here].mean() * (1 - told[here].mean()) / here.sum())
        assert right[here].mean() >= told[here].mean() - allowed, (low, high)


def test_the_gear_target_and_its_position_are_told_apart_in_every_log(plain: Outcomes) -> None:
    for boat, lines in plain.lines.items():
        assert lines.get("shift_target") == "shift_target", boat
        assert lines.get("shift_position") == "shift_position", boat
