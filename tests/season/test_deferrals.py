"""A deferral covers what somebody knew of: not what came up later, and not what got worse since."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from season_maker import FIRST_RUN, judged, made_series, noisy

from pipeline import wording
from pipeline.catalogue import indicators
from pipeline.deferrals import Deferral, covering, deferrals
from pipeline.findings import Evidence, Finding
from pipeline.history import History
from pipeline.logbook import Kind, Note
from pipeline.season.fleet import season

NOW = FIRST_RUN + timedelta(days=40)
WRITTEN = FIRST_RUN + timedelta(days=30, hours=12)


def note(at: datetime = WRITTEN, days: float = 20, author: str | None = "K.") -> Note:
    return Note(1, "petrel", "port", Kind.DEFER, "part ordered", author, at, at + timedelta(days=days), at)


def finding(**given: Any) -> Finding:
    usual = {"boat": "petrel", "engine": "port", "indicator": "shift_reach_error", "facet": "forward"}
    told = {"status": "watch", "value": 1.2, "unit": "%", "says": "", "do": "", "urgency": 1.0, "latest_at": NOW}
    return Finding(**{**usual, **told, "evidence": Evidence(1, 1, ()), **given})


KNEW = Deferral(note(), {"shift_reach_error": "watch"})


@pytest.mark.parametrize(
    ("given", "is_covered"),
    [
        ({}, True),
        ({"status": "hold"}, False),  # it got worse
        ({"indicator": "idle_integral"}, False),  # it came up later
        ({"indicator": "idle_integral", "latest_at": WRITTEN - timedelta(hours=1)}, True),  # nothing newer speaks of it
        ({"indicator": "evidence", "status": "unchecked", "latest_at": None}, True),
    ],
)
def test_a_deferral_covers_what_was_known_then(given: dict[str, Any], is_covered: bool) -> None:  # noqa: FBT001
    assert (covering(finding(**given), [KNEW], NOW) == KNEW.note) is is_covered


def test_a_deferral_that_has_ended_covers_nothing() -> None:
    assert covering(finding(), [KNEW], NOW + timedelta(days=11)) is None


def test_of_two_deferrals_the_longer_one_is_told() -> None:
    longer = Deferral(note(days=30), KNEW.stood)

    assert covering(finding(), [KNEW, longer], NOW) == longer.note


def test_what_stood_out_is_judged_with_the_readings_of_that_time() -> None:
    values = np.r_[np.zeros(25), np.full(15, 1.3)] + noisy(40, 0.08)
    series = made_series(values)
    history = History(NOW, {"petrel/port": (series,)}, {}, {})
    moved = season(history, {})
    early, late = note(FIRST_RUN + timedelta(days=20, hours=12), 90), note()
    found = deferrals(history, moved, _Limits(), "petrel/port", [early, late])

    assert judged(series).status == "watch"
    assert [each.stood for each in found] == [{}, {"shift_reach_error": "watch"}]


class _Limits:
    """A register in which no limit is set, so that the indicators' own are in force."""

    def limit(self, _indicator: str, _engine_id: str) -> Any:
        return indicators()["evidence"].limits


def test_a_deferral_says_until_when_by_whom_and_why() -> None:
    zone = ZoneInfo("Pacific/Auckland")
    until = datetime(2026, 6, 20, 11, 59, tzinfo=UTC)  # 23:59 in Auckland

    whole = finding(deferred_until=until, deferred_by="K.", deferred_for="part ordered")
    assert wording.deferral_says(whole, zone) == "Deferred until Sat 20 Jun 23:59 by K.: part ordered."
    bare = finding(deferred_until=until, deferred_for="Why not?")
    assert wording.deferral_says(bare, zone) == "Deferred until Sat 20 Jun 23:59: Why not?"
    assert wording.deferral_says(finding(), zone) == ""
