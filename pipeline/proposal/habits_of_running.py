"""How idle control, fuel, heat, voltage and pressures behave: each look gives log odds, and words for what was seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.proposal.case import IMPOSSIBLE, Case, Evidence, is_smooth, warms
from pipeline.proposal.signals import correlation

if TYPE_CHECKING:
    from pipeline.proposal.signals import Values

# ---- idle control and fuel ------------------------------------------------------------------------------------------


def both_signs(case: Case) -> Evidence:
    """A correction goes both ways."""
    found = case.signal.found
    if found.min() < 0 < found.max():
        return 1.5, "both signs"
    return (0.0, "") if abs(case.signal.middle) < 15 and found.min() <= 0.5 else (-2.5, "")


def near_zero(case: Case) -> Evidence:
    """A correction that is large all the time would have been set right."""
    return (0.5, "around zero") if abs(case.signal.middle) < 12 else (-3.0, "")


def slow(case: Case) -> Evidence:
    """An integral moves slowly."""
    return (1.5, "moves slowly") if case.signal.roughness < 0.01 else (-2.0, "")


def quick(case: Case) -> Evidence:
    """A closed lambda loop swings."""
    return (1.5, "moves quickly") if case.signal.roughness > 0.01 else (-2.0, "")


def apart_from_speed(case: Case) -> Evidence:
    """A correction does not go with the speed."""
    around = case.around
    if around.speed is None:
        return 0.0, ""
    return (0.5, "") if abs(correlation(case.signal.values, around.speed.values)) < 0.7 else (-0.5, "")


def falls_as_it_warms(case: Case) -> Evidence:
    """Cold oil drags: the table gives the cold engine more."""
    if case.signal.levels.size:
        return -2.0, ""
    if case.signal.rise < -0.5 and case.signal.stillness > 0.5:
        return 3.0, "falls as the engine warms"
    return (0.0, "") if case.signal.rise < 0.2 else (-2.0, "")


def is_flag(case: Case) -> Evidence:
    """Nothing but 0 and 1."""
    levels = set(case.signal.levels.tolist())
    return (0.5, "0 or 1") if levels and levels <= {0.0, 1.0} else (IMPOSSIBLE, "")


def on_at_idle(case: Case) -> Evidence:
    """An idle loop is at work at idle and not at speed."""
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


def first_seconds(case: Case, seconds: float) -> Values:
    """The values of the first seconds in which the engine idles after a start; empty where no start was logged."""
    around = case.around
    if around.speed is None or not around.starts.any():
        return case.signal.found[:0]
    began = around.time_s[int(np.argmax(around.starts & around.turning))]
    return case.signal.at(around.idling & (around.time_s >= began + 2) & (around.time_s < began + 2 + seconds))


def on_from_the_first_idle(case: Case) -> Evidence:
    """An idle loop is at work as soon as the engine idles."""
    first = first_seconds(case, 15)
    if first.size < 5:
        return 0.0, ""
    return (1.0, "on from the first idling") if first.mean() > 0.5 else (-3.0, "")


def off_until_it_has_run(case: Case) -> Evidence:
    """A fuel loop is open while the engine is new to running and closes later."""
    around = case.around
    if around.speed is None or case.signal.levels.size < 2:
        return -1.0, ""
    first, later = first_seconds(case, 10), case.signal.at(around.idling)
    if first.size < 5 or not later.size:
        return 0.5, ""
    return (3.0, "off at first, on later") if first.mean() < 0.3 and later.mean() > 0.3 else (-2.5, "")


def stoichiometric(case: Case) -> Evidence:
    """Lambda stays around 1."""
    middle = case.signal.middle_at(case.around.turning)
    middle = case.signal.middle if not np.isfinite(middle) else middle
    return (2.5, f"around {middle:.2f}") if 0.85 < middle < 1.12 else (-3.0, "")


def noisy(case: Case) -> Evidence:
    """What is measured has noise; what is set has none."""
    return (1.5, "measured, with noise") if case.signal.stillness < 0.6 else (-1.5, "")


# ---- temperatures ---------------------------------------------------------------------------------------------------


def warms_up(case: Case) -> Evidence:
    """A cold engine's temperatures rise; a warm one's stay."""
    signal = case.signal
    gained = signal.high - signal.low
    if not is_smooth(signal):
        return -3.0, ""
    if warms(signal):
        return 3.0, f"warms up, {signal.low:.0f} to {signal.high:.0f}"
    return (1.0, f"warm, about {signal.middle:.0f}") if gained < 15 and 50 < signal.middle < 115 else (-2.0, "")


def stays_cool(case: Case) -> Evidence:
    """The air's temperature stays far from the engine's, and hardly changes within a log."""
    signal = case.signal
    if not -35 < signal.middle < 55 or signal.span > 25 or not (is_smooth(signal) or signal.span < 12):
        return -3.0, ""
    return (1.2, f"about {signal.middle:.0f} throughout") if signal.span > 0.5 else (-0.5, "")


# ---- the rest -------------------------------------------------------------------------------------------------------


def dips_at_start(case: Case) -> Evidence:
    """The starter draws the battery down."""
    around = case.around
    near, after = case.signal.at(around.starts), case.signal.at(around.turning & ~around.starts)
    if not near.size or not after.size:
        return 0.0, ""
    dip = float(np.median(after) - near.min())
    return (3.5, "dips when the engine starts") if dip > 1.0 else (-1.0, "")


def charges(case: Case) -> Evidence:
    """The voltage of a 12 V net, at rest or charged."""
    middle = case.signal.middle
    return (2.0, f"about {middle:.1f}") if 11.8 < middle < 15 else (-3.0, "")


def steady(case: Case) -> Evidence:
    """A charged net keeps its voltage to some tenths, though never to the last digit."""
    signal = case.signal
    if (signal.high - signal.low) > 0.2 * abs(signal.middle):
        return -2.0, ""
    charging = 13.0 < signal.middle_at(case.around.turning) < 14.9
    return (1.0, "") if charging and signal.high - signal.low < 1.6 and signal.stillness < 0.9 else (-0.5, "")


def nothing_at_rest(case: Case) -> Evidence:
    """Oil pressure is made by the turning engine."""
    standing, turning = case.signal.middle_at(case.around.standing), case.signal.middle_at(case.around.turning)
    if not np.isfinite(turning):
        return 0.0, ""
    if not np.isfinite(standing):
        return (0.5, "") if 100 < turning < 700 else (-2.0, "")
    made = abs(standing) < 25 and turning > 90
    return (3.0, "none at rest, there when it turns") if made else (-5.0, "")


def higher_at_speed(case: Case) -> Evidence:
    """A pump that the engine drives gives more at speed."""
    around = case.around
    if around.speed is None:
        return 0.0, ""
    tied = correlation(np.where(around.turning, case.signal.values, np.nan), around.speed.values)
    return (1.0, "rises with the speed") if tied > 0.4 else (-1.0, "")


def never_nothing(case: Case) -> Evidence:
    """Pressure of the oil does not fall to nothing while the engine idles."""
    at_idle = case.signal.at(case.around.idling & ~case.around.starts)
    return (0.0, "") if not at_idle.size or float(np.percentile(at_idle, 5)) > 50 else (-2.0, "")


def air_at_rest(case: Case) -> Evidence:
    """A standing engine's manifold holds the air of the day."""
    standing = case.signal.middle_at(case.around.standing)
    if not np.isfinite(standing):
        return 0.0, ""
    return (2.5, f"{standing:.0f} at rest") if 70 < standing < 108 else (-4.0, "")


def vacuum_at_idle(case: Case) -> Evidence:
    """A closed throttle draws the manifold down."""
    middle = case.signal.middle_at(case.around.idling)
    if not np.isfinite(middle):
        return 0.0, ""
    standing = case.signal.middle_at(case.around.standing)
    drawn = 15 < middle < 75 and not middle > 0.8 * standing
    return (2.0, f"{middle:.0f} at idle") if drawn else (-4.0, "")


def counts_hours(case: Case) -> Evidence:
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
