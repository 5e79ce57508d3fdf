"""Response: what speed does when gear goes in and comes out, how steady it idles, how it picks up, and stalls."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from datetime import datetime
from typing import Any, Final

import pandas as pd

from dashboard import data, parts, ways
from dashboard.charts import drawing, picking, responding
from pipeline import baselines, needs, wording
from pipeline.catalogue import Indicator, indicators
from pipeline.register import Engine

SHOWN: Final = ("engagement_dip", "release_flare", "idle_spread", "idle_speed_error", "off_idle_lean")

RUN_SECONDS: Final = 240.0
"""How much of a log is shown from a run's beginning."""

STALL_SECONDS: Final = 30.0
STALLS_SHOWN: Final = 20


def show(fleet: data.Fleet, engine: Engine, as_of: datetime) -> None:
    """Draw the section."""
    rows = data.readings(fleet, engine.engine_id, (*SHOWN, "stall"), as_of)
    _stalls(fleet, engine, as_of, rows)
    for name, place in parts.side_by_side(SHOWN):
        with place:
            _response(fleet, engine, as_of, indicators()[name], rows)


def _response(fleet: data.Fleet, engine: Engine, as_of: datetime, indicator: Indicator, every: pd.DataFrame) -> None:
    name = indicator.name
    limits = data.limits(fleet, name, engine.engine_id)
    rows = responding.response_rows(every, name)
    counted = f"{wording.count(len(rows), 'reading')}, one a run"
    parts.section(indicator.title, f"{counted}; {parts.limits_text(limits.watch, limits.hold, indicator)}")
    if rows.empty:
        held = data.channels(fleet, engine.engine_id, as_of).held
        parts.nothing(needs.why_empty(name, held, f"No reading in these logs. {indicator.caveat}"))
        return
    states = data.states(fleet, engine.engine_id, name, as_of)
    parts.withheld(rows.sort_values("at_s"))
    parts.summary(f"{baselines.levels_say(states)} {baselines.watched_says(states)}")
    places = drawing.limit_rows(limits, worse=indicator.worse)
    chart = responding.response(rows, [baselines.watched(each) for each in states], indicator.unit, places)
    row = picking.picked_row(rows, parts.draw_to_pick(chart, f"{name}:{engine.engine_id}", responding.PICK))
    ways.from_mark(engine.engine_id, row, RUN_SECONDS, "" if row is None else _run_says(row, indicator))
    parts.fewer_drawn(len(chart.rows["runs"]), len(rows), "reading")


def _run_says(row: Mapping[Hashable, Any], indicator: Indicator) -> str:
    facet = "" if row["facet"] == responding.ALL else f"{row['facet']}: "
    return f"run of {row['when']}, {facet}{wording.number(float(row['value']), indicator)}"


def _stalls(fleet: data.Fleet, engine: Engine, as_of: datetime, every: pd.DataFrame) -> None:
    found = data.stalls(fleet, engine.engine_id, as_of)
    chances = every[every["indicator"] == "stall"]
    parts.section("Stalls", "a stall in or out of gear is a hold until a note answers it or five later runs are clean")
    if chances.empty:
        held = data.channels(fleet, engine.engine_id, as_of).held
        parts.nothing(needs.why_empty("stall", held, "No shift and no idle window in these logs to stall in."))
        return
    parts.summary(baselines.stalls_say(len(found), chances))
    for row in found.head(STALLS_SHOWN).to_dict("records"):
        ways.to_samples(engine.engine_id, str(row["file"]), float(row["at_s"]), STALL_SECONDS, _stall_says(row))


def _stall_says(row: Mapping[Hashable, Any]) -> str:
    gear = f" in {row['gear']}" if row["gear"] else ""
    again = "not started again in this log" if pd.isna(row["restart_s"]) else f"again after {row['restart_s']:.0f} s"
    how = "after a shift" if row["how"] == "shift" else "at idle"
    return f"{row['when']}: stall {how}{gear}, {again}"
