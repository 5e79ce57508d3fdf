"""Pieces of the Method screen: everything that judges, as entries that can be read in a row and be searched."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from dashboard.markup import Html, tag
from pipeline import wording
from pipeline.method import Budget, CauseMethod, IndicatorMethod, Method, Parameter, ProblemMethod, Statistic, Threshold


@dataclass(frozen=True)
class Entry:
    """One thing that the Method screen tells: in which part it stands, its title, and all its text for the search."""

    part: str
    title: str
    text: str
    indicator: str | None = None


def entries(whole: Method) -> Iterator[Entry]:
    """Everything that can be searched."""
    for each in whole.indicators:
        said = (each.name, each.meaning, each.caveat, each.do, each.source, each.sql)
        yield Entry("Indicator", each.title, " ".join(said), each.name)
    for cause in whole.causes:
        yield Entry("Causes", cause.title, f"{cause.word} {cause.shows}. {cause.against} {cause.do}")
    for one in whole.statistics:
        names = " ".join(f"{parameter.name} {parameter.meaning}" for parameter in one.parameters)
        yield Entry("Statistics", one.name, f"{one.does} {one.source} {names}")
    for name, words in whole.lists.items():
        for word in words:
            yield Entry("Words", f"{word.word} ({name})", word.meaning)
    for problem in (*whole.faults, *whole.problems):
        yield Entry("Data problems", problem.code.replace("_", " "), f"{problem.meaning}. {problem.way_out}")
    yield Entry("False alarms", "False-alarm budget", "false alarms budget monitor threshold run length cusum")


def found(whole: Method, asked: str) -> tuple[Entry, ...]:
    """The entries that hold every word that is asked, those with it in their title first."""
    words = asked.casefold().split()
    hits = [each for each in entries(whole) if all(word in f"{each.title} {each.text}".casefold() for word in words)]
    return tuple(sorted(hits, key=lambda each: not all(word in each.title.casefold() for word in words)))


def excerpt(entry: Entry, asked: str, around: int = 90) -> str:
    """The text about the first word that was asked; the beginning where the word stands in the title alone."""
    text = " ".join(entry.text.split())
    word = asked.casefold().split()[0]
    at = max(text.casefold().find(word), 0)
    first, last = max(0, at - around // 2), at + around
    return f"{'…' if first else ''}{text[first:last]}{'…' if last < len(text) else ''}"


def indicator(each: IndicatorMethod) -> Html:
    """One indicator as its header declares it."""
    facts = {
        "Meaning": each.meaning,
        "Unit": each.unit,
        "Facet": each.facet,
        "Judged": each.judged,
        "Worse": each.worse,
        "Fewest samples": str(each.minimum_n),
        "Told no finer than": f"{each.resolution:g} {each.unit}",
        "Caveat": each.caveat,
        "Do": each.do,
        "Source": each.source,
    }
    numbers = [*each.wanted, *each.limits, *each.priors]
    lines = [tag("div", tag("dt", label), tag("dd", text)) for label, text in facts.items() if text]
    return tag("dl", *lines, *(_number(one) for one in numbers), class_="mw-header")


def _number(each: Parameter) -> Html:
    value = f"{each.value:g}" if isinstance(each.value, float | int) else str(each.value)
    said = f"{value} {each.unit}".rstrip() if value != "no limit set" else value
    label = each.name.replace("_", " ").capitalize()
    return tag("div", tag("dt", label), tag("dd", tag("b", said.replace("-", "−")), f": {each.meaning}"))


def statistics(steps: Sequence[Statistic]) -> Html:
    """Every step of the judgement, in its order, with the numbers in force."""
    return tag("ol", *(_statistic(each) for each in steps), class_="mw-steps")


def _statistic(each: Statistic) -> Html:
    rows = [
        tag("tr", tag("th", one.meaning, scope="row"), tag("td", _value(one), class_="mw-figure"), _constant(one))
        for one in each.parameters
    ]
    return tag(
        "li",
        tag("b", each.name),
        tag("p", each.does),
        tag("table", tag("tbody", *rows), class_="mw-table"),
        tag("p", "Source: ", each.source, class_="mw-quiet"),
    )


def _value(each: Parameter) -> str:
    value = f"{each.value:g}" if isinstance(each.value, float) else str(each.value)
    return f"{value} {each.unit}".rstrip()


def _constant(each: Parameter) -> Html:
    return tag("td", tag("code", each.name), class_="mw-constant")


def causes(known: Iterable[CauseMethod]) -> Html:
    """What each cause is, what speaks for and against it, and what to do."""
    lines = [
        tag(
            "div",
            tag("dt", each.title, " ", tag("code", each.word)),
            tag("dd", tag("b", "For: "), wording.sentence(each.shows)),
            tag("dd", tag("b", "Against: "), each.against),
            tag("dd", tag("b", "Do: "), each.do),
        )
        for each in known
    ]
    return tag("dl", *lines, class_="mw-causes")


def budget(found: Budget, thresholds: Sequence[Threshold]) -> Html:
    """The false-alarm budget of this fleet in words and numbers, and the thresholds that follow from it."""
    decided = (
        f"{wording.count(found.engines, 'engine')} with some {wording.count(round(found.monitors), 'monitor')} each, "
        f"{found.readings_a_day:.1f} readings a day: {found.decisions:,.0f} decisions in {found.days:.0f} days."
    )
    spent = (
        f"A monitor of a healthy engine signals falsely once in {found.run_length:,.0f} readings, so "
        f"{found.false_signals:.1f} false signals are to be expected of this fleet in that time, "
        f"{found.per_1000_engine_days:.2f} in 1,000 engine-days. A signal alone is no watch yet: the level must also "
        "have moved by what the header watches, and clearly. So this is an upper bound."
    )
    rows = [_threshold(each) for each in thresholds]
    heads = ("baseline", "a run counts from", "signals at a sum of", "tells a movement of")
    head = tag("tr", *(tag("th", each, scope="col") for each in heads))
    why = (
        f"Textbook limits at three sigma would give {found.three_sigma_signals:,.0f} of them. The limits here are wide "
        "because a baseline of a dozen runs knows its own mean and spread badly; both are in the budget."
    )
    table = tag("table", tag("thead", head), tag("tbody", *rows), class_="mw-table")
    return tag("div", tag("p", decided), tag("p", spent), tag("p", why), table, class_="mw-prose")


def _threshold(each: Threshold) -> Html:
    runs = tag("th", wording.count(each.baseline_runs, "run"), scope="row")
    start = tag("td", f"{each.allowance:.2f} spreads", class_="mw-figure")
    if each.limit is None:
        return tag("tr", runs, start, tag("td", "no monitor: too short"), tag("td", "–"))
    delays = "; ".join(f"{moved:g} spreads: after some {delay:.0f} runs" for moved, delay in each.delays)
    return tag("tr", runs, start, tag("td", f"{each.limit:.0f} spreads", class_="mw-figure"), tag("td", delays))


def problems(known: Iterable[ProblemMethod]) -> Html:
    """What can be wrong with data, what it means, and the way out."""
    head = tag("tr", *(tag("th", each, scope="col") for each in ("what is wrong", "way out")))
    rows = [
        tag(
            "tr",
            tag("th", tag("b", each.code.replace("_", " ")), tag("div", each.meaning), scope="row"),
            tag("td", each.way_out),
        )
        for each in known
    ]
    return tag("table", tag("thead", head), tag("tbody", *rows), class_="mw-table")


def words(whole: Method) -> Html:
    """Every list of words that the outside reads."""
    lists = [
        tag(
            "div",
            tag("h3", name.capitalize()),
            tag("dl", *(tag("div", tag("dt", each.word), tag("dd", each.meaning)) for each in known)),
        )
        for name, known in whole.lists.items()
    ]
    return tag("div", *lists, class_="mw-words")
