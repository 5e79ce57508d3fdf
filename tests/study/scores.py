"""Compares what was told with what was planted: found or missed, how early, by which name, and told for nothing."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import TYPE_CHECKING, Final

from planted import DAY, Planted

from pipeline.catalogue import indicators

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from walked import Told, Track, Walk

RUNS_TO_SHOW: Final = 5
"""A fault can be expected to be found only if the engine ran so often after passing what is watched."""

RUNS_TO_SHOW_BACK: Final = 10
SHOWN_BY_TEN: Final = frozenset({"linkage_play", "temperature_axis"})
"""Faults seen in readings over ten runs alone, which follow the truth that much later."""

RUNS_TO_SHAPE: Final = 8
"""Runs since the onset from which the pattern should be told rightly."""

RUNS_TO_SHAPE_BACK: Final = 13
"""The same for readings over ten runs: until all ten are new, a step and growth look alike."""

LOOKING_BACK: Final = frozenset(name for name, found in indicators().items() if found.looks_back)

COUNTED: Final = frozenset(name for name, found in indicators().items() if found.judged.against == "any")
"""Indicators that are counted when they occur: they have no shape."""

FUEL_DAYS: Final = 10
CLOSE_SHARE: Final = 0.3
"""A projection is right within this share of the true remaining hours, or if its interval holds them."""


@dataclass(frozen=True)
class Projection:
    """Hours to the hold limit as told half-way, and as they truly were.

    Planted faults grow by the day, not by the hour. So the true hours are the days left at the pace at which the
    engine was used since the onset; `used_hours` is what it then really ran.
    """

    told: Told
    true_hours: float
    used_hours: float

    @property
    def outcome(self) -> str:
        """'open' (nothing said), 'close', 'held' (only the interval holds it) or 'missed'."""
        if self.told.hours_to_hold is None:
            return "open"
        if abs(self.told.hours_to_hold - self.true_hours) <= CLOSE_SHARE * self.true_hours:
            return "close"
        low = self.told.hours_low if self.told.hours_low is not None else 0.0
        high = self.told.hours_high if self.told.hours_high is not None else float("inf")
        return "held" if low <= self.true_hours <= high else "missed"


@dataclass(frozen=True)
class Case:
    """One planted fault and the findings that fit it, in time order, the best of each morning."""

    seed: int
    fault: Planted
    can_be_found: bool
    fitting: tuple[Told, ...]
    patterns: tuple[tuple[Told, bool], ...]
    """Once established: the finding of each morning, and whether its pattern is right."""
    projection: Projection | None

    @property
    def lead_days(self) -> int | None:
        """Days from the first finding to the truth's crossing of the hold limit; negative if later."""
        if self.fault.hold_on is None or not self.fitting:
            return None
        return (self.fault.hold_on - self.fitting[0].morning).days

    @property
    def delay_days(self) -> int | None:
        """Days from passing what is watched to the first finding; 1 is the very next morning."""
        if self.fault.watch_on is None or not self.fitting:
            return None
        return (self.fitting[0].morning - self.fault.watch_on).days

    @property
    def hold_delay_days(self) -> int | None:
        """Days from the truth's crossing of the hold limit to the first morning that says hold."""
        held = next((told.morning for told in self.fitting if told.status == "hold"), None)
        return None if held is None or self.fault.hold_on is None else (held - self.fault.hold_on).days

    def is_named(self, told: Told) -> bool:
        """Whether a finding names the cause truly."""
        return told.cause in self.fault.right_names


@dataclass(frozen=True)
class Fuel:
    """One fuel delivery: the mornings that told of it once, of several, and the engines that were blamed for it."""

    seed: int
    day: date
    once: int
    several: int
    first_told: date | None
    blamed: tuple[Told, ...]


@dataclass(frozen=True)
class Scores:
    """Everything counted over some walks. Days are engine-mornings with a verdict."""

    cases: tuple[Case, ...]
    healthy_days: int
    ill_days: int
    false: tuple[Told, ...]
    """Alarms on engines with nothing wrong."""
    stray: tuple[Told, ...]
    """Alarms on engines with something wrong, but not this."""
    stated: tuple[tuple[Told, bool], ...]
    """The first and the last finding of each engine and cause on engines with something wrong; whether it is right."""
    fuel: tuple[Fuel, ...]
    false_fleet: tuple[Told, ...]
    load: tuple[int, ...]
    """Alarms of each fleet-morning."""
    doubled: int
    """Second findings of one cause on one engine and morning."""


def score(walks: Sequence[Walk]) -> Scores:
    """Count everything over some walks."""
    healthy = [(walk, day, engine) for walk in walks for day, engine in _judged(walk) if not _near(walk, engine, day)]
    days = sum(1 for walk in walks for _ in _judged(walk))
    alarms = [(walk, told) for walk in walks for told in walk.told if told.is_alarm]
    return Scores(
        cases=tuple(_case(walk, fault) for walk in walks for fault in walk.planted if fault.cause != "fuel_delivery"),
        healthy_days=len(healthy),
        ill_days=days - len(healthy),
        false=tuple(told for walk, told in alarms if not _near(walk, told.engine_id, told.morning)),
        stray=tuple(told for walk, told in alarms if _is_stray(walk, told)),
        stated=tuple((told, _is_true(walk, told)) for walk in walks for told in _first_and_last(walk)),
        fuel=tuple(_fuel(walk, fault) for walk in walks for fault in walk.planted if fault.cause == "fuel_delivery"),
        false_fleet=tuple(told for walk in walks for told in walk.told if _is_false_fleet(walk, told)),
        load=tuple(_load(walk, day) for walk in walks for day in walk.mornings),
        doubled=sum(_doubled(walk) for walk in walks),
    )


def episodes(told: Iterable[Told]) -> list[tuple[Told, int]]:
    """The same thing told of one engine on several mornings, once: its first finding and how many there were."""
    ordered = sorted(told, key=lambda each: (*_episode(each), each.morning))
    groups = [list(group) for _, group in groupby(ordered, key=_episode)]
    return sorted(((group[0], len(group)) for group in groups), key=lambda pair: -pair[1])


def _episode(told: Told) -> tuple[int, str, str, str]:
    return told.seed, told.engine_id or "", told.cause or "", told.indicator


def _judged(walk: Walk) -> list[tuple[date, str]]:
    return [(day, engine_id) for day in walk.mornings for engine_id in walk.judged[day]]


def _of_engine(walk: Walk, engine_id: str | None) -> list[Planted]:
    return [fault for fault in walk.planted if fault.engine_id == engine_id]


def _near(walk: Walk, engine_id: str | None, morning: date) -> list[Planted]:
    """Faults that the logs up to this morning may show, mended ones for a while too."""
    return [
        fault
        for fault in _of_engine(walk, engine_id)
        if fault.is_near(morning - DAY, walk.tracks[fault.engine_id].runs_between(fault.end, morning))
    ]


def _is_true(walk: Walk, told: Told) -> bool:
    return any(told.cause in fault.right_names for fault in _near(walk, told.engine_id, told.morning))


def _is_stray(walk: Walk, told: Told) -> bool:
    return bool(_near(walk, told.engine_id, told.morning)) and not _is_true(walk, told)


def _case(walk: Walk, fault: Planted) -> Case:
    track = walk.tracks[fault.engine_id]
    fitting = tuple(_fitting(walk, fault))
    shaped = [told for told in fitting if _is_shaped(fault, told, track)]
    return Case(
        seed=walk.fleet.seed,
        fault=fault,
        can_be_found=_can_be_found(walk, fault, track),
        fitting=fitting,
        patterns=tuple((told, told.pattern in fault.patterns) for told in shaped),
        projection=_projection(fault, fitting, track),
    )


def _can_be_found(walk: Walk, fault: Planted, track: Track) -> bool:
    if fault.watch_on is None:
        return False
    last_seen = min(fault.end, walk.mornings[-1])
    needed = RUNS_TO_SHOW_BACK if fault.cause in SHOWN_BY_TEN else RUNS_TO_SHOW
    return track.runs_between(fault.watch_on, last_seen) >= needed and last_seen >= walk.mornings[0]


def _fitting(walk: Walk, fault: Planted) -> Iterable[Told]:
    """The finding of each morning that fits best: the right name first, else the right place."""
    others = [each for each in _of_engine(walk, fault.engine_id) if each is not fault]
    ours = [told for told in walk.told if told.is_alarm and _fits(fault, others, told)]
    for _, group in groupby(ours, key=lambda told: told.morning):
        yield min(group, key=lambda told: (told.cause not in fault.right_names, told.status != "hold"))


def _fits(fault: Planted, others: Sequence[Planted], told: Told) -> bool:
    if told.engine_id != fault.engine_id or not fault.is_active(told.morning - DAY):
        return False
    if told.cause in fault.right_names:
        return True
    taken = any(other.is_active(told.morning - DAY) and told.cause in other.right_names for other in others)
    return told.indicator in fault.shown_by and not taken


def _is_shaped(fault: Planted, told: Told, track: Track) -> bool:
    """Whether the fault has been there for long enough, and has not stood at its full size for long."""
    is_over = fault.profile == "growing" and told.morning > fault.full + timedelta(days=5)
    runs = RUNS_TO_SHAPE_BACK if told.indicator in LOOKING_BACK else RUNS_TO_SHAPE
    return track.runs_between(fault.onset, told.morning) >= runs and not is_over and told.indicator not in COUNTED


def _projection(fault: Planted, fitting: Sequence[Told], track: Track) -> Projection | None:
    """What was told half-way between the first growing finding and the truth's crossing of the hold limit."""
    first = next((told for told in fitting if told.pattern == "growing"), None)
    if first is None or fault.hold_on is None or fault.hold_on - first.morning < timedelta(days=4):
        return None
    half_way = first.morning + (fault.hold_on - first.morning) / 2
    told = [each for each in fitting if first.morning <= each.morning <= half_way][-1]
    at_limit, latest, start = (
        track.hours_on(fault.hold_on),
        track.last_before(told.morning),
        track.hours_on(fault.onset),
    )
    if at_limit is None or latest is None or start is None or latest[0] <= fault.onset:
        return None
    day, now = latest
    pace = (now - start) / (day - fault.onset).days
    return Projection(told, (fault.hold_on - day).days * pace, at_limit - now)


def _first_and_last(walk: Walk) -> list[Told]:
    ill = [told for told in walk.told if told.is_alarm and _near(walk, told.engine_id, told.morning)]
    ordered = sorted(ill, key=lambda told: (told.engine_id or "", told.cause or "", told.morning))
    groups = [list(group) for _, group in groupby(ordered, key=lambda told: (told.engine_id, told.cause))]
    return [told for group in groups for told in ([group[0], group[-1]] if len(group) > 1 else group)]


def _fuel(walk: Walk, fault: Planted) -> Fuel:
    ours = [told for told in walk.told if told.engine_id is None and _is_of(fault, told)]
    counts = Counter(told.morning for told in ours)
    trims = _engines_with(walk, {"fuel_supply", "air_leak"})
    blamed = [told for told in walk.told if _is_blamed(told, fault) and told.engine_id not in trims]
    return Fuel(
        seed=walk.fleet.seed,
        day=fault.onset,
        once=sum(count == 1 for count in counts.values()),
        several=sum(count > 1 for count in counts.values()),
        first_told=min(counts, default=None),
        blamed=tuple(told for told, _ in episodes(blamed)),
    )


def _is_of(fault: Planted, told: Told) -> bool:
    """Whether a fleet finding tells of this delivery: trim, and its day within three."""
    is_near = told.since is not None and abs(told.since - fault.onset) <= timedelta(days=3)
    return told.indicator == "idle_fuel_trim" and is_near


def _is_blamed(told: Told, fault: Planted) -> bool:
    after = timedelta() < told.morning - fault.onset <= timedelta(days=FUEL_DAYS)
    return told.is_alarm and told.indicator == "idle_fuel_trim" and after


def _engines_with(walk: Walk, causes: set[str]) -> set[str]:
    return {fault.engine_id for fault in walk.planted if fault.cause in causes}


def _is_false_fleet(walk: Walk, told: Told) -> bool:
    deliveries = [fault for fault in walk.planted if fault.cause == "fuel_delivery"]
    return told.engine_id is None and not any(_is_of(fault, told) for fault in deliveries)


def _load(walk: Walk, day: date) -> int:
    return sum(told.is_alarm and told.morning == day for told in walk.told)


def _doubled(walk: Walk) -> int:
    counts = Counter((told.engine_id, told.cause, told.morning) for told in walk.told if told.is_alarm)
    return sum(count - 1 for key, count in counts.items() if key[1] not in {"unknown", "sensor_fault", "wrong_unit"})
