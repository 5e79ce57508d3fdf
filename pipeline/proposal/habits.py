"""How each channel behaves: the log odds that values in the canonical unit are its own, with what was seen.

The weights are common practice, no published source; `tests/proposal` holds the confidence that comes of them against
what truly stands in logs whose names were taken away.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from pipeline.channel_words import GEAR_WORDS
from pipeline.proposal.pairs import is_target_like, main_levels
from pipeline.proposal.signals import Around, Signal, correlation

if TYPE_CHECKING:
    from collections.abc import Callable

    from pipeline.proposal.signals import Values

Evidence = tuple[float, str]
"""Log odds (natural units) and what was seen; no words where it is not worth saying."""

IMPOSSIBLE: Final = -9.0
"""Values that the channel cannot have."""
_MOST: Final = 7.0
"""Habits alone never speak louder."""


@dataclass(frozen=True)
class Case:
    """One column as a candidate: its values in the canonical unit, its texts, and the log around it."""

    signal: Signal
    texts: tuple[str, ...]
    around: Around


def habit(channel: str, case: Case) -> Evidence:
    """How well the values behave like the channel's, all that was seen added up and cut at ±7, or `IMPOSSIBLE`."""
    if not case.signal.found.size:
        return _gear_words(case) if channel == "gear" else (-1.0, "empty in this log")
    if case.texts and len(case.texts) > 2 and case.signal.found.size < 10:
        return (IMPOSSIBLE, "")
    seen = [each for look in _LOOKS[channel] if (each := look(case))[0]]
    total = sum(weight for weight, _ in seen)
    said = [words for weight, words in sorted(seen, key=lambda each: -each[0]) if weight > 0 and words]
    if any(weight <= IMPOSSIBLE for weight, _ in seen):
        return IMPOSSIBLE, ""
    return max(-_MOST, min(total, _MOST)), ", ".join(said[:2])


def _inside(low: float, high: float, words: str, weight: float = 0.5) -> Callable[[Case], Evidence]:
    """Nearly all values lie in a range that the channel keeps to."""

    def look(case: Case) -> Evidence:
        share = case.signal.within(low, high)
        if share >= 0.98:
            return weight, words
        return (-1.5, "") if share >= 0.9 else (-4.0, "") if share >= 0.5 else (IMPOSSIBLE, "")

    return look


def _moves(least: float, weight: float = -3.0) -> Callable[[Case], Evidence]:
    """A signal that hardly moves shows nothing of the channel."""
    return lambda case: (weight, "") if case.signal.high - case.signal.low < least else (0.0, "")


def _glides(case: Case) -> Evidence:
    return (0.7, "") if case.signal.roughness < 0.02 else (-2.0, "")


# ---- speed ----------------------------------------------------------------------------------------------------------


def _idles_as_an_engine(case: Case) -> Evidence:
    turning = case.signal.found[case.signal.found > 150]
    share = float(np.mean((turning > 450) & (turning < 1150))) if turning.size else 0.0
    return (2.0, "idles between 450 and 1150") if share > 0.08 else (-3.0, "")


def _jumps_from_rest(case: Case) -> Evidence:
    """A standing engine does not creep: it turns fast enough or not at all."""
    found = case.signal.found
    at_rest, creeping = float(np.mean(found < 20)), float(np.mean((found >= 20) & (found < 350)))
    if creeping > 0.05:
        return -3.0, ""
    return (2.0, "stands, then turns") if at_rest > 0.003 else (0.0, "")


def _revs(case: Case) -> Evidence:
    top = float(case.signal.found.max())
    return (1.0, f"up to {top:.0f}") if 1000 < top < 9000 and case.signal.stillness < 0.96 else (-2.0, "")


def _near_idle_speed(case: Case) -> Evidence:
    around = case.around
    if around.speed is None or not around.idling.any():
        return 0.0, ""
    apart = np.abs(case.signal.values - around.speed.values)[around.idling & case.signal.known]
    near = apart.size > 0 and float(np.median(apart)) < 60
    return (3.0, "near the speed at idle") if near else (-3.0, "")


def _holds_levels(case: Case) -> Evidence:
    return (1.5, "holds its level") if case.signal.stillness > 0.9 else (-4.0, "")


def _does_not_count(case: Case) -> Evidence:
    found = case.signal.found
    counts = case.signal.levels.size == 0 and bool(np.all(np.diff(found) >= 0))
    return (-4.0, "") if counts or (case.signal.levels.size > 4 and case.signal.rise > 0.99) else (0.0, "")


# ---- gear and shifting ----------------------------------------------------------------------------------------------


def _gear_words(case: Case) -> Evidence:
    known = [text for text in case.texts if text.casefold() in GEAR_WORDS]
    if case.texts and len(known) == len(case.texts):
        return (6.0, "words for gears") if len(known) > 1 else (3.0, "a word for a gear")
    return IMPOSSIBLE, ""


def _gear_codes(case: Case) -> Evidence:
    levels = set(case.signal.levels.tolist())
    if not levels or not levels <= {-1.0, 0.0, 1.0}:
        return IMPOSSIBLE, ""
    if -1.0 in levels:
        return 4.0, "−1, 0 and 1"
    return (-0.5, "0 and 1") if len(levels) > 1 else (-2.0, "")


def _steps_between_levels(case: Case) -> Evidence:
    if not is_target_like(case.signal):
        return IMPOSSIBLE, ""
    levels = main_levels(case.signal)
    words = f"steps between {', '.join(f'{level:g}' for level in levels)}"
    return (1.5 if levels.size == 3 else 0.5), words


def _clusters(case: Case) -> Evidence:
    """A position rests near two or three places nearly all the time and passes quickly between them."""
    counts, _ = np.histogram(case.signal.found, bins=20, range=(0.0, 100.0))
    share = np.sort(counts)[-4:].sum() / max(1, counts.sum())
    return (0.5, "rests at a few places") if share > 0.9 and case.signal.span > 15 else (-2.5, "")


# ---- throttle and helm ----------------------------------------------------------------------------------------------


def _follows_speed(case: Case) -> Evidence:
    around = case.around
    if around.speed is None:
        return 0.0, ""
    tied = correlation(np.where(around.turning, case.signal.values, np.nan), around.speed.values)
    if tied > 0.6:
        return 2.5, f"rises with the speed ({tied:.2f})"
    return (0.5, "") if tied > 0.4 else (-2.5, "")


def _rests(case: Case) -> Evidence:
    """A pedal that nobody touches rests at its end, to within its noise; a throttle keeps moving to hold the idle."""
    at_idle = case.signal.at(case.around.idling)
    if at_idle.size < 20:
        return 0.0, ""
    wander = float(np.percentile(at_idle, 90) - np.percentile(at_idle, 10))
    lowest = float(np.percentile(case.signal.found, 1))
    rests = wander < 0.35 and float(np.median(at_idle)) - lowest < 0.5
    return (2.0, "rests at one end at idle") if rests else (-2.0, "")


def _wanders_at_idle(case: Case) -> Evidence:
    weight, _ = _rests(case)
    return (-1.5 if weight > 0 else 1.5 if weight < 0 else 0.0), "moves at idle too" if weight < 0 else ""


def _has_travel(case: Case) -> Evidence:
    return (0.5, "") if case.signal.span > 15 else (-2.0, "")


def _small_at_idle(case: Case) -> Evidence:
    middle = case.signal.middle_at(case.around.idling)
    return (0.0, "") if not np.isfinite(middle) else (0.7, "small at idle") if -1 <= middle < 20 else (-2.0, "")


# ---- idle control and fuel ------------------------------------------------------------------------------------------


def _both_signs(case: Case) -> Evidence:
    found = case.signal.found
    if found.min() < 0 < found.max():
        return 1.5, "both signs"
    return (0.0, "") if abs(case.signal.middle) < 15 and found.min() <= 0.5 else (-2.5, "")


def _near_zero(case: Case) -> Evidence:
    return (0.5, "around zero") if abs(case.signal.middle) < 12 else (-3.0, "")


def _slow(case: Case) -> Evidence:
    return (1.5, "moves slowly") if case.signal.roughness < 0.01 else (-2.0, "")


def _quick(case: Case) -> Evidence:
    return (1.5, "moves quickly") if case.signal.roughness > 0.01 else (-2.0, "")


def _apart_from_speed(case: Case) -> Evidence:
    around = case.around
    if around.speed is None:
        return 0.0, ""
    return (0.5, "") if abs(correlation(case.signal.values, around.speed.values)) < 0.7 else (-0.5, "")


def _falls_as_it_warms(case: Case) -> Evidence:
    if case.signal.levels.size:
        return -2.0, ""
    if case.signal.rise < -0.5 and case.signal.stillness > 0.5:
        return 3.0, "falls as the engine warms"
    return (0.0, "") if case.signal.rise < 0.2 else (-2.0, "")


def _is_flag(case: Case) -> Evidence:
    levels = set(case.signal.levels.tolist())
    return (0.5, "0 or 1") if levels and levels <= {0.0, 1.0} else (IMPOSSIBLE, "")


def _on_at_idle(case: Case) -> Evidence:
    around = case.around
    if around.speed is None or case.signal.levels.size < 2 or not around.idling.any():
        return -1.0, ""
    idle = float(np.median(around.speed.values[around.idling]))
    slow = around.turning & (around.speed.values < 1.25 * idle)
    fast = around.turning & (around.speed.values > 1.6 * idle)
    on_slow, on_fast = case.signal.at(slow), case.signal.at(fast)
    if not on_slow.size or not on_fast.size:
        return 0.0, ""
    told = float(on_slow.mean() - on_fast.mean())
    return (3.5, "on at idle, off at speed") if told > 0.6 else (-3.0, "")


def _first_seconds(case: Case, seconds: float) -> Values:
    """The values of the first seconds in which the engine idles after a start; empty where no start was logged."""
    around = case.around
    if around.speed is None or not around.starts.any():
        return case.signal.found[:0]
    began = around.time_s[int(np.argmax(around.starts & around.turning))]
    return case.signal.at(around.idling & (around.time_s >= began + 2) & (around.time_s < began + 2 + seconds))


def _on_from_the_first_idle(case: Case) -> Evidence:
    first = _first_seconds(case, 15)
    if first.size < 5:
        return 0.0, ""
    return (1.0, "on from the first idling") if first.mean() > 0.5 else (-3.0, "")


def _off_until_it_has_run(case: Case) -> Evidence:
    """A fuel loop is open while the engine is new to running and closes later."""
    around = case.around
    if around.speed is None or case.signal.levels.size < 2:
        return -1.0, ""
    first, later = _first_seconds(case, 10), case.signal.at(around.idling)
    if first.size < 5 or not later.size:
        return 0.5, ""
    return (3.0, "off at first, on later") if first.mean() < 0.3 and later.mean() > 0.3 else (-2.5, "")


def _stoichiometric(case: Case) -> Evidence:
    middle = case.signal.middle_at(case.around.turning)
    middle = case.signal.middle if not np.isfinite(middle) else middle
    return (2.5, f"around {middle:.2f}") if 0.85 < middle < 1.12 else (-3.0, "")


def _noisy(case: Case) -> Evidence:
    return (1.5, "measured, with noise") if case.signal.stillness < 0.6 else (-1.5, "")


# ---- temperatures ---------------------------------------------------------------------------------------------------


def _warms_up(case: Case) -> Evidence:
    signal = case.signal
    gained = signal.high - signal.low
    if not is_smooth(signal):
        return -3.0, ""
    if warms(signal):
        return 3.0, f"warms up, {signal.low:.0f} to {signal.high:.0f}"
    return (1.0, f"warm, about {signal.middle:.0f}") if gained < 15 and 50 < signal.middle < 115 else (-2.0, "")


def warms(signal: Signal) -> bool:
    """Whether it rises as a cold engine's temperatures do; °C or °F."""
    return signal.high - signal.low > 12 and signal.climb > 0.6 and is_smooth(signal)


def is_smooth(signal: Signal) -> bool:
    """Whether its path is short for what it covers: heat does not jump to and fro."""
    coarse = signal.found[:: max(1, signal.found.size // 60)]
    path = float(np.abs(np.diff(coarse)).sum())
    return path < 3.0 * max(float(np.ptp(coarse)), 2.0)


def _stays_cool(case: Case) -> Evidence:
    signal = case.signal
    if not -35 < signal.middle < 55 or signal.span > 25 or not (is_smooth(signal) or signal.span < 12):
        return -3.0, ""
    return (1.2, f"about {signal.middle:.0f} throughout") if signal.span > 0.5 else (-0.5, "")


# ---- the rest -------------------------------------------------------------------------------------------------------


def _dips_at_start(case: Case) -> Evidence:
    around = case.around
    near, after = case.signal.at(around.starts), case.signal.at(around.turning & ~around.starts)
    if not near.size or not after.size:
        return 0.0, ""
    dip = float(np.median(after) - near.min())
    return (3.5, "dips when the engine starts") if dip > 1.0 else (-1.0, "")


def _charges(case: Case) -> Evidence:
    middle = case.signal.middle
    return (2.0, f"about {middle:.1f}") if 11.8 < middle < 15 else (-3.0, "")


def _steady(case: Case) -> Evidence:
    """A charged net keeps its voltage to some tenths, though never to the last digit."""
    signal = case.signal
    if (signal.high - signal.low) > 0.2 * abs(signal.middle):
        return -2.0, ""
    charging = 13.0 < signal.middle_at(case.around.turning) < 14.9
    return (1.0, "") if charging and signal.high - signal.low < 1.6 and signal.stillness < 0.9 else (-0.5, "")


def _nothing_at_rest(case: Case) -> Evidence:
    """Oil pressure is made by the turning engine."""
    standing, turning = case.signal.middle_at(case.around.standing), case.signal.middle_at(case.around.turning)
    if not np.isfinite(turning):
        return 0.0, ""
    if not np.isfinite(standing):
        return (0.5, "") if 100 < turning < 700 else (-2.0, "")
    made = abs(standing) < 25 and turning > 90
    return (3.0, "none at rest, there when it turns") if made else (-5.0, "")


def _higher_at_speed(case: Case) -> Evidence:
    around = case.around
    if around.speed is None:
        return 0.0, ""
    tied = correlation(np.where(around.turning, case.signal.values, np.nan), around.speed.values)
    return (1.0, "rises with the speed") if tied > 0.4 else (-1.0, "")


def _never_nothing(case: Case) -> Evidence:
    """Pressure of the oil does not fall to nothing while the engine idles."""
    at_idle = case.signal.at(case.around.idling & ~case.around.starts)
    return (0.0, "") if not at_idle.size or float(np.percentile(at_idle, 5)) > 50 else (-2.0, "")


def _air_at_rest(case: Case) -> Evidence:
    """A standing engine's manifold holds the air of the day."""
    standing = case.signal.middle_at(case.around.standing)
    if not np.isfinite(standing):
        return 0.0, ""
    return (2.5, f"{standing:.0f} at rest") if 70 < standing < 108 else (-4.0, "")


def _vacuum_at_idle(case: Case) -> Evidence:
    middle = case.signal.middle_at(case.around.idling)
    if not np.isfinite(middle):
        return 0.0, ""
    standing = case.signal.middle_at(case.around.standing)
    drawn = 15 < middle < 75 and not middle > 0.8 * standing
    return (2.0, f"{middle:.0f} at idle") if drawn else (-4.0, "")


def _counts_hours(case: Case) -> Evidence:
    """Rises by as much as the log lasts, one hour an hour."""
    found, around = case.signal.found, case.around
    if np.any(np.diff(found) < 0) or found[0] < 0:
        return IMPOSSIBLE, ""
    gained = float(found[-1] - found[0])
    lasted = around.seconds / 3600
    if not gained or not found[0] or case.signal.stillness < 0.5:
        return -1.0, ""
    if not around.is_timed:
        return (1.5, "counts up slowly") if 0.2 * lasted < gained < 5 * lasted else (-4.0, "")
    fits = 0.7 * lasted - 0.02 < gained < 1.3 * lasted + 0.02
    return (4.0, "counts one hour an hour") if fits else (-4.0, "")


_LOOKS: Final[dict[str, tuple[Callable[[Case], Evidence], ...]]] = {
    "rpm": (_inside(-5, 9500, "", 0.0), _idles_as_an_engine, _jumps_from_rest, _revs),
    "rpm_target": (_inside(400, 1300, "400 to 1300"), _holds_levels, _near_idle_speed, _does_not_count),
    "gear": (_gear_codes,),
    "shift_target": (_inside(-5, 105, "", 0.0), _steps_between_levels, _holds_levels),
    "shift_position": (_inside(-10, 110, "", 0.0), _clusters, _moves(10)),
    "throttle": (_inside(-3, 105, "0 to 100", 0.0), _follows_speed, _wanders_at_idle, _small_at_idle, _has_travel),
    "pedal": (_inside(-3, 105, "0 to 100", 0.0), _follows_speed, _rests, _small_at_idle, _has_travel),
    "idle_integral": (_inside(-40, 40, ""), _both_signs, _near_zero, _slow, _apart_from_speed, _moves(0.3)),
    "idle_feedforward": (_inside(2, 95, "", 0.0), _falls_as_it_warms, _glides, _moves(1.0)),
    "idle_active": (_is_flag, _on_at_idle, _on_from_the_first_idle),
    "fuel_closed_loop": (_is_flag, _off_until_it_has_run),
    "oil_temp": (_inside(-30, 150, "", 0.0), _warms_up),
    "coolant_temp": (_inside(-30, 125, "", 0.0), _warms_up),
    "air_temp": (_inside(-40, 90, "", 0.0), _stays_cool),
    "lambda": (_inside(0.55, 1.7, "", 0.0), _stoichiometric, _noisy),
    "lambda_target": (_inside(0.55, 1.4, "", 0.0), _stoichiometric, _holds_levels),
    "fuel_trim": (_inside(-35, 35, ""), _both_signs, _near_zero, _quick, _apart_from_speed, _moves(0.3)),
    "battery": (_inside(6, 17, "", 0.0), _charges, _dips_at_start, _steady),
    "oil_pressure": (_inside(-30, 1000, "", 0.0), _nothing_at_rest, _higher_at_speed, _never_nothing, _moves(30)),
    "manifold_pressure": (_inside(8, 300, "", 0.0), _air_at_rest, _vacuum_at_idle, _moves(4)),
    "engine_hours": (_counts_hours,),
}  # fmt: skip
"""What is looked at for each channel."""
