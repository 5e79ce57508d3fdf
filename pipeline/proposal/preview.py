"""A proposed map tried on its own log: what the real pipeline makes of it, in a scratch place."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pipeline.register import Boat, Engine, MapEntry, ReadingLimits, Register
from pipeline.trial import LogYield, Trial, try_log
from pipeline.upload import safe_name

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.proposal.lines import Proposal

_BOAT: Final = "preview"
_MOST_DIGITS: Final = 5


def preview(
    proposal: Proposal, content: bytes | Path, register: Register | None, boat: str | None, engine: str | None = None
) -> Trial:
    """What the proposal's log would give by the proposed map, as that boat's log, or as any boat's where none is named.

    `engine` is whose log it is, where neither the log nor the boat says. Raises OSError where there is no room for it.
    """
    name = safe_name(proposal.file)
    entries = {channel: MapEntry(**entry) for channel, entry in proposal.entries().items()}
    if register is not None and boat is not None:
        return try_log(register, boat, engine or _only_engine(register.boat(boat), proposal), name, content, entries)
    return try_log(_made_up(proposal, register), _BOAT, None, name, content, entries)


def _only_engine(boat: Boat, proposal: Proposal) -> str | None:
    """The first engine stands for any, where the log holds one engine and does not say which."""
    return boat.engines[0].id if len(boat.engines) > 1 and not proposal.engines else None


def _made_up(proposal: Proposal, register: Register | None) -> Register:
    """A fleet of one boat that has the proposal's engines; zone and limits are the register's where there is one."""
    names = proposal.engines or ("engine",)
    engines = tuple(_engine(name, number) for number, name in enumerate(names))
    boat = Boat(id=_BOAT, name=_BOAT, channel_map=None, engines=engines, limits={})
    return Register(
        folder=Path(),
        name=_BOAT,
        timezone=register.timezone if register else "UTC",
        reading=register.reading if register else ReadingLimits(),
        currency_days=3.0,
        simulated=False,
        boats=(boat,),
        channel_maps={},
        limits={},
    )


def _engine(name: str, number: int) -> Engine:
    plain = re.sub(r"[^a-z0-9_-]+", "_", name.casefold()).strip("_") or f"engine_{number + 1}"
    return Engine(id=plain, boat_id=_BOAT, label=name, serial=None, shift_targets=None, service=None, limits={})


def preview_lines(trial: Trial) -> list[str]:
    """The preview as lines of text: what the log would give, and its first readings, a channel a line."""
    if trial.refusal is not None:
        return [f"By this map the log would be refused: {trial.refusal}"]
    lines = [trial.remarks] if trial.remarks else []
    for each in trial.engines:
        unseen = [thing for thing in ("shift forward", "shift reverse", "idle neutral") if not each.shows.get(thing)]
        lines.append(f"{each.engine}: {each.says()}" + (f"; not seen: {', '.join(unseen)}" if unseen else ""))
    return [*lines, *(line for each in trial.engines[:1] for line in _first_readings(each))]


def _first_readings(each: LogYield) -> Sequence[str]:
    width = max(map(len, each.channels), default=0)
    rows = [
        f"{channel:<{width}}  {'  '.join(cell(row.get(channel)) for row in each.first)}" for channel in each.channels
    ]
    return [f"first readings of {each.engine}, in canonical units:", *rows]


def cell(value: Any) -> str:
    """One reading, short."""
    return "–" if value is None else f"{value:.{_MOST_DIGITS}g}"
