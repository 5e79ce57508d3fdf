"""The study's scores as a table of plain text: counts with Wilson's intervals, and what to look at next."""

from __future__ import annotations

import statistics
from collections import Counter
from typing import TYPE_CHECKING, Final

from planted import SHOWN_BY
from scores import episodes

from pipeline.statistics.rates import wilson

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from scores import Case, Scores
    from walked import Told, Walk

MOST_LISTED: Final = 30
BINS: Final = ((0.0, 0.6), (0.6, 0.8), (0.8, 0.9), (0.9, 1.01))


def lines(walks: Sequence[Walk], scores: Scores) -> Iterator[str]:
    """The whole table."""
    for walk in walks:
        fleet = walk.fleet
        notes = "with notes" if fleet.has_notes else "without notes"
        yield f"seed {fleet.seed}: {fleet.planting}, {notes}, {len(walk.tracks)} engines, {len(walk.mornings)} mornings"
    for part in (_false, _found, _named, _patterns, _confidence, _projections, _fuel, _load, _listed):
        yield ""
        yield from part(scores)


def _rate(count: int, n: int) -> str:
    found = wilson(count, n)
    if found.low is None or found.high is None:
        return f"{count}/{n}"
    return f"{count}/{n} = {count / n:.3f} ({found.low:.3f}…{found.high:.3f})"


def _median(values: Iterable[float | None]) -> str:
    known = [value for value in values if value is not None]
    return f"{statistics.median(known):+.0f}" if known else "–"


def _false(scores: Scores) -> Iterator[str]:
    well, ill = scores.healthy_days, scores.ill_days
    yield f"HEALTHY ENGINES: {well} engine-mornings judged (and {ill} on engines with a fault)"
    for status in ("hold", "watch"):
        ours = [told for told in scores.false if told.status == status]
        yield f"  false {status}: engine-mornings {_rate(len(ours), well)}, episodes {len(episodes(ours))}"
    yield from _by_kind("  false by cause and indicator (episodes, engine-mornings)", scores.false)
    yield from _by_kind("  stray findings on engines with another fault", scores.stray)


def _by_kind(title: str, told: Sequence[Told]) -> Iterator[str]:
    yield title
    kinds = Counter((each.cause, each.indicator) for each, _ in episodes(told))
    for (cause, indicator), count in kinds.most_common():
        days = sum((each.cause, each.indicator) == (cause, indicator) for each in told)
        yield f"    {cause} / {indicator}: {count}, {days}"


def _found(scores: Scores) -> Iterator[str]:
    yield "FOUND: faults past what is watched with 5 runs to show it (10 where ten runs make a reading); median days"
    yield f"  {'cause':19}{'planted':>8}  {'found':34}{'before hold':>13}{'lead':>6}{'delay':>7}{'hold told':>11}"
    for cause in SHOWN_BY:
        ours = [case for case in scores.cases if case.fault.cause == cause]
        if ours:
            yield _found_row(cause, ours)


def _found_row(cause: str, ours: Sequence[Case]) -> str:
    expected = [case for case in ours if case.can_be_found]
    found = [case for case in expected if case.fitting]
    leads = [case.lead_days for case in expected if case.fault.hold_on]
    early = sum(lead is not None and lead >= 0 for lead in leads)
    return (
        f"  {cause:19}{len(ours):>8}  {_rate(len(found), len(expected)):34}{f'{early}/{len(leads)}':>13}"
        f"{_median(leads):>6}{_median(case.delay_days for case in found):>7}"
        f"{_median(case.hold_delay_days for case in expected):>11}"
    )


def _named(scores: Scores) -> Iterator[str]:
    yield "NAMED: the true cause, when first found and in the last morning that told of it"
    for cause in SHOWN_BY:
        ours = [case for case in scores.cases if case.fault.cause == cause and case.fitting]
        if ours:
            first = sum(case.is_named(case.fitting[0]) for case in ours)
            last = sum(case.is_named(case.fitting[-1]) for case in ours)
            wrong = Counter(told.cause for case in ours for told in case.fitting if not case.is_named(told))
            also = ", ".join(f"{word} {count}" for word, count in wrong.most_common())
            yield f"  {cause:19} first {first}/{len(ours)}, last {last}/{len(ours)}   wrong mornings: {also or 'none'}"
    everyone = [case for case in scores.cases if case.fitting]
    yield f"  all: first {_rate(sum(case.is_named(case.fitting[0]) for case in everyone), len(everyone))}"
    yield f"  all: last {_rate(sum(case.is_named(case.fitting[-1]) for case in everyone), len(everyone))}"


def _patterns(scores: Scores) -> Iterator[str]:
    yield "PATTERN: right on mornings with 8 runs since the onset; each fault's last such morning in brackets"
    for cause in SHOWN_BY:
        ours = [case for case in scores.cases if case.fault.cause == cause and case.patterns]
        if ours:
            every = [pair for case in ours for pair in case.patterns]
            said = Counter(
                f"{case.fault.profile}→{told.pattern}" for case in ours for told, ok in case.patterns if not ok
            )
            wrong = ", ".join(f"{word} {count}" for word, count in said.most_common())
            right = sum(ok for _, ok in every)
            last = sum(case.patterns[-1][1] for case in ours)
            yield f"  {cause:19} {right}/{len(every)} [{last}/{len(ours)}]   wrong: {wrong or 'none'}"


def _confidence(scores: Scores) -> Iterator[str]:
    yield "CONFIDENCE: stated against right, first and last finding of each engine and cause, engines with a fault"
    for low, high in BINS:
        ours = [(told, ok) for told, ok in scores.stated if low <= told.confidence < high]
        if ours:
            stated = statistics.mean(told.confidence for told, _ in ours)
            right = _rate(sum(ok for _, ok in ours), len(ours))
            yield f"  {low:.1f}–{min(high, 1.0):.1f}: stated {stated:.2f}, right {right}"


def _projections(scores: Scores) -> Iterator[str]:
    ours = [(case, case.projection) for case in scores.cases if case.projection]
    yield "HOURS TO HOLD, half-way between the first growing finding and the crossing (close: within 30 %)"
    counts = Counter(projection.outcome for _, projection in ours)
    good = counts["close"] + counts["held"]
    yield f"  close or held {_rate(good, len(ours))}; {dict(counts)}"
    for case, projection in ours:
        told = projection.told
        span = f"{_number(told.hours_low)}…{_number(told.hours_high)}"
        yield (
            f"    {projection.outcome:7} seed {case.seed} {case.fault.engine_id} {case.fault.cause} {told.morning} "
            f"{told.indicator}/{told.facet}: told {_number(told.hours_to_hold)} ({span}) h, "
            f"true {projection.true_hours:.0f} h at the pace so far, {projection.used_hours:.0f} as used"
        )


def _number(value: float | None) -> str:
    return "–" if value is None else f"{value:.0f}"


def _fuel(scores: Scores) -> Iterator[str]:
    yield "FUEL DELIVERIES"
    for each in scores.fuel:
        first = "never" if each.first_told is None else f"after {(each.first_told - each.day).days} days"
        yield (
            f"  seed {each.seed} on {each.day}: told {first}; mornings once {each.once}, several times {each.several}; "
            f"engines blamed within 10 days {len(each.blamed)}"
        )
    kinds = Counter((told.cause, told.indicator, told.since) for told in scores.false_fleet)
    yield f"  false fleet findings: {len(scores.false_fleet)} mornings"
    yield from (f"    {cause} / {name} since {since}: {count}" for (cause, name, since), count in kinds.most_common(12))


def _load(scores: Scores) -> Iterator[str]:
    engines = scores.healthy_days + scores.ill_days
    yield (
        f"LOAD: findings a fleet-morning, median {statistics.median(scores.load):.0f}, most {max(scores.load)}; "
        f"{sum(scores.load) / max(engines, 1):.3f} an engine-morning; doubled causes {scores.doubled}"
    )


def _listed(scores: Scores) -> Iterator[str]:
    yield "MISSED: could be found, was not"
    for case in scores.cases:
        if case.can_be_found and not case.fitting:
            fault = case.fault
            yield (
                f"  seed {case.seed} {fault.engine_id} {fault.cause} {'/'.join(fault.facets)} {fault.profile} "
                f"{fault.size} onset {fault.onset}, watch {fault.watch_on}, hold {fault.hold_on}, end {fault.end}"
            )
    yield from _told_list(f"FALSE, the {MOST_LISTED} longest", scores.false)
    yield from _told_list(f"STRAY, the {MOST_LISTED} longest", scores.stray)
    yield from _told_list("BLAMED FOR FUEL", [told for each in scores.fuel for told in each.blamed])


def _told_list(title: str, told: Sequence[Told]) -> Iterator[str]:
    yield f"{title} (mornings × first)"
    for first, count in episodes(told)[:MOST_LISTED]:
        place = f"seed {first.seed} {first.engine_id} {first.morning}"
        yield f"  {count:>3} × {place} {first.status} {first.cause}: {first.says}"
