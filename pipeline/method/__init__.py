"""How Morning Watch judges, as data for a screen: generated from the headers and from the constants in force.

Nothing is said twice: a limit, a count or a sentence that is changed where it works is changed here too.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

from pipeline import inbox, log_lists, logbook, take, wording
from pipeline.catalogue import indicators
from pipeline.causes import CAUSES
from pipeline.method.budgets import budget, budget_of, thresholds
from pipeline.method.comparing import COMPARING
from pipeline.method.concluding import CONCLUDING
from pipeline.method.headers import indicator_method
from pipeline.method.parts import (
    Budget,
    CauseMethod,
    IndicatorMethod,
    Method,
    Parameter,
    ProblemMethod,
    Statistic,
    Threshold,
    Word,
)
from pipeline.method.words import lists
from pipeline.problems import CATALOGUE
from pipeline.readers import request
from pipeline.register import mistakes, schedule, starter
from pipeline.ways_out import FAULTS, WAYS_OUT

__all__ = [
    "Budget",
    "CauseMethod",
    "IndicatorMethod",
    "Method",
    "Parameter",
    "ProblemMethod",
    "Statistic",
    "Threshold",
    "Word",
    "budget",
    "budget_of",
    "method",
]

DECLARING: Final = (inbox, log_lists, logbook, take, request, mistakes, schedule, starter)
"""The rooms whose problems stand in the catalogue once they are imported."""

STATISTICS: Final = (*COMPARING, *CONCLUDING)
"""Every step of the judgement in its order, with the numbers in force."""


def method(fleet_budget: Budget) -> Method:
    """The whole method, with the false-alarm budget of a fleet: `budget_of(history)`, or `budget(engines)`."""
    return Method(
        indicators=tuple(indicator_method(each) for each in indicators().values()),
        causes=tuple(CauseMethod(each.word, each.title, each.shows, each.against, each.do) for each in CAUSES.values()),
        statistics=STATISTICS,
        lists=MappingProxyType({name: tuple(words) for name, words in lists().items()}),
        problems=tuple(ProblemMethod(code, CATALOGUE[code], way_out) for code, way_out in WAYS_OUT.items()),
        faults=tuple(ProblemMethod(word, *said) for word, said in FAULTS.items()),
        budget=fleet_budget,
        thresholds=thresholds(),
        cautions=wording.CAUTIONS,
    )
