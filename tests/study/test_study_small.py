"""A small season walked morning by morning: what was planted is found and named, and sound engines are left alone."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from drawn_fleets import Fleet
from scores import Case, Scores, score
from table import lines
from walked import Walk, walk


@pytest.fixture(scope="module")
def walked(tmp_path_factory: pytest.TempPathFactory) -> Walk:
    """Four boats with the first four stories, 36 days, every fourth morning."""
    return walk(Fleet(seed=1, boats=4, days=36), tmp_path_factory.mktemp("study"), every=4)


@pytest.fixture(scope="module")
def scores(walked: Walk) -> Scores:
    """The season's scores."""
    return score([walked])


def _of(scores: Scores, cause: str) -> list[Case]:
    return [case for case in scores.cases if case.fault.cause == cause and case.can_be_found]


@pytest.mark.parametrize("cause", ["end_stop_wear", "throttle_body"])
def test_wear_is_found_and_in_the_end_called_by_its_name(scores: Scores, cause: str) -> None:
    cases = _of(scores, cause)
    assert cases
    assert all(case.fitting and case.is_named(case.fitting[-1]) for case in cases)


def test_wear_is_watched_before_it_holds(scores: Scores) -> None:
    leads = [case.lead_days for case in _of(scores, "end_stop_wear") if case.fault.hold_on]
    assert leads
    assert all(lead is not None and lead >= 0 for lead in leads)


def test_no_sound_engine_is_held_and_hardly_one_is_watched(scores: Scores) -> None:
    assert scores.healthy_days >= 20
    assert [told for told in scores.false if told.status == "hold"] == []
    assert len(scores.false) <= scores.healthy_days / 20


def test_a_cause_is_told_once_of_an_engine(scores: Scores) -> None:
    assert scores.doubled == 0


def test_the_table_tells_of_every_cause_that_was_planted(walked: Walk, scores: Scores) -> None:
    table = "\n".join(lines([walked], scores))
    assert all(case.fault.cause in table for case in scores.cases)
