"""What is computed again after new runs is what a computation of everything gives, in whatever order runs arrive."""

from __future__ import annotations

import itertools
import random
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from pipeline import readings
from pipeline.database import Database, open_writable, rows

if TYPE_CHECKING:
    from collections.abc import Callable

Row = dict[str, Any]
Season = dict[str, dict[str, list[Row]]]
"""Event rows by run and table."""

FIRST = datetime(2026, 6, 1, 7, tzinfo=UTC)
ENGINES = ("petrel/port", "petrel/starboard")
RUNS = 13
GEARS = ("reverse", "neutral", "forward")


def _season(seed: int) -> Season:
    """A season of two engines: random events, enough for the indicators that look back ten runs."""
    draw = random.Random(seed)  # noqa: S311 - invented data, repeatable
    season: Season = {}
    for engine in ENGINES:
        for number in range(RUNS):
            run_id, started_at = f"{engine}@{number}", FIRST + timedelta(days=number, hours=draw.random())
            of_run = {"engine_id": engine, "run_id": run_id, "started_at": started_at}
            season[run_id] = {
                "runs": [{**of_run, "max_temp_c": draw.uniform(40, 90)}],
                "shifts": [
                    {
                        **of_run,
                        "from_gear": "neutral",
                        "to_gear": draw.choice(GEARS),
                        "reach_error_pct": draw.gauss(0, 1),
                    }
                    for _ in range(draw.randrange(1, 6))
                ],
                "idle_windows": [
                    {
                        **of_run,
                        "gear": draw.choice(GEARS[1:]),
                        "duration_s": draw.uniform(5, 40),
                        "integral_pct": draw.gauss(0, 0.4),
                        "is_unsettled": draw.random() < 0.2,
                        "temp_c": (temp_c := draw.uniform(15, 90)),
                        "state_temp_c": temp_c,
                        "thermal": draw.choice(("cold", "warming", "hot")),
                        "fuel_trim_pct": draw.gauss(0, 3),
                    }
                    for _ in range(draw.randrange(1, 6))
                ],
                "stalls": [{**of_run, "gear": "neutral", "how": "idle"} for _ in range(draw.random() < 0.2)],
            }
    return season


def _insert(db: Database, season: Season, run_ids: list[str], add_rows: Callable[..., None]) -> None:
    for run_id in run_ids:
        for table, listed in season[run_id].items():
            add_rows(db, table, listed)


def _touched(season: Season, run_ids: list[str]) -> dict[str, datetime]:
    touched: dict[str, datetime] = {}
    for run_id in run_ids:
        (run,) = season[run_id]["runs"]
        engine = run["engine_id"]
        touched[engine] = min(run["started_at"], touched.get(engine, run["started_at"]))
    return touched


def _readings(db: Database) -> list[tuple[object, ...]]:
    found = rows(db, "select * from marts.readings order by engine_id, run_id, indicator, facet")
    # sums of the same numbers in another order differ in their last digits
    return [tuple(round(value, 9) if isinstance(value, float) else value for value in row.values()) for row in found]


@pytest.fixture(scope="module")
def new_database(tmp_path_factory: pytest.TempPathFactory) -> Callable[[], Database]:
    """A function that opens a new working database."""

    def opened() -> Database:
        return open_writable(tmp_path_factory.mktemp("refresh") / "working.duckdb")

    return opened


@settings(
    max_examples=6,
    deadline=None,
    derandomize=True,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)
@given(seed=st.integers(0, 10**6), cuts=st.lists(st.integers(1, 2 * RUNS - 1), min_size=1, max_size=3, unique=True))
def test_runs_that_arrive_in_any_order_give_the_readings_of_a_rebuild(
    seed: int,
    cuts: list[int],
    new_database: Callable[[], Database],
    add_rows: Callable[..., None],
    make_events: Callable[[Database], None],
) -> None:
    season = _season(seed)
    order = list(season)
    random.Random(seed).shuffle(order)  # noqa: S311 - as above
    bounds = [0, *sorted(cuts), len(order)]
    with new_database() as db:
        make_events(db)
        for first, last in itertools.pairwise(bounds):
            _insert(db, season, order[first:last], add_rows)
            readings.refresh(db, _touched(season, order[first:last]))
        bit_by_bit = _readings(db)
        readings.rebuild(db)
        assert bit_by_bit == _readings(db)
        assert {"shift_scatter", "idle_integral_slope"} <= {row[2] for row in bit_by_bit}


def test_a_run_that_is_replaced_leaves_nothing_of_its_old_readings(
    new_database: Callable[[], Database], add_rows: Callable[..., None], make_events: Callable[[Database], None]
) -> None:
    season, other = _season(1), _season(2)
    replaced = f"{ENGINES[0]}@5"
    with new_database() as db:
        make_events(db)
        _insert(db, season, list(season), add_rows)
        readings.rebuild(db)
        for table in ("runs", "shifts", "idle_windows", "stalls"):
            db.execute(f"delete from events.{table} where run_id = ?", [replaced])
        _insert(db, {replaced: other[replaced]}, [replaced], add_rows)
        both = [season[replaced]["runs"][0]["started_at"], other[replaced]["runs"][0]["started_at"]]
        readings.refresh(db, {ENGINES[0]: min(both)})
        bit_by_bit = _readings(db)
        readings.rebuild(db)
        assert bit_by_bit == _readings(db)


def test_engines_that_were_not_touched_keep_their_readings(
    new_database: Callable[[], Database], add_rows: Callable[..., None], make_events: Callable[[Database], None]
) -> None:
    season = _season(3)
    with new_database() as db:
        make_events(db)
        _insert(db, season, list(season), add_rows)
        readings.rebuild(db)
        before = [row for row in _readings(db) if row[0] == ENGINES[1]]
        # a mark that only a recomputation of the other engine would wipe
        db.execute("update marts.readings set remark = 'kept' where engine_id = ?", [ENGINES[1]])
        readings.refresh(db, {ENGINES[0]: FIRST})
        marked = rows(db, "select distinct remark from marts.readings where engine_id = ?", [ENGINES[1]])
        assert marked == [{"remark": "kept"}]
        assert len(before) == sum(row[0] == ENGINES[1] for row in _readings(db))


def test_nothing_touched_is_nothing_written(
    new_database: Callable[[], Database], make_events: Callable[[Database], None]
) -> None:
    with new_database() as db:
        make_events(db)
        assert readings.refresh(db, {}) == 0
        assert readings.rebuild(db) == 0
        assert _readings(db) == []
