"""The words of a morning: what changed and what is not known, said once for all engines of which it is true."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from sheet_maker import found

from pipeline import telling
from pipeline.changes import Change
from pipeline.findings import Evidence, Finding
from pipeline.telling import Told

NOW = datetime(2026, 6, 15, 5, tzinfo=UTC)


def test_a_log_that_came_in_is_told_as_being_known_now() -> None:
    came = [Change("curlew", engine, "evidence", "gone", "unchecked", None) for engine in ("port", "starboard")]
    assert telling.turns(came) == ("port and starboard: known now (was unchecked)",)


def test_a_log_that_grew_too_old_is_told_as_not_being_known_now() -> None:
    assert telling.turns([Change("curlew", "main", "evidence", "new", None, "unchecked")]) == (
        "main: not known now (unchecked)",
    )


def test_what_is_wrong_is_told_with_how_it_turned() -> None:
    changed = [
        Change("curlew", "port", "weak_battery", "new", None, "watch"),
        Change("curlew", "port", "stall", "gone", "hold", None),
        Change("curlew", "starboard", "weak_battery", "worse", "watch", "hold"),
    ]
    assert telling.turns(changed) == (
        "port: Weak battery or charging (new, watch)",
        "port: stall (gone, was hold)",
        "starboard: Weak battery or charging (worse, watch to hold)",
    )


def test_what_is_not_known_of_several_engines_is_said_once() -> None:
    gaps = [Told("unchecked", place, "", "", "", ("Too old.",), "Bring it.") for place in ("a", "b", "c")]
    said = telling.gathered([found("hold"), *gaps, replace(gaps[0], body=("No shift.",))])
    assert [each.place for each in said] == ["port", "a, b and c", "a"]


def test_two_engines_with_the_same_fault_stay_two_findings() -> None:
    assert len(telling.gathered([found(engine="port"), found(engine="starboard")])) == 2


@pytest.mark.parametrize(("hours", "is_said"), [(3, False), (23, False), (25, True)])
def test_a_reading_says_its_age_beside_the_last_log_where_it_is_a_day_older(hours: int, *, is_said: bool) -> None:
    reading = Finding(
        "curlew", "port", "battery_idle", None, "watch", 13.1, "V", "Low.", "Test it.", Evidence(3, 2, ()), 1.0
    )
    last_log = NOW - timedelta(hours=10)
    told = telling.told(replace(reading, latest_at=last_log - timedelta(hours=hours)), NOW, "Curlew", last_log)
    assert ("Newest reading" in told.reason) is is_said
