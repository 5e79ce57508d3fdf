"""The first steps of the judgement, from readings to what has moved, with the numbers in force."""

from __future__ import annotations

from typing import Final

from pipeline import doubts, exchanged, states, verdicts
from pipeline.method.parts import Statistic, constant
from pipeline.season import (
    epochs,
    fleet,
    improvement,
    like_for_like,
    monitoring,
    movement,
    shares,
    smearing,
    together,
)
from pipeline.statistics import adjust, alarm_budget, level, pattern, regression

COMPARING: Final = (
    Statistic(
        "Faults of the record",
        "Before anything is compared, what cannot be believed is set aside: a channel that one run betrays (see the "
        "indicator of signal faults), or that an engine's own past does: a level that is the usual one in another "
        "unit, a counter of hours that jumps, a thermometer that strays from the others after a night. Readings that "
        "rest on such a channel are withheld. Engines filed under each other are told by their counters, else because "
        "each looks like the other used to and neither like itself.",
        (
            constant(doubts, "REFERENCE_RUNS", "sound runs", "that a run is compared with"),
            constant(doubts, "FEWEST_BEFORE", "sound runs", "below which nothing is compared"),
            constant(doubts, "SOAK_H", "h", "of standing, after which temperatures are taken to be alike"),
            constant(doubts, "SOAK_OFF_C", "°C", "off its usual place beside the others, two mornings running"),
            constant(doubts, "COUNTER_H", "h", "that a counter may gain beyond the time that went by"),
            constant(exchanged, "TOGETHER_S", "s", "within which two engines' runs began together"),
            constant(exchanged, "HOURS_APART", "h", "below which counters do not tell engines apart"),
            constant(exchanged, "BACKWARDS", "times", "that a counter running back counts more"),
            constant(exchanged, "LEARNED_RUNS", "runs", "that teach what an engine is like"),
            constant(exchanged, "FEWEST_LEARNED", "runs", "below which nothing is learned"),
            constant(exchanged, "APART", "spreads", "by which a habit tells two engines apart"),
            constant(exchanged, "FEWEST_HABITS", "habits", "that must tell them apart"),
            constant(exchanged, "APART_TOGETHER", "", "sum of their squares that must be reached"),
            constant(exchanged, "SPREADS", "", "habits that are looked at"),
        ),
        "common practice, no published source",
    ),
    Statistic(
        "Epochs",
        "A series is compared with itself only since the last moment at which it must start anew: commissioning, a "
        "changed target or table value (levelled for temperature first), a note that re-bases, or a clear step for the "
        "better, which is an improvement and no finding.",
        (
            constant(epochs, "SETTING_STEP", "% of travel", "smallest change of a target that counts"),
            constant(epochs, "TABLE_STEP", "%", "smallest change of a table value that counts"),
            constant(epochs, "LIKE_TEMP_C", "°C", "within which table values are compared"),
            constant(improvement, "EITHER_SIDE", "runs", "least on either side of an improvement"),
        ),
        "ours; common practice, no published source",
    ),
    Statistic(
        "Like for like",
        "The first runs of an epoch teach how a reading depends on temperature and voltage: Huber regression, each "
        "slope pulled to its prior. What the baseline expects is taken from every reading; far from the conditions "
        "of the baseline the result is less sure, and says so.",
        (
            constant(like_for_like, "BASELINE_RUNS", "runs", "make the baseline"),
            constant(like_for_like, "FEWEST_RUNS", "runs", "below this the engine is still being learned"),
            constant(
                like_for_like, "MOVING_P", "", "chance of a trend within the baseline below which it is cut short"
            ),
            constant(regression, "HUBER_K", "spreads", "beyond which a reading weighs less"),
            constant(adjust, "RANGE_MARGIN", "of the range", "beyond the baseline's range that still counts as inside"),
        ),
        "Huber (1964, 1981); priors from the headers",
    ),
    Statistic(
        "Spread",
        "Run-to-run spread of the residuals, by a robust measure; an engine's own is pooled with the fleet's usual "
        "one, since a short baseline knows its spread badly.",
        (
            constant(level, "MAD_TO_SIGMA", "", "median absolute deviation to standard deviation, normal readings"),
            constant(monitoring, "POOLED", "degrees of freedom", "that the fleet's usual spread counts for"),
        ),
        "Hampel (1974) for the median absolute deviation; the pooling is ours",
    ),
    Statistic(
        "Common cause first",
        "A day from which most engines, on several boats, read higher or lower by about the same is the fuel or the "
        "weather: told once for the fleet, taken out of each engine, whose limits apply to what it does beyond that.",
        (
            constant(fleet, "SHARED", "", "indicators that fuel or weather can move"),
            constant(together, "FEWEST_ENGINES", "engines", "that must have runs on both sides"),
            constant(together, "FEWEST_BOATS", "boats", "on which they must be"),
            constant(together, "SHARE", "of the engines", "that must have moved by half the common size"),
            constant(together, "AROUND_DAYS", "days", "compared on either side"),
            constant(together, "SIGMAS", "standard errors", "that the step must stand out"),
            constant(together, "MOST_STEPS", "steps", "of one indicator and facet in a season"),
            constant(verdicts, "FLEET_STEP_TOLD", "", "that a step stays in the morning's list"),
        ),
        "ours; the median over engines resists a few faulty ones",
    ),
    Statistic(
        "Level now",
        "The median of the newest runs, with an interval from the usual spread (Student) or, from six runs on, "
        "Hodges-Lehmann. Where the newest run stands ten spreads off, or the newest two six, those alone are the "
        "level, so a step is told the morning after.",
        (
            constant(monitoring, "NOW_RUNS", "runs", "make the level now"),
            constant(level, "EXACT_SIGNED_RANK_UP_TO", "readings", "up to which the interval's law is exact"),
        ),
        "Hodges & Lehmann (1963); Hollander & Wolfe",
    ),
    Statistic(
        "Monitor",
        "A two-sided CUSUM of the standardised residuals after the baseline. Its limit is set from the budget of false "
        "alarms, allowing for a baseline that was estimated and for runs that resemble their neighbours. Indicators "
        "that look back over ten runs share their readings; there the level itself must stand out instead.",
        (
            constant(monitoring, "RUN_LENGTH", "readings", "between false signals of one monitor"),
            constant(monitoring, "LAG_ONE", "", "resemblance of neighbouring runs that is allowed for"),
            constant(monitoring, "WILD", "spreads", "that one wild run counts for at most"),
            constant(monitoring, "SIGMAS_SHARED", "spreads", "where neighbouring readings share their runs"),
            constant(alarm_budget, "WIDEST_LIMIT", "spreads", "beyond which a baseline is too short for a monitor"),
        ),
        "Page (1954); Lucas & Crosier (1982); estimated baselines: Jensen, Jones-Farmer, Champ & Woodall (2006)",
    ),
    Statistic(
        "Shares",
        "A reading that counts a few tries, such as the shifts of one run, is too coarse for a median. Its tries are "
        "added up over the newest runs and held against those of the baseline by an exact test; sums that share their "
        "runs are one decision, and the test spends the same budget of false alarms.",
        (constant(shares, "SHARE_RUNS", "runs", "whose tries make the share now"),),
        "interval: Wilson (1927), NIST/SEMATECH e-Handbook 7.2.4.1; test: Fisher (1935)",
    ),
    Statistic(
        "Drift",
        "A level has moved where it left its baseline for the worse by what the header watches, by several of its own "
        "standard errors, and the monitor stands above its limit: all three.",
        (constant(states, "CLEAR_SIGMAS", "standard errors", "that a movement must be"),),
        "ours; sizes: common practice, no published source",
    ),
    Statistic(
        "Pattern",
        "Constant, growing (a line or a bend), a step: the shapes are fitted on Huber's loss and compared by an "
        "information criterion. Growth or a step must lead clearly; a series that only scatters more is scattered. "
        "Too few runs are new. What looks back over ten runs smears a step into a ramp, and is asked for that.",
        (
            constant(pattern, "CLEAR_MARGIN", "", "criterion margin by which a shape must lead"),
            constant(pattern, "FEWEST_READINGS", "readings", "below which no shape is told from another"),
            constant(pattern, "SHORTEST_STRETCH", "readings", "on either side of a step or bend"),
            constant(pattern, "SCATTER_RATIO", "times the usual spread", "from which readings are scattered"),
            constant(pattern, "WILD", "spreads", "that one residual counts for at most"),
            constant(smearing, "LOOK_BACK_RUNS", "runs", "over which such a step is smeared"),
            constant(movement, "CLEAR_JUMP", "spreads", "from which a jump too young for a shape is 'new'"),
            constant(smearing, "CLEARLY_LESS", "", "share of growth's misfit that a smeared step may leave"),
        ),
        "Schwarz (1978); margin: Kass & Raftery (1995)",
    ),
    Statistic(
        "Pace and projection",
        "The slope since growth began is the median of all pairwise slopes, on engine hours and on days. The line to "
        "the hold limit has an interval that stays open where the slope is not established.",
        (constant(movement, "SEARCHED_ONSET", "", "times the variance, for an onset that was searched for"),),
        "Sen (1968); Fieller (1954)",
    ),
)
"""From the readings to what has moved."""
