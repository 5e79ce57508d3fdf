"""Each indicator against its cases: rows of events given, readings expected, and nothing beside them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from pipeline import readings
from pipeline.catalogue import indicators

if TYPE_CHECKING:
    from conftest import Case

Row = dict[str, Any]


def _expected(case: Case) -> dict[tuple[str, str, str], Row]:
    keyed = {}
    for row in case.expected:
        engine, run = case.key(row.get("engine_id", "port")), case.key(row["run_id"])
        keyed[engine, run, row["facet"]] = {
            name: value for name, value in row.items() if name not in {"engine_id", "run_id", "facet", "nothing"}
        } | dict.fromkeys(row.get("nothing", []))
    return keyed


def _near(value: object) -> object:
    return pytest.approx(value, rel=1e-6, abs=1e-9) if isinstance(value, int | float) else value


def test_readings_are_those_of_the_case_and_no_others(
    case: Case, case_readings: dict[tuple[str, str], list[Row]]
) -> None:
    expected = _expected(case)
    engines = {row["engine_id"] for row in case.tables()["runs"]}
    found = {
        (row["engine_id"], row["run_id"], row["facet"]): row
        for engine in engines
        for row in case_readings.get((engine, case.indicator), [])
    }
    assert found.keys() == expected.keys()
    for key, wanted in expected.items():
        assert {name: found[key][name] for name in wanted} == {name: _near(value) for name, value in wanted.items()}


def test_a_reading_stands_at_its_runs_start(case: Case, case_readings: dict[tuple[str, str], list[Row]]) -> None:
    started = {row["run_id"]: row["started_at"] for row in case.tables()["runs"]}
    engines = {row["engine_id"] for row in case.tables()["runs"]}
    found = [row for engine in engines for row in case_readings.get((engine, case.indicator), [])]
    assert all(row["started_at"] == started[row["run_id"]] for row in found)


def test_only_declared_covariates_are_given(case_readings: dict[tuple[str, str], list[Row]]) -> None:
    for (_, name), found in case_readings.items():
        spare = {"temp_c", "battery_v"} - set(indicators()[name].covariates)
        assert all(row[column] is None for row in found for column in spare)


def test_facets_are_those_that_the_header_promises(case_readings: dict[tuple[str, str], list[Row]]) -> None:
    gears = {"reverse", "neutral", "forward"}
    may_be = {
        "none": {""},
        "cold or hot": {"cold", "hot"},
        "gear": gears | {"unknown"},
        "gear reached": gears,
        "gear engaged": gears - {"neutral"},
        "gear left": gears - {"neutral"},
    }
    for (_, name), found in case_readings.items():
        if indicators()[name].facet in may_be:
            assert {row["facet"] for row in found} <= may_be[indicators()[name].facet]


def test_every_column_of_a_reading_is_documented() -> None:
    assert set(readings.COLUMNS) >= {"engine_id", "run_id", "indicator", "facet", "started_at", "value", "n"}
