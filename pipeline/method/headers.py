"""Indicators as their headers declare them, in words and numbers."""

from __future__ import annotations

from collections.abc import Iterable
from types import MappingProxyType
from typing import Final

from pipeline.catalogue import Indicator, read_query
from pipeline.method.parts import IndicatorMethod, Parameter

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


def indicator_method(each: Indicator) -> IndicatorMethod:
    """One indicator with all that its header says, and its query."""
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
