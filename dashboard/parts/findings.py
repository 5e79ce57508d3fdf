"""A finding whole, and what the first and the last runs say beside each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

from dashboard.markup import Html, join, tag
from dashboard.parts.words import badge
from pipeline import telling, wording
from pipeline.baselines import ThenNow
from pipeline.catalogue import Indicator, indicators
from pipeline.findings import Finding
from pipeline.morning import Morning


def finding(found: Finding, morning: Morning, place: str | None = None) -> Html:
    """A finding whole: what is wrong, what to do, how sure, what it rests on. What is not known is not shown."""
    return tag(
        "article",
        tag(
            "div",
            badge(found.status, small=True),
            tag("b", ": ".join(each for each in (place, wording.headline(found)) if each), class_="mw-named"),
            class_="mw-line",
        ),
        tag("p", telling.named_apart(found), class_="mw-says"),
        tag("p", tag("b", "Do: "), found.do, class_="mw-do"),
        tag("p", deferred, class_="mw-deferred") if (deferred := _deferred(found, morning)) else None,
        *(tag("p", said, class_="mw-after") for said in _judgement(found) if said),
        _facts(list(finding_facts(found, morning))),
        _reasons(found),
        _logs(found),
        class_=f"mw-finding mw-{found.status}",
    )


def finding_facts(found: Finding, morning: Morning) -> Iterator[tuple[str, str]]:
    """What is known about a finding as pairs of label and text, only what is there."""
    indicator = indicators().get(found.indicator)
    if indicator is None:
        return
    if found.value is not None and indicator.judged.against in {"limits", "baseline"}:
        yield "Now", wording.number(found.value, indicator) + _interval(found.low, found.high, indicator)
    if found.baseline is not None:
        yield "Baseline", wording.number(found.baseline, indicator)
    if found.pattern is not None:
        yield "Pattern", found.pattern
    if found.since is not None:
        yield "Since", f"{_local(found.since, morning):%a} {wording.date(_local(found.since, morning))}"
    if found.per_100_hours is not None:
        yield "Per 100 h", wording.pace(found.per_100_hours, indicator) or ""
    if found.per_week is not None:
        yield "Per week", wording.pace(found.per_week, indicator) or ""
    if found.engines is not None:
        yield "Engines", str(found.engines)
    yield from _grounds(found, indicator, morning)


def _grounds(found: Finding, indicator: Indicator, morning: Morning) -> Iterator[tuple[str, str]]:
    """The limits, what the finding rests on and how old that is; what is not known has only an age."""
    is_unknown = found.indicator == "evidence"
    if not is_unknown:
        yield "Limits", limits_text(found.watch, found.hold, indicator)
    if not is_unknown and found.engines is None:
        yield "Rests on", wording.rests_on(found, indicator)
    if found.latest_at is not None:
        yield "Newest log" if is_unknown else "Newest reading", wording.age(found.latest_at, morning.as_of)


def limits_text(watch: float | None, hold: float | None, indicator: Indicator) -> str:
    """The limits in force, or that there is none."""
    named = [f"{word} {limit:g}" for word, limit in (("watch", watch), ("hold", hold)) if limit is not None]
    if not named:
        return "no limit set"
    beyond = " beyond what is wanted" if indicator.wanted else ""
    return f"{', '.join(named)} {wording.short_unit(indicator)}{beyond}"


def then_now_table(compared: Sequence[ThenNow], head: str) -> Html:
    """First runs against last runs, a facet a row."""
    has_band = any(each.wanted for each in compared)
    titles = (head, "first runs expect", "last runs", "change", *(["wanted"] if has_band else []))
    rows = [
        tag(
            "tr",
            tag("th", each.facet or "all", scope="row"),
            tag("td", each.then, class_="mw-figure"),
            tag("td", each.now, class_=f"mw-figure mw-{each.status}"),
            tag("td", each.change, class_="mw-figure"),
            tag("td", each.wanted, class_="mw-figure") if has_band else None,
        )
        for each in compared
    ]
    header = tag("tr", *(tag("th", title) for title in titles))
    return tag("table", tag("thead", header), tag("tbody", *rows), class_="mw-table")


def _local(at: datetime, morning: Morning) -> datetime:
    return at.astimezone(morning.as_of.tzinfo)


def _interval(low: float | None, high: float | None, indicator: Indicator) -> str:
    if low is None or high is None:
        return ""
    return f" ({wording.number(low, indicator)} to {wording.number(high, indicator)})"


def _deferred(found: Finding, morning: Morning) -> str:
    return wording.deferral_says(found, morning.as_of.tzinfo)


def _judgement(found: Finding) -> list[str | None]:
    """How sure it is, how long it may go on, and what came of the last note; empty where nothing can be said."""
    return [wording.certainty(found), wording.outlook(found), found.after_note]


def _facts(facts: list[tuple[str, str]]) -> Html:
    return tag("dl", *(tag("div", tag("dt", label), tag("dd", text)) for label, text in facts))


def _reasons(found: Finding) -> Html | None:
    lines = [f"Speaks for it: {each}" for each in found.because]
    return tag("ul", *(tag("li", each) for each in lines), class_="mw-reasons") if lines else None


def _logs(found: Finding) -> Html | None:
    if not found.evidence.logs:
        return None
    count = wording.count(len(found.evidence.logs), "log")
    return tag("details", tag("summary", f"Rests on {count}"), join(tag("code", each) for each in found.evidence.logs))
