"""How each channel behaves: the log odds that values in the canonical unit are its own, with what was seen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from pipeline.proposal.case import IMPOSSIBLE, Case, Evidence, glides, inside, moves
from pipeline.proposal.habits_of_driving import (
    clusters,
    does_not_count,
    follows_speed,
    gear_numbers,
    gear_words,
    has_travel,
    holds_levels,
    idles_as_an_engine,
    jumps_from_rest,
    near_idle_speed,
    rests,
    revs,
    small_at_idle,
    steps_between_levels,
    wanders_at_idle,
)
from pipeline.proposal.habits_of_running import (
    air_at_rest,
    apart_from_speed,
    both_signs,
    charges,
    counts_hours,
    dips_at_start,
    falls_as_it_warms,
    higher_at_speed,
    is_flag,
    near_zero,
    never_nothing,
    noisy,
    nothing_at_rest,
    off_until_it_has_run,
    on_at_idle,
    on_from_the_first_idle,
    quick,
    slow,
    stays_cool,
    steady,
    stoichiometric,
    vacuum_at_idle,
    warms_up,
)

if TYPE_CHECKING:
    from collections.abc import Callable

_MOST: Final = 7.0
"""Habits alone never speak louder."""


def habit(channel: str, case: Case) -> Evidence:
    """How well the values behave like the channel's, all that was seen added up and cut at ±7, or `IMPOSSIBLE`."""
    if not case.signal.found.size:
        return gear_words(case) if channel == "gear" else (-1.0, "empty in this log")
    if case.texts and len(case.texts) > 2 and case.signal.found.size < 10:
        return (IMPOSSIBLE, "")
    seen = [each for look in _LOOKS[channel] if (each := look(case))[0]]
    total = sum(weight for weight, _ in seen)
    said = [words for weight, words in sorted(seen, key=lambda each: -each[0]) if weight > 0 and words]
    if any(weight <= IMPOSSIBLE for weight, _ in seen):
        return IMPOSSIBLE, ""
    return max(-_MOST, min(total, _MOST)), ", ".join(said[:2])


_LOOKS: Final[dict[str, tuple[Callable[[Case], Evidence], ...]]] = {
    "rpm": (inside(-5, 9500, "", 0.0), idles_as_an_engine, jumps_from_rest, revs),
    "rpm_target": (inside(400, 1300, "400 to 1300"), holds_levels, near_idle_speed, does_not_count),
    "gear": (gear_numbers,),
    "shift_target": (inside(-5, 105, "", 0.0), steps_between_levels, holds_levels),
    "shift_position": (inside(-10, 110, "", 0.0), clusters, moves(10)),
    "throttle": (inside(-3, 105, "0 to 100", 0.0), follows_speed, wanders_at_idle, small_at_idle, has_travel),
    "pedal": (inside(-3, 105, "0 to 100", 0.0), follows_speed, rests, small_at_idle, has_travel),
    "idle_integral": (inside(-40, 40, ""), both_signs, near_zero, slow, apart_from_speed, moves(0.3)),
    "idle_feedforward": (inside(2, 95, "", 0.0), falls_as_it_warms, glides, moves(1.0)),
    "idle_active": (is_flag, on_at_idle, on_from_the_first_idle),
    "fuel_closed_loop": (is_flag, off_until_it_has_run),
    "oil_temp": (inside(-30, 150, "", 0.0), warms_up),
    "coolant_temp": (inside(-30, 125, "", 0.0), warms_up),
    "air_temp": (inside(-40, 90, "", 0.0), stays_cool),
    "lambda": (inside(0.55, 1.7, "", 0.0), stoichiometric, noisy),
    "lambda_target": (inside(0.55, 1.4, "", 0.0), stoichiometric, holds_levels),
    "fuel_trim": (inside(-35, 35, ""), both_signs, near_zero, quick, apart_from_speed, moves(0.3)),
    "battery": (inside(6, 17, "", 0.0), charges, dips_at_start, steady),
    "oil_pressure": (inside(-30, 1000, "", 0.0), nothing_at_rest, higher_at_speed, never_nothing, moves(30)),
    "manifold_pressure": (inside(8, 300, "", 0.0), air_at_rest, vacuum_at_idle, moves(4)),
    "engine_hours": (counts_hours,),
}  # fmt: skip
"""What is looked at for each channel."""
