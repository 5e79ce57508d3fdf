"""A finding in plain sentences. Screens, command line, report and export all take their words from here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta, tzinfo
from typing import Final

from pipeline.aftermath import Aftermath
from pipeline.catalogue import Indicator
from pipeline.causes import CAUSES
from pipeline.diagnosis import Diagnosis
from pipeline.evidence import Gap
from pipeline.findings import Finding
from pipeline.logbook import Kind
from pipeline.occurrences import Occurrence
from pipeline.projections import Reach
from pipeline.season.together import CommonStep
from pipeline.states import State, Status

STATUS_WORDS: Final[dict[Status, str]] = {
    "hold": "Hold",
    "watch": "Watch",
    "unchecked": "Unchecked",
    "ready": "Ready",
}

STATUS_SYMBOLS: Final[dict[Status, str]] = {"hold": "■", "watch": "▲", "unchecked": "?", "ready": "●"}
"""One shape a status, so that colour is never the only cue."""

STATUS_MEANINGS: Final[dict[Status, str]] = {
    "hold": "stays until seen to",
    "watch": "may go; look at it",
    "unchecked": "not known: no log, or none that is fresh enough",
    "ready": "nothing found in fresh logs",
}

CAUTIONS: Final = (
    (
        "Moving propellers kill. Run an engine in forward or reverse only afloat, moored at both ends, clear water "
        "astern, nobody in the water or near the propellers, a second person on watch, the engine cut-off lanyard "
        "worn. Never in gear on a trailer or a flush hose."
    ),
    "Cooling water on before starting. Hands, hair and clothing clear of moving parts.",
    "Never run an engine in an enclosed space: carbon monoxide, also at idle, also from the boat beside.",
    "A calibration change alters how the boat behaves at the dock: try it in open water first.",
    (
        "Follow the engine maker's manual and local rules; a licensed technician decides. Morning Watch advises; it "
        "clears nobody."
    ),
)
"""Shown wherever the screen suggests running an engine. Sources: 33 CFR 183 Subpart L, 46 U.S.C. 4312, ISO 25197 and
US Coast Guard safety texts; the moored-both-ends rule is derived from them."""

UNCHECKED_DO: Final = (
    "Bring in the newest log, or log a dock check (neutral, forward, neutral, reverse, neutral, afloat and moored)."
)

CHANNELS_DO: Final = (
    "Log shift target and position, or engine speed, pedal and gear; if they are logged, see that the channel map "
    "names their columns."
)

_UNSEEN: Final = {
    "shift reverse": "a shift into reverse",
    "shift neutral": "a shift into neutral",
    "shift forward": "a shift into forward",
    "idle neutral": "idling in neutral",
    "warm": "the engine warm (55 °C)",
}


def number(value: float, indicator: Indicator) -> str:
    """A value with the indicator's decimals and unit; a sign where being above and below both matter."""
    # what rounds to nothing has no sign
    rounded = round(value, indicator.decimals) + 0.0
    text = f"{rounded:+.{indicator.decimals}f}" if indicator.worse == "away" else f"{rounded:.{indicator.decimals}f}"
    return f"{text.replace('-', '−')} {short_unit(indicator)}".rstrip()


def short_unit(indicator: Indicator) -> str:
    """The unit as it stands behind a number."""
    return {"% of travel": "%", "share of shifts": "of shifts", "share of samples": "of samples", "count": ""}.get(
        indicator.unit, indicator.unit
    )


def age(at: datetime, now: datetime) -> str:
    """How long ago, in the largest fitting unit."""
    ago = max(now - at, timedelta())
    hours = ago / timedelta(hours=1)
    if hours < 1:
        return f"{ago / timedelta(minutes=1):.0f} min ago"
    if hours < 48:
        return f"{hours:.0f} h ago"
    return f"{hours / 24:.0f} days ago"


def departs_says(departs: datetime, now: datetime) -> str:
    """When a boat leaves; the day is said where it is not today."""
    return f"departs {departs:%H:%M}" if departs.date() == now.date() else f"departs {departs:%a %H:%M}"


def last_log_says(at: datetime | None, now: datetime) -> str:
    """How old the newest log is."""
    return f"last log {age(at, now)}" if at else "no log"


def count(n: int, word: str) -> str:
    """A count with its noun."""
    return f"{n} {word}" if n == 1 else f"{n} {word}s"


def withheld_says(reasons: Mapping[str, str]) -> str:
    """How many runs are withheld and why, of several reasons the newest; `reasons` are by run in time order."""
    said = list(reasons.values())
    newest = "" if len(set(said)) == 1 else ", the newest"
    return f"{count(len(said), 'run')} withheld{newest}: {said[-1]}."


def title(indicator: Indicator, facet: str) -> str:
    """The indicator with its facet, as a heading."""
    return f"{indicator.title}, {facet}" if facet else indicator.title


def diagnosis_says(found: Diagnosis) -> str:
    """The cause, where its leading symptom stands, how it got there, and what else it explains."""
    state = found.symptoms[0]
    parts = [f"{CAUSES[found.cause].title}. {_standing(state)}", _story(state)]
    if len(found.symptoms) > 1:
        parts.append(f"Also: {listing(_others(state, found.symptoms[1:]))}.")
    return " ".join(part for part in parts if part)


def diagnosis_short(found: Diagnosis) -> str:
    """The deciding number against its limit, without how it got there."""
    state = found.symptoms[0]
    return f"{title(state.indicator, state.key.facet)}: {number(state.value, state.indicator)}{_against(state)}"


def fleet_short(indicator: Indicator, together: Sequence[CommonStep]) -> str:
    """By how much most engines moved at once."""
    most = max(together, key=lambda step: step.engines)
    return f"{indicator.title}: {_sizes(indicator, together)} on {most.engines} of {most.engines_seen} engines"


def fleet_says(cause: str, indicator: Indicator, together: Sequence[CommonStep]) -> str:
    """What most engines did at once, since when and by how much."""
    most = max(together, key=lambda step: step.engines)
    return (
        f"{CAUSES[cause].title}. {indicator.title} of {most.engines} of {most.engines_seen} engines on "
        f"{count(most.boats, 'boat')} moved by {_sizes(indicator, together)} from {date(together[0].began)}. "
        "It is taken out of each engine's own findings."
    )


def occurrence_says(found: Sequence[Occurrence]) -> str:
    """What happened, how often, and how many clean runs since."""
    first = found[0]
    if first.indicator.unit == "count":
        total = int(sum(each.count for each in found))
        gears = listing(sorted({each.series.key.facet for each in found} - {"unknown"}))
        since = count(min(each.clean_runs for each in found), "clean run")
        return f"{count(total, 'stall')}{f' in {gears}' if gears else ''} not answered by a note, {since} since."
    channel = first.series.key.facet.replace("_", " ")
    return f"The signal {channel} cannot be believed: {first.remark} ({count(len(first.run_ids), 'run')})."


def headline(found: Finding) -> str:
    """A finding's name: its cause; empty where it is only something not known."""
    return CAUSES[found.cause].title if found.cause else ""


def certainty(found: Finding) -> str:
    """How sure the cause is, in words and percent, and what it may be instead; empty where nothing was weighed."""
    if found.confidence is None:
        return ""
    word = next(word for floor, word in _CERTAIN_FROM if found.confidence >= floor)
    other = CAUSES.get(found.rather_than or "unknown")
    instead = f", else {lower_first(other.title)}" if other and other.word != "unknown" else ""
    return f"{word} ({found.confidence * 100:.0f} %){instead}."


_CERTAIN_FROM: Final = ((0.9, "Nearly certain"), (0.7, "Likely"), (0.5, "Possible"), (0.0, "Unsure"))


def outlook(found: Finding) -> str:
    """How far the hold limit is at the pace so far, as an interval; empty where it is reached or cannot be said."""
    if not found.hours_to_hold:
        return ""
    low, high = found.hours_to_hold_low or 0.0, found.hours_to_hold_high
    span = f"{low:.0f} or more" if high is None else f"{low:.0f} to {high:.0f}"
    days = "" if found.days_to_hold is None else f", some {found.days_to_hold:.0f} days of its usual use"
    return f"At this pace the hold limit is {found.hours_to_hold:.0f} h away ({span}){days}."


def reach_says(found: Reach, indicator: Indicator) -> str:
    """When a line reaches a limit, in engine hours with its interval; an open end is said as 'or more'."""
    place = f"{found.word} at {number(found.limit, indicator)}"
    if found.outlook in {"reached", "moving away"}:
        return f"{place}: {found.outlook}"
    if found.hours is None:
        soonest = "" if found.low is None else f", not within {found.low:.0f} h"
        return f"{place}: no time can be told{soonest}"
    low = 0.0 if found.low is None else found.low
    span = f"{low:.0f} or more" if found.high is None else f"{low:.0f} to {found.high:.0f}"
    return f"{place}: {found.hours:.0f} h away ({span})"


def pace(slope: float | None, indicator: Indicator) -> str | None:
    """A slope with its sign and unit; None where there is none."""
    return None if slope is None else f"{slope:+.2g} {short_unit(indicator)}".rstrip().replace("-", "−")


def sentence(text: str) -> str:
    """A phrase as a sentence."""
    return f"{text[:1].upper()}{text[1:]}."


def lower_first(text: str) -> str:
    """A title as it stands within a sentence."""
    return text[:1].lower() + text[1:]


def aftermath_says(found: Aftermath) -> str:
    """What came of a note, with its date and how many runs have followed."""
    words = {"held": "held since", "nothing stood out": "nothing stood out before it"}
    outcome = words.get(found.outcome, found.outcome)
    return f"Note of {date(found.note.at)} ({note_kind(found.note.kind)}): {outcome}, {count(found.runs, 'run')} since."


def outcome_says(found: Aftermath) -> str:
    """What came of a note, for one engine, beside the note itself."""
    engine = "" if found.note.engine else f"{found.engine_id.partition('/')[2]}: "
    return f"{engine}{_outcome(found)}, {count(found.runs, 'run')} since"


def _outcome(found: Aftermath) -> str:
    words = {
        "held": "held since",
        "nothing stood out": "nothing stood out before it",
        "not seen yet": "waits for its next logs",
    }
    return words.get(found.outcome, found.outcome)


def deferral_says(found: Finding, zone: tzinfo | None) -> str:
    """Until when a finding is deferred, by whom and why; empty where it is not."""
    if found.deferred_until is None:
        return ""
    until = found.deferred_until.astimezone(zone)
    by = f" by {found.deferred_by}" if found.deferred_by else ""
    reason = f": {found.deferred_for}" if found.deferred_for else ""
    said = f"Deferred until {until:%a} {until.day} {until:%b %H:%M}{by}{reason}"
    return said if said.endswith((".", "!", "?")) else f"{said}."


def note_kind(kind: Kind) -> str:
    """What kind of note it is, as people say it."""
    return kind.value.replace("_", " ")


def date(at: datetime) -> str:
    """A day as people write it."""
    return f"{at.day} {at:%b}"


def gap_says(gap: Gap, currency_days: float) -> str:
    """What is not known of an engine."""
    if gap.record is None:
        return "No log of this engine has ever been read."
    if gap.facet == "age":
        age_days = gap.age_days or 0.0
        old = f"{age_days:.0f}" if age_days >= 10 else f"{age_days:.1f}"
        return f"The last log is {old} days old; logs count for {currency_days:g} days."
    if gap.facet == "run":
        return "The recent logs do not show the engine running."
    if gap.facet == "channels":
        return "The logs hold neither what shifting nor what idling is judged by."
    return f"No recent log shows {_UNSEEN[gap.facet]}."


def gap_do(gap: Gap) -> str:
    """What to do about something that is not known."""
    return CHANNELS_DO if gap.facet == "channels" else UNCHECKED_DO


def seen(thing: str) -> str:
    """What a log can show of a dock check, in words."""
    return {"pick-up": "lift off idle"}.get(thing, thing)


def rests_on(found: Finding, indicator: Indicator) -> str:
    """What a finding rests on: shifts, windows, lifts or stalls, and runs; a signal's fault rests on runs alone."""
    runs = count(found.evidence.runs, "run")
    if indicator.judged.against == "any" and indicator.unit != "count":
        return runs
    if indicator.unit == "count":
        return f"{count(found.evidence.n, 'stall')} in {runs}"
    held = f"{count(found.evidence.n, _counted(indicator))} in {runs}"
    return f"{held}, with what else is named" if found.also else held


def basis(state: State) -> str:
    """What a level rests on: how many shifts, windows or lifts, in how many runs."""
    return f"{count(state.n, _counted(state.indicator))} in {count(state.runs, 'run')}"


def band(wanted: tuple[float, float]) -> str:
    """A wanted band in words."""
    return " to ".join(f"{end:+g}".replace("+0", "0").replace("-", "−") for end in wanted)


def listing(words: Sequence[str]) -> str:
    """Words as a list in a sentence."""
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def _sizes(indicator: Indicator, together: Sequence[CommonStep]) -> str:
    return listing([f"{number(step.size, indicator)} {step.facet}".rstrip() for step in together])


def _others(first: State, more: Sequence[State]) -> list[str]:
    """The other symptoms; those of the first one's indicator by their facet alone, and before the rest."""
    named = [(each.indicator.name != first.indicator.name, each) for each in more]
    alike = [each.key.facet for is_other, each in named if not is_other]
    return [*alike, *(title(each.indicator, each.key.facet) for is_other, each in named if is_other)]


def _standing(state: State) -> str:
    """Where the leading symptom stands against its limit, with its count."""
    fleet = state.value - state.own
    shared = f", {number(fleet, state.indicator)} of it the fleet's" if abs(fleet) >= state.indicator.resolution else ""
    name = title(state.indicator, state.key.facet)
    return f"{name}: {number(state.value, state.indicator)}{shared} ({basis(state)}){_against(state)}."


def _story(state: State) -> str:
    """How it got there: pattern, since when, how fast, from which baseline."""
    moved, indicator = state.moved, state.indicator
    since = f" since {date(moved.since)}" if moved.since else ""
    baseline = "" if moved.baseline is None else f"; baseline {number(moved.baseline, indicator)}"
    if moved.pattern == "growing" and moved.per_100_hours is not None:
        pace = f"{moved.per_100_hours:+.2g} {short_unit(indicator)} per 100 h".replace("-", "−")
        return f"Growing{since}, {pace}{baseline}."
    if moved.pattern == "step":
        return f"Stepped{since}{baseline}."
    if moved.pattern == "scattered":
        return f"Scattered{baseline}."
    if moved.pattern == "constant" and not state.has_moved:
        start = {"commissioning": "the first log", "calibration": "the calibration change"}.get(
            moved.reason, "the note"
        )
        return f"The same since {start}{since}."
    return f"New{since or f' since {date(moved.started_at)}'}: too few runs to tell a pattern{baseline}."


def _counted(indicator: Indicator) -> str:
    if indicator.name.startswith("off_idle"):
        return "lift"
    return "shift" if indicator.name.startswith(("shift", "engagement", "release")) else "window"


def _against(state: State) -> str:
    wanted = state.indicator.wanted.get(state.key.facet)
    band = f"; wanted {wanted[0]:+g} to {wanted[1]:+g}".replace("-", "−").replace("+0", "0") if wanted else ""
    if not state.is_beyond_limit:
        size = state.drift_size
        return f"{band}; watched from {size:.2g} {short_unit(state.indicator)} off its baseline" if size else band
    limit = state.limits.hold if state.status == "hold" else state.limits.watch
    return f"{band}; {state.status} at {limit:g}{' beyond that' if wanted else ''}"
