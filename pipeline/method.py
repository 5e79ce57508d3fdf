"""How Morning Watch judges, as data for a screen: generated from the headers and from the constants in force.

Nothing is said twice: a limit, a count or a sentence that is changed where it works is changed here too.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from types import MappingProxyType, ModuleType
from typing import Final

from pipeline import (
    aftermath,
    corrections,
    doubts,
    evidence,
    exchanged,
    inbox,
    log_lists,
    logbook,
    occurrences,
    ranking,
    states,
    take,
    verdicts,
    wording,
)
from pipeline.aftermath import Outcome
from pipeline.catalogue import Indicator, indicators, read_query
from pipeline.causes import CAUSES
from pipeline.diagnosis import patient, shifting
from pipeline.history import History
from pipeline.logbook import ANSWERING, REBASING, Kind
from pipeline.problems import CATALOGUE
from pipeline.readers import request
from pipeline.register import mistakes, schedule, starter
from pipeline.season import epochs, fleet, like_for_like, movement, shares, together
from pipeline.season.epochs import Reason
from pipeline.season.movement import PatternWord
from pipeline.states import STATUSES
from pipeline.statistics import adjust, alarm_budget, level, pattern, regression
from pipeline.statistics.alarm_budget import expected_false_alarms
from pipeline.statistics.run_length import one_sided_cusum_arl
from pipeline.ways_out import FAULTS, WAYS_OUT

Value = float | str

DECLARING: Final = (inbox, log_lists, logbook, take, request, mistakes, schedule, starter)
"""The rooms whose problems stand in the catalogue once they are imported."""


@dataclass(frozen=True)
class Parameter:
    """One number in force. `name` is that of the constant, with its module; `unit` is '' for a plain count or share."""

    name: str
    value: Value
    unit: str
    meaning: str


@dataclass(frozen=True)
class Statistic:
    """One step of the judgement: what it does here, with which numbers, and where it comes from."""

    name: str
    does: str
    parameters: tuple[Parameter, ...]
    source: str


@dataclass(frozen=True)
class IndicatorMethod:
    """One indicator as its header declares it, in words and numbers; `sql` is the query that makes its readings."""

    name: str
    title: str
    unit: str
    facet: str
    meaning: str
    judged: str
    worse: str
    wanted: tuple[Parameter, ...]
    limits: tuple[Parameter, ...]
    priors: tuple[Parameter, ...]
    minimum_n: int
    resolution: float
    caveat: str
    do: str
    source: str
    sql: str


@dataclass(frozen=True)
class Word:
    """One word of a list that the outside reads, with its meaning."""

    word: str
    meaning: str


@dataclass(frozen=True)
class CauseMethod:
    """One cause: what points at it, what speaks against it, and what to do about it."""

    word: str
    title: str
    shows: str
    against: str
    do: str


@dataclass(frozen=True)
class ProblemMethod:
    """One thing that can be wrong with data: its code, what it means, and the way out."""

    code: str
    meaning: str
    way_out: str


@dataclass(frozen=True)
class Threshold:
    """What the budget makes of a monitor whose baseline has so many runs: where a sum starts and where it signals.

    Both in spreads of the baseline. `limit` is None where the baseline is too short for a monitor. `delays` are the
    runs until a level that moved by so many spreads is signalled, on average.
    """

    baseline_runs: int
    allowance: float
    limit: float | None
    delays: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Budget:
    """What false alarms to expect of a fleet of healthy engines in `days`: decisions / run length, from the monitors.

    `monitors` and `readings_a_day` are those of one engine. A signal alone is no watch yet, so this is an upper bound.
    `three_sigma_signals` is what limits at three standard deviations would give instead.
    """

    engines: int
    monitors: float
    readings_a_day: float
    days: float
    decisions: float
    run_length: float
    false_signals: float
    per_1000_engine_days: float
    three_sigma_signals: float


@dataclass(frozen=True)
class Method:
    """Everything the Method screen shows. `lists` are the documented words by name of the list."""

    indicators: tuple[IndicatorMethod, ...]
    causes: tuple[CauseMethod, ...]
    statistics: tuple[Statistic, ...]
    lists: MappingProxyType[str, tuple[Word, ...]]
    problems: tuple[ProblemMethod, ...]
    faults: tuple[ProblemMethod, ...]
    budget: Budget
    thresholds: tuple[Threshold, ...]
    cautions: tuple[str, ...]


def method(fleet_budget: Budget) -> Method:
    """The whole method, with the false-alarm budget of a fleet: `budget_of(history)`, or `budget(engines)`."""
    return Method(
        indicators=tuple(_indicator(each) for each in indicators().values()),
        causes=tuple(CauseMethod(each.word, each.title, each.shows, each.against, each.do) for each in CAUSES.values()),
        statistics=STATISTICS,
        lists=MappingProxyType({name: tuple(words) for name, words in _lists().items()}),
        problems=tuple(ProblemMethod(code, CATALOGUE[code], way_out) for code, way_out in WAYS_OUT.items()),
        faults=tuple(ProblemMethod(word, *said) for word, said in FAULTS.items()),
        budget=fleet_budget,
        thresholds=tuple(_threshold(runs) for runs in _BASELINES),
        cautions=wording.CAUTIONS,
    )


_BASELINES: Final = (like_for_like.FEWEST_RUNS, like_for_like.BASELINE_RUNS)
"""Runs for which the screen tells the threshold: the shortest baseline and a whole one."""

_MOVED: Final = (3.0, 6.0)
"""Movements, in spreads of the baseline, for which it tells how long a signal takes."""


def _threshold(baseline_runs: int) -> Threshold:
    """The design that the monitors of `movement` use on a baseline of so many runs."""
    design = movement.monitor_design(baseline_runs)
    if design is None:
        return Threshold(baseline_runs, alarm_budget.allowance(baseline_runs), None, ())
    delays = tuple((moved, one_sided_cusum_arl(design.k, design.h, moved)) for moved in _MOVED)
    return Threshold(baseline_runs, design.k, design.h, delays)


def budget(engines: int, monitors: float = 30.0, readings_a_day: float = 1.3, days: float = 100.0) -> Budget:
    """The budget of a fleet. The defaults are what the monitors were set for: about 30 an engine, 1.3 runs a day."""
    decisions = engines * monitors * readings_a_day * days
    found = expected_false_alarms(decisions, movement.RUN_LENGTH)
    rate = 1000 * found / (engines * days) if engines and days else 0.0
    textbook = expected_false_alarms(decisions, THREE_SIGMA_RUN_LENGTH)
    return Budget(engines, monitors, readings_a_day, days, decisions, movement.RUN_LENGTH, found, rate, textbook)


THREE_SIGMA_RUN_LENGTH: Final = 370.4
"""Readings between false signals of a chart with three-sigma limits (Montgomery, Introduction to SQC)."""


def budget_of(history: History, days: float = 100.0) -> Budget:
    """The budget of the fleet whose history this is, with the monitors and runs a day that its engines really have."""
    engines = len(history.series)
    judged = [series for group in history.series.values() for series in group if _has_monitor(series.key.indicator)]
    spans = [float(series.at_s[-1] - series.at_s[0]) / movement.DAY_S for series in judged]
    readings = sum(len(series) - 1 for series in judged)
    a_day = readings / sum(spans) if sum(spans) > 0 else 0.0
    return budget(engines, len(judged) / engines if engines else 0.0, a_day, days)


def _has_monitor(name: str) -> bool:
    return indicators()[name].judged.against in {"limits", "baseline"}


_JUDGED: Final = MappingProxyType(
    {
        "limits": "against its limits, and against its own baseline",
        "baseline": "against its own baseline alone",
        "any": "by every single occurrence",
        "presence": "by being there at all",
    }
)

_WORSE: Final = MappingProxyType(
    {"away": "away from what is wanted", "higher": "the higher, the worse", "lower": "the lower, the worse"}
)


def _indicator(each: Indicator) -> IndicatorMethod:
    return IndicatorMethod(
        name=each.name,
        title=each.title,
        unit=each.unit,
        facet=each.facet,
        meaning=each.meaning,
        judged=_JUDGED[each.judged.against],
        worse=_WORSE[each.worse],
        wanted=tuple(_wanted(each)),
        limits=tuple(_limits(each)),
        priors=tuple(_priors(each)),
        minimum_n=each.minimum_n,
        resolution=each.resolution,
        caveat=each.caveat,
        do=each.do,
        source=each.source,
        sql=read_query("indicators", each.name),
    )


def _wanted(each: Indicator) -> Iterable[Parameter]:
    for facet, (low, high) in each.wanted.items():
        yield Parameter(f"wanted {facet}", f"{low:g} to {high:g}", each.unit, "the wanted band")
    for facet, value in each.set_to.items():
        yield Parameter(f"set to {facet}", value, each.unit, "what a correction is made for")


def _limits(each: Indicator) -> Iterable[Parameter]:
    """Each limit that is set; one that is not is said, for only the fleet file can give it."""
    if each.judged.against in {"limits", "any"}:
        where = _distance(each)
        for word, limit in (("watch", each.limits.watch), ("hold", each.limits.hold)):
            yield Parameter(word, "no limit set" if limit is None else limit, each.unit, f"{word} {where}")
    elif each.limits.watch is not None:
        yield Parameter("watch", each.limits.watch, each.unit, "watch at this movement away from the baseline")
    if each.drift.watch is not None:
        unit = "of the baseline" if each.drift.is_share else each.unit
        yield Parameter("drift", each.drift.watch, unit, "watch at this movement from the baseline, for the worse")
    if each.judged.clean_runs is not None:
        yield Parameter("clean runs", each.judged.clean_runs, "runs", "later runs without one that clear it")


def _distance(each: Indicator) -> str:
    """How a limit is meant: a distance where being above and below both matter, else the value itself."""
    if each.worse == "away":
        return f"at this distance {'beyond the wanted band' if each.wanted else 'from zero, either way'}"
    return f"at this value or {each.worse}"


def _priors(each: Indicator) -> Iterable[Parameter]:
    for covariate, (slope, off) in each.priors.items():
        unit = f"{each.unit} per {'°C' if covariate == 'temp_c' else 'V'}"
        yield Parameter(covariate, f"{slope:g} ± {off:g}", unit, "slope expected before any reading, ± 1 sd")


def _constant(module: ModuleType, name: str, unit: str, meaning: str) -> Parameter:
    """A number as it stands in the code now; durations in days or hours."""
    value = getattr(module, name)
    if isinstance(value, timedelta):
        whole = value / timedelta(days=1)
        value, unit = (whole, "days") if whole >= 1 else (value / timedelta(hours=1), "h")
    if isinstance(value, Iterable) and not isinstance(value, str):
        value = ", ".join(str(each) for each in (sorted(value) if isinstance(value, frozenset) else value))
    return Parameter(f"{module.__name__.removeprefix('pipeline.')}.{name}", value, unit, meaning)


STATISTICS: Final = (
    Statistic(
        "Faults of the record",
        "Before anything is compared, what cannot be believed is set aside: a channel that one run betrays (see the "
        "indicator of signal faults), or that an engine's own past does: a level that is the usual one in another "
        "unit, a counter of hours that jumps, a thermometer that strays from the others after a night. Readings that "
        "rest on such a channel are withheld. Engines filed under each other are told by their counters, else because "
        "each looks like the other used to and neither like itself.",
        (
            _constant(doubts, "REFERENCE_RUNS", "sound runs", "that a run is compared with"),
            _constant(doubts, "FEWEST_BEFORE", "sound runs", "below which nothing is compared"),
            _constant(doubts, "SOAK_H", "h", "of standing, after which temperatures are taken to be alike"),
            _constant(doubts, "SOAK_OFF_C", "°C", "off its usual place beside the others, two mornings running"),
            _constant(doubts, "COUNTER_H", "h", "that a counter may gain beyond the time that went by"),
            _constant(exchanged, "TOGETHER_S", "s", "within which two engines' runs began together"),
            _constant(exchanged, "HOURS_APART", "h", "below which counters do not tell engines apart"),
            _constant(exchanged, "BACKWARDS", "times", "that a counter running back counts more"),
            _constant(exchanged, "LEARNED_RUNS", "runs", "that teach what an engine is like"),
            _constant(exchanged, "FEWEST_LEARNED", "runs", "below which nothing is learned"),
            _constant(exchanged, "APART", "spreads", "by which a habit tells two engines apart"),
            _constant(exchanged, "FEWEST_HABITS", "habits", "that must tell them apart"),
            _constant(exchanged, "SPREADS", "", "habits that are looked at"),
        ),
        "common practice, no published source",
    ),
    Statistic(
        "Epochs",
        "A series is compared with itself only since the last moment at which it must start anew: commissioning, a "
        "changed target or table value (levelled for temperature first), a note that re-bases, or a clear step for the "
        "better, which is an improvement and no finding.",
        (
            _constant(epochs, "SETTING_STEP", "% of travel", "smallest change of a target that counts"),
            _constant(epochs, "TABLE_STEP", "%", "smallest change of a table value that counts"),
            _constant(epochs, "LIKE_TEMP_C", "°C", "within which table values are compared"),
            _constant(movement, "_EITHER_SIDE", "runs", "least on either side of an improvement"),
        ),
        "ours; common practice, no published source",
    ),
    Statistic(
        "Like for like",
        "The first runs of an epoch teach how a reading depends on temperature and voltage: Huber regression, each "
        "slope pulled to its prior. What the baseline expects is taken from every reading; far from the conditions "
        "of the baseline the result is less sure, and says so.",
        (
            _constant(like_for_like, "BASELINE_RUNS", "runs", "make the baseline"),
            _constant(like_for_like, "FEWEST_RUNS", "runs", "below this the engine is still being learned"),
            _constant(
                like_for_like, "MOVING_P", "", "chance of a trend within the baseline below which it is cut short"
            ),
            _constant(regression, "HUBER_K", "spreads", "beyond which a reading weighs less"),
            _constant(
                adjust, "RANGE_MARGIN", "of the range", "beyond the baseline's range that still counts as inside"
            ),
        ),
        "Huber (1964, 1981); priors from the headers",
    ),
    Statistic(
        "Spread",
        "Run-to-run spread of the residuals, by a robust measure; an engine's own is pooled with the fleet's usual "
        "one, since a short baseline knows its spread badly.",
        (
            _constant(level, "MAD_TO_SIGMA", "", "median absolute deviation to standard deviation, normal readings"),
            _constant(movement, "POOLED", "degrees of freedom", "that the fleet's usual spread counts for"),
        ),
        "Hampel (1974) for the median absolute deviation; the pooling is ours",
    ),
    Statistic(
        "Common cause first",
        "A day from which most engines, on several boats, read higher or lower by about the same is the fuel or the "
        "weather: told once for the fleet, taken out of each engine, whose limits apply to what it does beyond that.",
        (
            _constant(fleet, "SHARED", "", "indicators that fuel or weather can move"),
            _constant(together, "FEWEST_ENGINES", "engines", "that must have runs on both sides"),
            _constant(together, "FEWEST_BOATS", "boats", "on which they must be"),
            _constant(together, "SHARE", "of the engines", "that must have moved by half the common size"),
            _constant(together, "AROUND_DAYS", "days", "compared on either side"),
            _constant(together, "SIGMAS", "standard errors", "that the step must stand out"),
            _constant(together, "MOST_STEPS", "steps", "of one indicator and facet in a season"),
            _constant(verdicts, "FLEET_STEP_TOLD", "", "that a step stays in the morning's list"),
        ),
        "ours; the median over engines resists a few faulty ones",
    ),
    Statistic(
        "Level now",
        "The median of the newest runs, with an interval from the usual spread (Student) or, from six runs on, "
        "Hodges-Lehmann. Where the newest run stands ten spreads off, or the newest two six, those alone are the "
        "level, so a step is told the morning after.",
        (
            _constant(movement, "NOW_RUNS", "runs", "make the level now"),
            _constant(level, "EXACT_SIGNED_RANK_UP_TO", "readings", "up to which the interval's law is exact"),
        ),
        "Hodges & Lehmann (1963); Hollander & Wolfe",
    ),
    Statistic(
        "Monitor",
        "A two-sided CUSUM of the standardised residuals after the baseline. Its limit is set from the budget of false "
        "alarms, allowing for a baseline that was estimated and for runs that resemble their neighbours. Indicators "
        "that look back over ten runs share their readings; there the level itself must stand out instead.",
        (
            _constant(movement, "RUN_LENGTH", "readings", "between false signals of one monitor"),
            _constant(movement, "LAG_ONE", "", "resemblance of neighbouring runs that is allowed for"),
            _constant(movement, "_CLIP", "spreads", "that one wild run counts for at most"),
            _constant(movement, "_SIGMAS_SHARED", "spreads", "where neighbouring readings share their runs"),
            _constant(alarm_budget, "WIDEST_LIMIT", "spreads", "beyond which a baseline is too short for a monitor"),
        ),
        "Page (1954); Lucas & Crosier (1982); estimated baselines: Jensen, Jones-Farmer, Champ & Woodall (2006)",
    ),
    Statistic(
        "Shares",
        "A reading that counts a few tries, such as the shifts of one run, is too coarse for a median. Its tries are "
        "added up over the newest runs and held against those of the baseline by an exact test; sums that share their "
        "runs are one decision, and the test spends the same budget of false alarms.",
        (_constant(shares, "SHARE_RUNS", "runs", "whose tries make the share now"),),
        "interval: Wilson (1927), NIST/SEMATECH e-Handbook 7.2.4.1; test: Fisher (1935)",
    ),
    Statistic(
        "Drift",
        "A level has moved where it left its baseline for the worse by what the header watches, by several of its own "
        "standard errors, and the monitor stands above its limit: all three.",
        (_constant(states, "CLEAR_SIGMAS", "standard errors", "that a movement must be"),),
        "ours; sizes: common practice, no published source",
    ),
    Statistic(
        "Pattern",
        "Constant, growing (a line or a bend), a step: the shapes are fitted on Huber's loss and compared by an "
        "information criterion. Growth or a step must lead clearly; a series that only scatters more is scattered. "
        "Too few runs are new. What looks back over ten runs smears a step into a ramp, and is asked for that.",
        (
            _constant(pattern, "CLEAR_MARGIN", "", "criterion margin by which a shape must lead"),
            _constant(pattern, "FEWEST_READINGS", "readings", "below which no shape is told from another"),
            _constant(pattern, "SHORTEST_STRETCH", "readings", "on either side of a step or bend"),
            _constant(pattern, "SCATTER_RATIO", "times the usual spread", "from which readings are scattered"),
            _constant(pattern, "WILD", "spreads", "that one residual counts for at most"),
            _constant(movement, "LOOK_BACK_RUNS", "runs", "over which such a step is smeared"),
            _constant(movement, "CLEAR_JUMP", "spreads", "from which a jump too young for a shape is 'new'"),
            _constant(movement, "CLEARLY_LESS", "", "share of growth's misfit that a smeared step may leave"),
        ),
        "Schwarz (1978); margin: Kass & Raftery (1995)",
    ),
    Statistic(
        "Pace and projection",
        "The slope since growth began is the median of all pairwise slopes, on engine hours and on days. The line to "
        "the hold limit has an interval that stays open where the slope is not established.",
        (_constant(movement, "SEARCHED_ONSET", "", "times the variance, for an onset that was searched for"),),
        "Sen (1968); Fieller (1954)",
    ),
    Statistic(
        "Diagnosis",
        "Rules tie the symptoms of one engine together, each cause once. Over the gears, pictures (all alike, both "
        "ends short, one end) are weighed by their misfit. What no rule explains is unknown, and said so.",
        (
            _constant(patient, "SMALL", "of the largest", "below which a gear did not move"),
            _constant(shifting, "LOOSE", "times the baseline's", "scatter about a drift that is play"),
            _constant(verdicts, "FULL_EVIDENCE_RUNS", "runs", "from which a cause is as sure as its rule allows"),
        ),
        "common practice, no published source",
    ),
    Statistic(
        "Occurrences",
        "A stall holds until a note answers it or enough later runs are clean. A signal that cannot be believed is a "
        "finding about the data, and what rests on it is not held against the engine.",
        (_constant(occurrences, "SIGNAL_RUNS", "runs", "in which a signal fault is looked for"),),
        "common practice, no published source",
    ),
    Statistic(
        "Evidence",
        "No evidence is not good evidence: an engine without a fresh log, or whose logs lack a gear or a warm engine, "
        "is unchecked, unless it already stands at hold or watch.",
        (
            _constant(evidence, "EXPECTED", "", "what recent logs should show"),
            _constant(evidence, "TEMPERATURES", "", "channels that tell whether the engine was warm"),
            _constant(evidence, "LOOK_BACK", "", "that the last sight of each may be old"),
        ),
        "common practice, no published source",
    ),
    Statistic(
        "Urgency",
        "Nearness x certainty: how many times its hold limit a level stands at (half as much where only a watch limit "
        "or a drift is set), weighed by how sure the finding is. A boat counts its most urgent finding of its own "
        "status, more if it leaves soon; a watch that is deferred counts less, a hold never.",
        (
            _constant(ranking, "NEARNESS_AT_MOST", "times the limit", "that nearness counts at most"),
            _constant(ranking, "UNSURE", "", "certainty of a finding that does not say how sure it is"),
            _constant(ranking, "SOON", "", "before departure that count as soon"),
            _constant(ranking, "SOON_WEIGHT", "times", "for a boat that leaves soon"),
            _constant(ranking, "DEFERRED_WEIGHT", "times", "for a watch that is deferred"),
        ),
        "ours, explained on the screen",
    ),
    Statistic(
        "What came of a note",
        "What stood out on the engine before a note that answers something is looked for in the runs after it.",
        (
            _constant(aftermath, "ENOUGH_RUNS", "runs", "after a note before anything is said"),
            _constant(aftermath, "LOOK_BACK", "", "that a note is looked at"),
        ),
        "common practice, no published source",
    ),
    Statistic(
        "Corrections",
        "New cell = old cell + measured integral - wanted integral; a window between two rows belongs to both by its "
        "interpolation weight; a gear's add-on takes what the rows do not give already. A target is proposed only for "
        "a mismatch that has been constant since commissioning.",
        (
            _constant(corrections, "DEFAULT_ROWS_C", "°C", "rows of the table where the fleet file names none"),
            _constant(corrections, "LAST_RUNS", "runs", "whose idle windows are read"),
            _constant(corrections, "FEWEST_WINDOWS", "windows", "summed weight that a cell needs"),
            _constant(corrections, "FEWEST_RUNS", "runs", "that a cell needs"),
            _constant(corrections, "UNSETTLED_WEIGHT", "", "weight of a window whose loop had not re-converged"),
            _constant(corrections, "FEWEST_SHIFTS", "shifts", "before a target is proposed"),
            _constant(corrections, "FEWEST_SHIFT_RUNS", "runs", "in which they must be"),
            _constant(corrections, "MOST_SCATTER", "of the watch limit", "spread of runs up to which it is constant"),
        ),
        "common practice, no published source",
    ),
)
"""Every step of the judgement in its order, with the numbers in force."""

_PATTERNS: Final[dict[PatternWord, str]] = {
    "constant": "the same since the epoch began",
    "growing": "moving steadily since a day",
    "step": "moved at a day and stayed there",
    "scattered": "scattering more than it did, about the same level",
    "new": "too few runs since the epoch began to tell",
}

_REASONS: Final[dict[Reason, str]] = {
    "commissioning": "the engine was first seen",
    "calibration": "a target or a table value changed",
    "note": "a note says to compare anew from here on",
    "improvement": "it became clearly better: a repair or a correction",
}

_OUTCOMES: Final[dict[Outcome, str]] = {
    "held": "what stood out is gone and has stayed away",
    "came back": "it was gone and stands out again",
    "not mended": "it stood out in the first runs after the note too",
    "not seen yet": "too few runs since to say",
    "nothing stood out": "there was nothing to mend before the note",
}


def _lists() -> dict[str, Iterable[Word]]:
    """Every list of words that the outside reads."""
    return {
        "status": (Word(status, wording.STATUS_MEANINGS[status]) for status in STATUSES),
        "pattern": _words(_PATTERNS),
        "epoch": _words(_REASONS),
        "note": (Word(kind.value, _kind(kind)) for kind in Kind),
        "after a note": _words(_OUTCOMES),
    }


def _words(meanings: dict[PatternWord, str] | dict[Reason, str] | dict[Outcome, str]) -> Iterable[Word]:
    return (Word(str(word), meaning) for word, meaning in meanings.items())


def _kind(kind: Kind) -> str:
    """What a note of a kind tells, and what follows from it."""
    follows = [
        *(["answers what stood before it"] if kind in ANSWERING else []),
        *(["starts the comparison anew"] if kind in REBASING else []),
    ]
    return f"{kind.meaning}{'; ' if follows else ''}{' and '.join(follows)}"
