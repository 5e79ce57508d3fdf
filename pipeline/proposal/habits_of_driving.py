"""How the speed, the gears and the levers behave: each look gives log odds, and words for what was seen."""

from __future__ import annotations

import numpy as np

from pipeline.channel_words import GEAR_WORDS
from pipeline.proposal.case import IMPOSSIBLE, Case, Evidence
from pipeline.proposal.gear_codes import gear_codes
from pipeline.proposal.pairs import is_target_like, main_levels
from pipeline.proposal.signals import correlation

# ---- speed ----------------------------------------------------------------------------------------------------------


def idles_as_an_engine(case: Case) -> Evidence:
    """Some of the turning is idling, at a speed that engines idle at."""
    turning = case.signal.found[case.signal.found > 150]
    share = float(np.mean((turning > 450) & (turning < 1150))) if turning.size else 0.0
    return (2.0, "idles between 450 and 1150") if share > 0.08 else (-3.0, "")


def jumps_from_rest(case: Case) -> Evidence:
    """A standing engine does not creep: it turns fast enough or not at all."""
    found = case.signal.found
    at_rest, creeping = float(np.mean(found < 20)), float(np.mean((found >= 20) & (found < 350)))
    if creeping > 0.05:
        return -3.0, ""
    return (2.0, "stands, then turns") if at_rest > 0.003 else (0.0, "")


def revs(case: Case) -> Evidence:
    """It reaches a speed that engines reach, and is measured anew at nearly every row."""
    top = float(case.signal.found.max())
    return (1.0, f"up to {top:.0f}") if 1000 < top < 9000 and case.signal.stillness < 0.96 else (-2.0, "")


def near_idle_speed(case: Case) -> Evidence:
    """An idle target lies near the speed that it holds."""
    around = case.around
    if around.speed is None or not around.idling.any():
        return 0.0, ""
    apart = np.abs(case.signal.values - around.speed.values)[around.idling & case.signal.known]
    near = apart.size > 0 and float(np.median(apart)) < 60
    return (3.0, "near the speed at idle") if near else (-3.0, "")


def holds_levels(case: Case) -> Evidence:
    """What is set and not measured repeats from row to row."""
    return (1.5, "holds its level") if case.signal.stillness > 0.9 else (-4.0, "")


def does_not_count(case: Case) -> Evidence:
    """A counter near the idle speed is no target of it."""
    found = case.signal.found
    counts = case.signal.levels.size == 0 and bool(np.all(np.diff(found) >= 0))
    return (-4.0, "") if counts or (case.signal.levels.size > 4 and case.signal.rise > 0.99) else (0.0, "")


# ---- gear and shifting ----------------------------------------------------------------------------------------------


def gear_words(case: Case) -> Evidence:
    """All its texts are words for gears."""
    known = [text for text in case.texts if text.casefold() in GEAR_WORDS]
    if case.texts and len(known) == len(case.texts):
        return (6.0, "words for gears") if len(known) > 1 else (3.0, "a word for a gear")
    return IMPOSSIBLE, ""


def gear_numbers(case: Case) -> Evidence:
    """The codes of a gear: reverse −1, neutral 0, forward 1; or 0, 1 and 2 with one that the others pass through."""
    levels = set(case.signal.levels.tolist())
    if gear_codes(case.signal, case.around.speed) is not None:
        return 1.0, "0, 1 and 2, one of them between the others"
    if not levels or not levels <= {-1.0, 0.0, 1.0}:
        return IMPOSSIBLE, ""
    if -1.0 in levels:
        return 4.0, "−1, 0 and 1"
    return (-0.5, "0 and 1") if len(levels) > 1 else (-2.0, "")


def steps_between_levels(case: Case) -> Evidence:
    """A target holds one level for each gear and steps between them."""
    if not is_target_like(case.signal):
        return IMPOSSIBLE, ""
    levels = main_levels(case.signal)
    words = f"steps between {', '.join(f'{level:g}' for level in levels)}"
    return (1.5 if levels.size == 3 else 0.5), words


def clusters(case: Case) -> Evidence:
    """A position rests near two or three places nearly all the time and passes quickly between them."""
    counts, _ = np.histogram(case.signal.found, bins=20, range=(0.0, 100.0))
    share = np.sort(counts)[-4:].sum() / max(1, counts.sum())
    return (0.5, "rests at a few places") if share > 0.9 and case.signal.span > 15 else (-2.5, "")


# ---- throttle and helm ----------------------------------------------------------------------------------------------


def follows_speed(case: Case) -> Evidence:
    """What opens the engine goes with its speed."""
    around = case.around
    if around.speed is None:
        return 0.0, ""
    tied = correlation(np.where(around.turning, case.signal.values, np.nan), around.speed.values)
    if tied > 0.6:
        return 2.5, f"rises with the speed ({tied:.2f})"
    return (0.5, "") if tied > 0.4 else (-2.5, "")


def rests(case: Case) -> Evidence:
    """A pedal that nobody touches rests at its end, to within its noise; a throttle keeps moving to hold the idle."""
    at_idle = case.signal.at(case.around.idling)
    if at_idle.size < 20:
        return 0.0, ""
    wander = float(np.percentile(at_idle, 90) - np.percentile(at_idle, 10))
    lowest = float(np.percentile(case.signal.found, 1))
    rests = wander < 0.35 and float(np.median(at_idle)) - lowest < 0.5
    return (2.0, "rests at one end at idle") if rests else (-2.0, "")


def wanders_at_idle(case: Case) -> Evidence:
    """A throttle by wire holds the idle, so it moves while the helm rests."""
    weight, _ = rests(case)
    return (-1.5 if weight > 0 else 1.5 if weight < 0 else 0.0), "moves at idle too" if weight < 0 else ""


def has_travel(case: Case) -> Evidence:
    """A lever that hardly moves shows little of one."""
    return (0.5, "") if case.signal.span > 15 else (-2.0, "")


def small_at_idle(case: Case) -> Evidence:
    """An idling engine is nearly closed."""
    middle = case.signal.middle_at(case.around.idling)
    return (0.0, "") if not np.isfinite(middle) else (0.7, "small at idle") if -1 <= middle < 20 else (-2.0, "")
