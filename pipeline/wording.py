"""A finding in plain sentences. Screens, command line, report and export all take their words from here."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from pipeline.catalogue import Indicator
from pipeline.evidence import Gap
from pipeline.occurrences import Occurrence
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

_UNSEEN: Final = {
    "shift reverse": "a shift into reverse",
    "shift neutral": "a shift into neutral",
    "shift forward": "a shift into forward",
    "idle neutral": "idling in neutral",
    "warm": "the engine warm (55 °C)",
}


def number(value: float, indicator: Indicator) -> str:
    """A value with the indicator's decimals and unit; a sign where being above and below both matter."""
    text = f"{value:+.{indicator.decimals}f}" if indicator.worse == "away" else f"{value:.{indicator.decimals}f}"
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


def count(n: int, word: str) -> str:
    """A count with its noun."""
    return f"{n} {word}" if n == 1 else f"{n} {word}s"


def title(indicator: Indicator, facet: str) -> str:
    """The indicator with its facet, as a heading."""
    return f"{indicator.title}, {facet}" if facet else indicator.title


def state_says(state: State) -> str:
    """Where a level stands against its limit, with its count."""
    indicator, facet = state.indicator, state.key.facet
    basis = f"{count(state.n, _counted(indicator))} in {count(state.runs, 'run')}"
    return f"{title(indicator, facet)}: {number(state.value, indicator)} ({basis}){_against(state)}."


def occurrence_says(found: Occurrence) -> str:
    """What happened, how often, and how many clean runs since."""
    if found.indicator.unit == "count":
        gear = "" if found.series.key.facet == "unknown" else f" in {found.series.key.facet}"
        since = count(found.clean_runs, "clean run")
        return f"{count(int(found.count), 'stall')}{gear} not answered by a note, {since} since."
    channel = found.series.key.facet.replace("_", " ")
    return f"The signal {channel} cannot be believed: {found.remark} ({count(len(found.run_ids), 'run')})."


def gap_says(gap: Gap, currency_days: float) -> str:
    """What is not known of an engine."""
    if gap.record is None:
        return "No log of this engine has ever been read."
    if gap.facet == "age":
        return f"The last log is {gap.age_days:.0f} days old; logs count for {currency_days:g} days."
    if gap.facet == "run":
        return "The recent logs do not show the engine running."
    return f"No recent log shows {_UNSEEN[gap.facet]}."


def listing(words: Sequence[str]) -> str:
    """Words as a list in a sentence."""
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def _counted(indicator: Indicator) -> str:
    return "shift" if indicator.name.startswith(("shift", "engagement", "release")) else "window"


def _against(state: State) -> str:
    facet, indicator = state.key.facet, state.indicator
    wanted = indicator.wanted.get(facet)
    band = f"; wanted {wanted[0]:+g} to {wanted[1]:+g}".replace("-", "−") if wanted else ""
    limit = state.limits.hold if state.status == "hold" else state.limits.watch
    if limit is None:
        return f"{band}; no limit set"
    beyond = " beyond that" if wanted else ""
    return f"{band}; {state.status if state.status != 'ready' else 'watch'} at {limit:g}{beyond}"
