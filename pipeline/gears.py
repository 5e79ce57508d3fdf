"""Which gear each level of the shift target stands for, learned from an engine's logs where nothing says so.

An engine can only be started in neutral (start-in-gear protection: 33 CFR 183.710, ISO 11547), so the level at which it
starts is neutral. Of the two sides the one that has seen the higher speed is forward: boats do not cruise in reverse.
Where neither has, the middle level is neutral and the high end forward, as most units run (common practice).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from pipeline.extract import GearLevel

TOGETHER_PCT: Final = 5.0
"""Levels no farther apart than this are one gear: a target that was re-set, not another gear."""

SHORTEST_S: Final = 1.0
"""A level held for less in all is one that the target passed on its way."""

CLEAR_RPM: Final = 500.0
"""By how much one side must have run faster than the other to be called forward."""


@dataclass(frozen=True)
class LevelSeen:
    """One level of the target (% of travel): how long the engine turned there, its fastest, how often it started."""

    target_pct: float
    seconds: float
    rpm_max: float
    starts: int


def learn_gears(seen: Iterable[LevelSeen]) -> tuple[GearLevel, ...]:
    """The gear of every level, lowest first; empty where no level was held. The order of `seen` does not matter."""
    groups = _together(seen)
    if not groups:
        return ()
    neutral = _neutral(groups)
    low = "reverse" if _fastest(groups[:neutral]) < _fastest(groups[neutral + 1 :]) + CLEAR_RPM else "forward"
    high = "forward" if low == "reverse" else "reverse"
    gears = [low] * neutral + ["neutral"] + [high] * (len(groups) - neutral - 1)
    return tuple(
        GearLevel(level.target_pct, gear) for group, gear in zip(groups, gears, strict=True) for level in group
    )


def _together(seen: Iterable[LevelSeen]) -> list[list[LevelSeen]]:
    """Levels in groups that are one gear, lowest first; the same level of several logs is added up."""
    groups: list[list[LevelSeen]] = []
    for level in [each for each in _added_up(seen) if each.seconds >= SHORTEST_S]:
        if groups and level.target_pct - groups[-1][-1].target_pct <= TOGETHER_PCT:
            groups[-1].append(level)
        else:
            groups.append([level])
    return groups


def _added_up(seen: Iterable[LevelSeen]) -> list[LevelSeen]:
    found: dict[float, LevelSeen] = {}
    for level in seen:
        known = found.get(level.target_pct, LevelSeen(level.target_pct, 0.0, 0.0, 0))
        found[level.target_pct] = LevelSeen(
            level.target_pct,
            known.seconds + level.seconds,
            max(known.rpm_max, level.rpm_max),
            known.starts + level.starts,
        )
    return [found[target_pct] for target_pct in sorted(found)]


def _neutral(groups: Sequence[Sequence[LevelSeen]]) -> int:
    """Which group is neutral: where the engine started most often, else the middle one."""
    starts = [sum(level.starts for level in group) for group in groups]
    return starts.index(max(starts)) if any(starts) else len(groups) // 2


def _fastest(groups: Sequence[Sequence[LevelSeen]]) -> float:
    return max((level.rpm_max for group in groups for level in group), default=0.0)
