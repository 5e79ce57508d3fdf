"""What the screens draw beyond the morning itself: rows of one engine, siblings side by side. SQL in sql/screens.

Times come as `local_ms`: the wall clock of the fleet's zone written as if it were UTC, in milliseconds. A chart on a
UTC scale then shows the fleet's time whatever zone the browser is in. `at_s` stays the true moment (epoch seconds).

Rows that judgement withholds come with why in `withheld`, null where they are believed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import pandas as pd

from pipeline import wording
from pipeline.catalogue import Indicator, indicators, read_query
from pipeline.channels import CHANNELS
from pipeline.database import Database, rows
from pipeline.register import Boat, Engine
from pipeline.states import State, Status
from pipeline.trust import Withheld

EVIDENCE_LOGS: Final = 12
"""How many of the newest logs the evidence picture shows."""


@dataclass(frozen=True)
class Sibling:
    """One engine's level in a row of siblings; `basis` is what it rests on."""

    engine: str
    value: float
    text: str
    basis: str
    status: Status


@dataclass(frozen=True)
class SiblingRow:
    """One indicator and facet over a boat's engines. `apart` is how far the highest stands above the lowest, and which.

    None if alone. `is_far` says that they stand farther apart than what is watched.
    """

    title: str
    indicator: str
    facet: str
    siblings: Mapping[str, Sibling]
    apart: str | None
    is_far: bool

    @property
    def is_telling(self) -> bool:
        """Whether the row has something to say: an engine that is not ready, or siblings far apart."""
        return self.is_far or any(each.status != "ready" for each in self.siblings.values())


@dataclass(frozen=True)
class Channels:
    """Names of canonical channels, in the contract's order."""

    held: tuple[str, ...]
    lacking: tuple[str, ...]


@dataclass(frozen=True)
class DockCheck:
    """What an engine's newest log, begun at `newest_s` (epoch s), shows of what a morning asks, and how often."""

    newest_s: float
    times: Mapping[str, int]


def shifts(db: Database, engine_id: str, as_of: datetime, zone: ZoneInfo, withheld: Withheld) -> pd.DataFrame:
    """The engine's shifts: gears, positions in % of travel, transit in s; null settled and transit with `why_null`.

    `withheld` is of positions and reach error, `transit_withheld` of the transit, which rests on more channels.
    """
    found = _rows(db, "shifts", {"engine_id": engine_id, "as_of": as_of}, zone)
    transit = why_withheld(found, withheld.reasons(engine_id, "shift_transit_time"))
    return found.assign(
        withheld=why_withheld(found, withheld.reasons(engine_id, "shift_reach_error")), transit_withheld=transit
    )


def idle_windows(db: Database, engine_id: str, as_of: datetime, zone: ZoneInfo, withheld: Withheld) -> pd.DataFrame:
    """The engine's idle windows: gear, °C, integral and trim in %; `run_s` is when the window's run began, epoch s.

    `withheld` is of the integral, `trim_withheld` of the trim.
    """
    found = _rows(db, "idle_windows", {"engine_id": engine_id, "as_of": as_of}, zone)
    trim = why_withheld(found, withheld.reasons(engine_id, "idle_fuel_trim"))
    return found.assign(withheld=why_withheld(found, withheld.reasons(engine_id, "idle_integral")), trim_withheld=trim)


def believed(found: pd.DataFrame) -> pd.DataFrame:
    """The rows that judgement does not withhold."""
    return found[found["withheld"].isna()]


def why_withheld(found: pd.DataFrame, reasons: Mapping[str, str]) -> pd.Series:
    """Why each row is withheld, by its `run_id`; None where it is believed."""
    return pd.Series([reasons.get(run_id) for run_id in found["run_id"]], index=found.index, dtype=object)


def evidence(db: Database, engine_id: str, as_of: datetime, zone: ZoneInfo, withheld: Withheld) -> pd.DataFrame:
    """What each of the newest logs shows: `thing` and how many `times`; null where a log shows nothing.

    What rests on a channel that cannot be believed is not seen, as in the judgement.
    """
    found = _rows(db, "evidence", {"engine_id": engine_id, "as_of": as_of, "logs": EVIDENCE_LOGS}, zone)
    for thing, mine in found.groupby("thing"):
        spoiled = why_withheld(mine, withheld.reasons(engine_id, "evidence", str(thing))).notna()
        found.loc[mine.index[spoiled], ["thing", "times"]] = [None, float("nan")]
    each = ["at_s", "local_ms", "when", "log_id", "file", "thing"]
    added: pd.DataFrame = found.groupby(each, dropna=False)["times"].sum(min_count=1).reset_index()
    # where no log shows anything, the grouping takes the empty things for numbers
    return added.astype({"thing": object})


def offset_span(db: Database, engine_id: str, as_of: datetime, zone: ZoneInfo, withheld: Withheld) -> pd.DataFrame:
    """`offset_pct` and `span_pct` of every run that reached all three gears, % of travel, over how many `shifts`."""
    found = _rows(db, "offset_span", {"engine_id": engine_id, "as_of": as_of}, zone)
    return found.assign(withheld=why_withheld(found, withheld.reasons(engine_id, "shift_reach_error")))


def trim_days(db: Database, engine_id: str, as_of: datetime, zone: ZoneInfo, withheld: Withheld) -> pd.DataFrame:
    """Cold, hot and middle trim (%) of every day that had both, over how many `windows`; withheld ones are left out."""
    left_out = list(withheld.reasons(engine_id, "idle_fuel_trim"))
    asked = {"engine_id": engine_id, "as_of": as_of, "zone": zone.key, "withheld": left_out}
    return _rows(db, "trim_days", asked, zone)


def engine_readings(
    db: Database, engine_id: str, names: Sequence[str], as_of: datetime, zone: ZoneInfo, withheld: Withheld
) -> pd.DataFrame:
    """Every reading of some indicators of an engine, each in its own unit, with its count `n` and its log."""
    asked = {"engine_id": engine_id, "indicators": list(names), "as_of": as_of}
    found = _rows(db, "engine_readings", asked, zone).assign(withheld=None)
    if engine_id not in withheld.engines:
        return found
    for (name, facet), mine in found.groupby(["indicator", "facet"]):
        found.loc[mine.index, "withheld"] = why_withheld(mine, withheld.reasons(engine_id, str(name), str(facet)))
    return found


def stalls(db: Database, engine_id: str, as_of: datetime, zone: ZoneInfo) -> pd.DataFrame:
    """The engine's stalls, the newest first: `gear`, `how` (shift or idle), `restart_s`, null where it stayed off."""
    return _rows(db, "stalls", {"engine_id": engine_id, "as_of": as_of}, zone)


def logs(db: Database, as_of: datetime, zone: ZoneInfo) -> pd.DataFrame:
    """Every file that came in: status, reason, boat, `minutes` long; a refused file has no time. The newest first."""
    return _rows(db, "logs", {"as_of": as_of}, zone)


def dock_checks(db: Database, as_of: datetime, withheld: Withheld) -> Mapping[str, DockCheck]:
    """What the newest log of each engine up to a moment shows of a dock check; engines without a log are left out.

    What rests on a channel that cannot be believed is not seen, as in the judgement.
    """
    newest: dict[str, float] = {}
    times: dict[str, Counter[str]] = {}
    for row in rows(db, read_query("screens", "dock_check"), {"as_of": as_of, "logs": 1, "file": None}):
        engine_id, thing = row["engine_id"], row["thing"]
        newest[engine_id] = row["newest_s"]
        if thing is not None and row["run_id"] not in withheld.reasons(engine_id, "evidence", thing):
            times.setdefault(engine_id, Counter())[thing] += round(row["times"])
    return {engine_id: DockCheck(at_s, dict(times.get(engine_id, {}))) for engine_id, at_s in newest.items()}


def facets(db: Database) -> dict[str, tuple[str, ...]]:
    """The facets that have readings, by indicator; '' where an indicator has none."""
    found: dict[str, list[str]] = {}
    for row in rows(db, read_query("screens", "facets")):
        found.setdefault(row["indicator"], []).append(row["facet"])
    return {name: tuple(each) for name, each in found.items()}


def channels(db: Database, engine_id: str, as_of: datetime) -> Channels:
    """Which channels the logs of an engine hold and which none of them does."""
    found = rows(db, read_query("screens", "channels"), {"engine_id": engine_id, "as_of": as_of})
    held = {row["channel"] for row in found}
    return Channels(
        tuple(name for name in CHANNELS if name in held), tuple(name for name in CHANNELS if name not in held)
    )


def since_service(engine: Engine, hours: float | None) -> float | None:
    """Engine hours since the last service; None where either is unknown."""
    return None if engine.service is None or hours is None else hours - engine.service.last_hours


def siblings(states: Sequence[State], boat: Boat) -> tuple[SiblingRow, ...]:
    """The boat's engines side by side, an indicator and facet a row, in the order of the catalogue."""
    found: dict[tuple[str, str], dict[str, State]] = {}
    ids = {engine.engine_id: engine.id for engine in boat.engines}
    for state in states:
        if state.key.engine_id in ids:
            place = (state.indicator.name, state.key.facet)
            found.setdefault(place, {})[ids[state.key.engine_id]] = state
    return tuple(_sibling_row(*place, found[place]) for place in sorted(found))


def _sibling_row(name: str, facet: str, states: Mapping[str, State]) -> SiblingRow:
    indicator = indicators()[name]
    values = [state.value for state in states.values()]
    apart = max(values) - min(values)
    limits = [state.limits.watch for state in states.values() if state.limits.watch is not None]
    return SiblingRow(
        title=wording.title(indicator, facet),
        indicator=indicator.name,
        facet=facet,
        siblings={
            engine: Sibling(
                engine, state.value, wording.number(state.value, indicator), wording.basis(state), state.status
            )
            for engine, state in states.items()
        },
        apart=_apart(states, indicator) if len(values) > 1 else None,
        is_far=len(values) > 1 and indicator.worse == "away" and bool(limits) and apart >= min(limits),
    )


def _apart(states: Mapping[str, State], indicator: Indicator) -> str:
    """The largest difference between two siblings: how much, and which of them is above which."""
    highest, lowest = (pick(states, key=lambda engine: states[engine].value) for pick in (max, min))
    by = f"{states[highest].value - states[lowest].value:.{indicator.decimals}f} {wording.short_unit(indicator)}"
    return by.rstrip() if highest == lowest else f"{by.rstrip()}, {highest} above {lowest}"


def _rows(db: Database, name: str, parameters: Mapping[str, Any], zone: ZoneInfo) -> pd.DataFrame:
    return with_local_time(db.execute(read_query("screens", name), parameters).df(), zone)


def local_ms(at_s: float, zone: ZoneInfo) -> float:
    """A moment (epoch s) on the charts' clock: the zone's wall clock as if it were UTC, in milliseconds."""
    moment = datetime.fromtimestamp(at_s, zone)
    return (at_s + (moment.utcoffset() or timedelta()).total_seconds()) * 1000


def with_local_time(found: pd.DataFrame, zone: ZoneInfo) -> pd.DataFrame:
    """The rows with `local_ms` and `when`, the moment in words, made from `at_s`."""
    moments = pd.to_datetime(found["at_s"], unit="s", utc=True).dt.tz_convert(zone)
    walls = moments.dt.tz_localize(None)
    return found.assign(
        local_ms=(walls - pd.Timestamp(0)) / pd.Timedelta(milliseconds=1),
        when=moments.dt.strftime("%a %d %b %Y %H:%M:%S"),
    )
