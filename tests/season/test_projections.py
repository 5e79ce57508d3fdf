"""Where a growing level leads: its line, its limits on the right side, and hours that agree with what is ahead."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import theilslopes
from season_maker import HOURS_A_RUN, judged, made_series, noisy, told

from pipeline import wording
from pipeline.catalogue import Limits, indicators
from pipeline.projections import Reach, projection
from pipeline.states import signed_badness
from pipeline.verdicts import _ahead

REACH_ERROR = indicators()["shift_reach_error"]


def test_the_line_is_the_theil_sen_line_of_the_readings_since_growth_began() -> None:
    found = projection(told("shift_reach_error", "forward", 0.2, 1.5, "growing"))

    assert found is not None
    line = theilslopes(found.readings, found.hours, method="joint")
    assert found.band.middle == pytest.approx(line.intercept + line.slope * found.along)
    assert (found.hours[-1], found.along[0]) == (found.now_hours, found.hours[0])
    assert found.along[-1] > found.now_hours


def test_the_hold_limit_is_as_far_away_as_the_finding_says() -> None:
    state = told("shift_reach_error", "forward", 0.2, 1.5, "growing")
    found, ahead = projection(state), _ahead(state)

    assert found is not None
    assert ahead is not None
    watch, hold = found.reaches
    assert (watch.word, watch.limit, watch.outlook, watch.hours) == ("watch", 1.0, "reached", 0.0)
    assert (hold.limit, hold.outlook) == (2.0, "crosses")
    assert hold.hours == pytest.approx((ahead.at or 0.0) - found.now_hours)
    # the truth, 0.2 + 1.3 (run - 15) / 22, meets 2.0 at run 45.5: six and a half runs after the newest
    assert hold.hours == pytest.approx(6.5 * HOURS_A_RUN, abs=8)


def test_growth_below_zero_is_drawn_below_zero_and_meets_the_lower_limit() -> None:
    found = projection(told("shift_reach_error", "forward", -0.2, -1.5, "growing"))

    assert found is not None
    assert found.readings[-1] < -1
    assert [each.limit for each in found.reaches] == [-1.0, -2.0]


def test_where_less_is_worse_the_limits_stand_below() -> None:
    path = 13.8 - 0.9 * np.clip((np.arange(40) - 15) / 22, 0, 1) + noisy(40, 0.08)
    state = judged(made_series(path, "battery_idle", ""), limits=Limits(watch=12.6, hold=12.0))
    found = projection(state)

    assert found is not None
    assert [each.limit for each in found.reaches] == [12.6, 12.0]
    # badness turned back is the reading itself
    assert found.readings == pytest.approx(-signed_badness(state)[0][-len(found.readings) :])


def test_a_limit_of_a_wanted_band_stands_beyond_its_end() -> None:
    # neutral wants -3 to 0: watch 5 and hold 10 beyond that
    rising = projection(told("idle_integral", "neutral", -1.5, 4.0, "growing"))
    falling = projection(told("idle_integral", "neutral", -1.5, -7.0, "growing"))

    assert rising is not None
    assert falling is not None
    assert [each.limit for each in rising.reaches] == [5.0, 10.0]
    assert [each.limit for each in falling.reaches] == [-8.0, -13.0]


@pytest.mark.parametrize("shape", ["constant", "step"])
def test_what_does_not_grow_leads_nowhere(shape: str) -> None:
    assert projection(told("shift_reach_error", "forward", 0.2, 1.5, shape)) is None


def test_what_is_judged_by_its_baseline_alone_has_a_line_and_no_limit() -> None:
    found = projection(told("shift_transit_time", "forward", 0.4, 0.7, "growing"))

    assert found is not None
    assert found.reaches == ()
    assert np.isfinite(found.band.middle).all()


@pytest.mark.parametrize(
    ("reach", "expected"),
    [
        (Reach("hold", 2.0, "crosses", 26.0, 10.0, 60.0), "hold at +2.00 %: 26 h away (10 to 60)"),
        (Reach("hold", 2.0, "crosses", 26.0, 10.0, None), "hold at +2.00 %: 26 h away (10 or more)"),
        (Reach("watch", -1.0, "reached", 0.0, 0.0, 0.0), "watch at −1.00 %: reached"),
        (Reach("watch", -1.0, "moving away", None, None, None), "watch at −1.00 %: moving away"),
        (Reach("hold", 2.0, "open", None, 12.0, None), "hold at +2.00 %: no time can be told, not within 12 h"),
    ],
)
def test_an_open_end_is_said(reach: Reach, expected: str) -> None:
    assert wording.reach_says(reach, REACH_ERROR) == expected
