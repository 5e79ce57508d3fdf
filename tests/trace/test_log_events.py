"""What happened in a log, in words: each kind of event with its number, what is not known, and the stretch about it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from pipeline.database import Database, open_writable
from pipeline.log_events import LANES, counted, log_events
from pipeline.trace import LogPlace

AUCKLAND = ZoneInfo("Pacific/Auckland")
AT = datetime(2026, 6, 13, 19, tzinfo=UTC)  # 07:00 on the 14th in Auckland
PLACE = LogPlace("log", "f", "s", AT.timestamp(), AT.timestamp() + 600, 12_000, ("rpm",))

TABLES = """
create schema events;
create table events.runs (
    engine_id varchar, log_id varchar, started_at timestamptz, seconds double, is_cold_start boolean
);
create table events.shifts (
    engine_id varchar, log_id varchar, started_at timestamptz, held_s double, from_gear varchar, to_gear varchar,
    reach_error_pct double, why_null varchar
);
create table events.idle_windows (
    engine_id varchar, log_id varchar, started_at timestamptz, duration_s double, gear varchar, integral_pct double
);
create table events.pick_ups (
    engine_id varchar, log_id varchar, started_at timestamptz, duration_s double, lean_lambda double
);
create table events.stalls (
    engine_id varchar, log_id varchar, started_at timestamptz, gear varchar, how varchar, restart_s double
);
create table events.signals (
    engine_id varchar, log_id varchar, started_at timestamptz, channel varchar, fault varchar, detail varchar
);
insert into events.runs values ('a/b', 'log', $at$, 300, true);
insert into events.shifts values ('a/b', 'log', $at$ + interval 60 second, 5, 'neutral', 'forward', -2.8, null);
insert into events.shifts values ('a/b', 'log', $at$ + interval 70 second, 0.4, null, null, null, 'too short');
insert into events.idle_windows values ('a/b', 'log', $at$ + interval 20 second, 25, 'neutral', -3.61);
insert into events.pick_ups values ('a/b', 'log', $at$ + interval 90 second, 2, 0.0354);
insert into events.stalls values ('a/b', 'log', $at$ + interval 120 second, 'forward', 'shift', 7.05);
insert into events.stalls values ('a/b', 'log', $at$ + interval 200 second, null, 'idle', null);
insert into events.signals values ('a/b', 'log', $at$, 'battery', 'flat', null);
insert into events.stalls values ('a/b', 'another log', $at$, 'forward', 'shift', 7.05);
insert into events.stalls values ('a/c', 'log', $at$, 'forward', 'shift', 7.05)
"""


@pytest.fixture
def db(tmp_path: Path) -> Iterator[Database]:
    found = open_writable(tmp_path / "made.duckdb")
    for statement in TABLES.replace("$at$", f"timestamptz '{AT.isoformat()}'").split(";"):
        found.execute(statement)
    yield found
    found.close()


@pytest.fixture
def events(db: Database) -> pd.DataFrame:
    return log_events(db, "a/b", PLACE, AUCKLAND)


def test_every_event_of_the_log_and_engine_is_told_in_time_order(events: pd.DataFrame) -> None:
    assert sorted(events["says"].tolist()) == [
        "07:00:00 a signal that cannot be believed: battery: flat",
        "07:00:00 run of 5 min begins, cold start",
        "07:00:20 idle in neutral, 25 s, integral −3.6 %",
        "07:01:00 neutral to forward: reach error −2.80 %",
        "07:01:10 unknown to unknown: no reading, too short",
        "07:01:30 lift off idle in neutral, 2 s, lean swing 0.035 lambda",
        "07:02:00 stall after a shift in forward, started again after 7 s",
        "07:03:20 stall at idle, not started again in this log",
    ]
    assert events["at_s"].is_monotonic_increasing


def test_each_event_but_a_run_has_a_lane_with_a_name(events: pd.DataFrame) -> None:
    lanes = dict(zip(events["kind"], events["lane"], strict=True))
    assert lanes["run"] == ""
    assert {lane for lane in events["lane"] if lane} <= set(LANES)


def test_a_link_shows_the_event_with_room_about_it(events: pd.DataFrame) -> None:
    for row in events.to_dict("records"):
        assert row["from_s"] <= row["at_s"]
        assert row["from_s"] + row["seconds"] >= row["to_s"]


def test_a_log_without_events_has_none(db: Database) -> None:
    empty = LogPlace("no such log", "f", "s", 0.0, 1.0, 2, ())
    assert log_events(db, "a/b", empty, AUCKLAND).empty


@pytest.mark.parametrize(
    ("n", "lane", "says"),
    [
        (1, "into forward", "1 shift into forward"),
        (5, "into neutral", "5 shifts into neutral"),
        (5, "idle", "5 idle windows"),
        (2, "lift off idle", "2 lifts off idle"),
        (1, "stall", "1 stall"),
    ],
)
def test_events_of_a_lane_are_counted_in_words(n: int, lane: str, says: str) -> None:
    assert counted(n, lane) == says
