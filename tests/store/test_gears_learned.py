"""Gears learned from the shift target alone, for engines whose logs and register do not name them."""

from __future__ import annotations

import pytest

from pipeline.gears import LevelSeen, learn_gears

NEUTRAL = LevelSeen(50.0, 300.0, 900.0, 2)
LOW_IDLE = LevelSeen(12.0, 20.0, 700.0, 0)
HIGH_CRUISE = LevelSeen(90.0, 200.0, 4200.0, 0)


def gears(*seen: LevelSeen) -> dict[float, str]:
    return {level.target_pct: level.gear for level in learn_gears(seen)}


def test_the_level_at_which_the_engine_starts_is_neutral() -> None:
    # start-in-gear protection: 33 CFR 183.710, ISO 11547
    assert gears(NEUTRAL, HIGH_CRUISE) == {50.0: "neutral", 90.0: "forward"}


def test_the_side_that_cruised_is_forward_also_when_it_is_the_low_end() -> None:
    low_cruise, high_idle = LevelSeen(12.0, 200.0, 4200.0, 0), LevelSeen(90.0, 20.0, 700.0, 0)
    assert gears(NEUTRAL, low_cruise, high_idle) == {12.0: "forward", 50.0: "neutral", 90.0: "reverse"}


def test_without_a_cruise_the_high_end_is_forward() -> None:
    # common practice, no published source
    assert gears(NEUTRAL, LOW_IDLE, LevelSeen(90.0, 20.0, 720.0, 0)) == {
        12.0: "reverse",
        50.0: "neutral",
        90.0: "forward",
    }


def test_without_a_start_the_middle_level_is_neutral() -> None:
    unstarted = LevelSeen(50.0, 300.0, 900.0, 0)
    assert gears(LOW_IDLE, unstarted, HIGH_CRUISE)[50.0] == "neutral"


def test_a_target_that_was_reset_is_the_same_gear() -> None:
    assert gears(NEUTRAL, HIGH_CRUISE, LevelSeen(88.0, 40.0, 3000.0, 0)) == {
        50.0: "neutral",
        88.0: "forward",
        90.0: "forward",
    }


def test_a_level_held_for_a_moment_is_no_gear() -> None:
    assert 70.0 not in gears(NEUTRAL, HIGH_CRUISE, LevelSeen(70.0, 0.2, 800.0, 0))


def test_nothing_seen_teaches_nothing() -> None:
    assert learn_gears([]) == ()


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 0, 2)])
def test_the_order_of_the_logs_does_not_matter(order: tuple[int, ...]) -> None:
    seen = (NEUTRAL, LOW_IDLE, HIGH_CRUISE)
    assert gears(*(seen[place] for place in order)) == gears(*seen)
