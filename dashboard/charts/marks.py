"""The marks of an engine: each judged number against its tolerance, with the tail of its last runs. Our own picture.

Every cell has the same scale, whatever is measured: the middle (or the floor, where only one side is bad) is what is
wanted, the shaded zones begin at the watch and at the hold limit. So sixty engines compare at a glance.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from dashboard.markup import Html, tag
from pipeline import wording
from pipeline.catalogue import Indicator, Limits
from pipeline.states import State, Status

TAIL: Final = 8
"""How many of the last runs are shown."""

WATCH_PLACE: Final = 0.5
HOLD_PLACE: Final = 1.0
EDGE: Final = 1.3
"""Where on the cell's scale the limits stand, and where the cell ends: what is farther is drawn at its edge."""

_FACETS: Final = ("reverse", "neutral", "forward", "cold", "hot")
_HALF: Final = 34
"""Percent of the cell's height from its middle to the end of the scale; the rest is margin."""

_TAIL_WIDTH: Final = 70
"""Percent of the cell's width that the last runs take; the level now stands behind them."""

_THIN: Final = 3
"""Percent of the cell's height from the middle of the line of runs to its edge."""

Column = tuple[str, str]
"""Indicator and facet."""


@dataclass(frozen=True)
class Mark:
    """One cell. `place` and `tail` are on the cell's scale: 0 wanted, ±0.5 watch, ±1 hold, worse away from 0.

    `is_old` tells that the newest reading is too old to call the engine ready by it.
    """

    column: Column
    says: str
    status: Status
    worse: str
    has_hold: bool
    is_old: bool
    place: float
    tail: tuple[float, ...]


@dataclass(frozen=True)
class Group:
    """The columns of one indicator, in the order in which they stand."""

    title: str
    columns: tuple[Column, ...]


def groups(states: Iterable[State]) -> tuple[Group, ...]:
    """The columns that the fleet's states need, those of one indicator together, most facets first."""
    found: dict[str, tuple[str, set[str]]] = {}
    for state in states:
        if _is_shown(state):
            name = state.indicator.name
            found.setdefault(name, (state.indicator.title, set()))[1].add(state.key.facet)
    ordered = sorted(found.items(), key=lambda item: (-len(item[1][1]), item[1][0]))
    return tuple(
        Group(title, tuple((name, facet) for facet in sorted(facets, key=_facet_order)))
        for name, (title, facets) in ordered
    )


def mark_rows(states: Iterable[State], as_of: datetime, currency_days: float) -> Mapping[str, Mapping[Column, Mark]]:
    """The marks by engine id and column; readings older than `currency_days` before `as_of` are drawn as old."""
    found: dict[str, dict[Column, Mark]] = {}
    for state in states:
        if _is_shown(state):
            mark = _mark(state, as_of, currency_days)
            found.setdefault(state.key.engine_id, {})[mark.column] = mark
    return found


def place(value: float, indicator: Indicator, facet: str, limits: Limits) -> float:
    """A value on the cell's scale: ±0.5 at the watch limit, ±1 at the hold limit, straight between them.

    Where only one limit is set, the other is taken at twice (or half) its distance from what is wanted.
    """
    if indicator.worse == "lower":
        watch, hold = limits.watch or limits.hold or 0.0, limits.hold
        span = (watch - hold) if hold is not None and watch > hold else abs(watch) * 0.1 or 1.0
        return _clamped(-(WATCH_PLACE + (watch - value) / span * (HOLD_PLACE - WATCH_PLACE)))
    low, high = indicator.wanted.get(facet, (0.0, 0.0)) if indicator.worse == "away" else (0.0, 0.0)
    middle, half = (low + high) / 2, (high - low) / 2
    watch = half + (limits.watch if limits.watch is not None else (limits.hold or 1.0) / 2)
    hold = half + (limits.hold if limits.hold is not None else 2 * (limits.watch or 1.0))
    scaled = _scaled(abs(value - middle), watch, hold)
    return _clamped(scaled if value >= middle else -scaled)


def heading(columns: Sequence[Group]) -> Html:
    """The row of titles above a table of marks; it stays in sight while the rows go by."""
    groups_ = [
        _group(group, tag("div", group.title, class_="mw-group-title"), [_facet(facet) for _, facet in group.columns])
        for group in columns
    ]
    return tag("div", tag("div", class_="mw-who"), *groups_, class_="mw-engine mw-heading")


def row(who: Html, columns: Sequence[Group], marks: Mapping[Column, Mark], status: Status) -> Html:
    """One engine: who it is, then its marks under the titles."""
    groups_ = [_group(group, None, [cell(marks.get(column)) for column in group.columns]) for group in columns]
    return tag("div", tag("div", who, class_="mw-who"), *groups_, class_=f"mw-engine mw-{status}")


def cell(mark: Mark | None) -> Html:
    """One number against its tolerance: the last runs as a line, the level now as a shape; dashed without any."""
    if mark is None:
        return tag("div", class_="mw-cell mw-none", role="img", aria_label="no reading", title="no reading")
    kind = f"mw-cell mw-worse-{mark.worse}{'' if mark.has_hold else ' mw-nohold'}"
    old = " mw-old" if mark.is_old else ""
    now = tag("i", class_=f"mw-now mw-{mark.status}{old}", style=f"top:{_down(mark.place)}%")
    return tag("div", _tail(mark), now, class_=kind, title=mark.says, role="img", aria_label=mark.says)


def legend() -> Html:
    """How to read the marks."""
    return tag(
        "p",
        f"The line is the last {TAIL} runs, left to right; the shape behind it is the level now: ",
        *(
            tag(
                "span",
                f"{wording.STATUS_SYMBOLS[status]} {wording.STATUS_WORDS[status].lower()}  ",
                class_=f"mw-{status}",
            )
            for status in ("ready", "watch", "hold")
        ),
        "· The shaded zones begin at the watch and at the hold limit; ",
        tag("span", wording.STATUS_SYMBOLS["watch"], class_="mw-watch"),
        " outside them has left its baseline. A hollow grey ring is an old "
        "reading that makes nothing ready. A dashed cell has no reading.",
        class_="mw-legend",
    )


def _is_shown(state: State) -> bool:
    return state.indicator.judged.against == "limits" and (state.limits.watch, state.limits.hold) != (None, None)


def _mark(state: State, as_of: datetime, currency_days: float) -> Mark:
    indicator, facet = state.indicator, state.key.facet
    tail = state.moved.values[-TAIL:]
    is_old = as_of - state.latest_at > timedelta(days=currency_days) and state.status == "ready"
    off = ", off its baseline" if state.has_moved and not state.is_beyond_limit else ""
    return Mark(
        column=(indicator.name, facet),
        says=f"{wording.title(indicator, facet)}: {wording.number(state.own, indicator)}, "
        f"{'old' if is_old else state.status}{off}, {wording.age(state.latest_at, as_of)}",
        status=state.status,
        worse=indicator.worse,
        has_hold=state.limits.hold is not None,
        is_old=is_old,
        place=place(state.own, indicator, facet, state.limits),
        tail=tuple(place(float(value), indicator, facet, state.limits) for value in tail),
    )


def _scaled(off: float, watch: float, hold: float) -> float:
    """A distance on the scale; limits that are equal or zero leave no room between them, so any will do."""
    if off < watch:
        return off / watch * WATCH_PLACE
    span = max(hold - watch, 0.0) or watch or 1.0
    return WATCH_PLACE + (off - watch) / span * (HOLD_PLACE - WATCH_PLACE)


def _clamped(scaled: float) -> float:
    return max(-EDGE, min(EDGE, scaled))


def _facet_order(facet: str) -> tuple[int, str]:
    return (_FACETS.index(facet) if facet in _FACETS else len(_FACETS), facet)


def _group(group: Group, title: Html | None, cells: Sequence[Html]) -> Html:
    single = " mw-single" if len(group.columns) == 1 else ""
    inside = tag("div", *cells, class_="mw-cells")
    return tag("div", title, inside, class_=f"mw-group{single}", style=f"--n:{len(group.columns)}")


def _facet(facet: str) -> Html:
    return tag("span", facet, class_="mw-facet")


def _tail(mark: Mark) -> Html | None:
    """The last runs as a thin band cut out of the cell, the newest nearest to the level now; one alone is a dash."""
    if not mark.tail:
        return None
    runs = mark.tail if len(mark.tail) > 1 else mark.tail * 2
    step = _TAIL_WIDTH / TAIL
    line = [(f"{at * step + 2:.0f}%", _down(value)) for at, value in enumerate(runs, start=TAIL - len(runs))]
    band = [f"{x} {y - _THIN:.0f}%" for x, y in line] + [f"{x} {y + _THIN:.0f}%" for x, y in reversed(line)]
    return tag("i", class_="mw-tail", style=f"clip-path:polygon({','.join(band)})")


def _down(scaled: float) -> float:
    """Percent below the top of the cell: up is positive on the scale."""
    return round(50 - scaled / EDGE * _HALF, 1)
