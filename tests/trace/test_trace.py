"""A stretch of a log, thinned in SQL, against plain numpy; and how a stretch moves, widens and stays inside its log."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from pipeline import trace as traces
from pipeline.database import scratch
from pipeline.trace import LogPlace, Stretch

if TYPE_CHECKING:
    from conftest import Samples

HELD = ("rpm", "shift_target", "shift_position", "battery")
STARTED_S = 1_780_000_000.0
AUCKLAND = ZoneInfo("Pacific/Auckland")
MOST_POINTS = 2_000
"""More points a line are no longer seen and slow a browser down."""


def _whole(samples: Samples) -> Stretch:
    return Stretch(samples.place, samples.place.from_s, samples.place.to_s)


def _extremes(samples: Samples, stretch: Stretch, name: str, buckets: int) -> set[tuple[float, float]]:
    """The oracle: lowest and highest sample of each bucket, one bucket after the other."""
    inside = (samples.time_s >= stretch.from_s) & (samples.time_s <= stretch.to_s) & ~np.isnan(samples.channels[name])
    time_s, value = samples.time_s[inside], samples.channels[name][inside]
    place = np.minimum(np.floor((time_s - stretch.from_s) / stretch.seconds * buckets), buckets - 1)
    found = set()
    for bucket in np.unique(place):
        here = place == bucket
        for pick in (np.argmin, np.argmax):
            at = int(pick(value[here]))
            found.add((float(time_s[here][at]), float(value[here][at])))
    return found


@pytest.mark.parametrize(("first", "last"), [(0.0, 1.0), (0.31, 0.36), (0.5, 0.5004)])
def test_each_line_keeps_the_lowest_and_highest_sample_of_every_bucket(
    samples: Samples, first: float, last: float
) -> None:
    place = samples.place
    stretch = Stretch(place, place.from_s + first * place.seconds, place.from_s + last * place.seconds)
    found = traces.trace(scratch(), samples.path, stretch, HELD, AUCKLAND, buckets=150)
    for name in HELD:
        line = found[found["channel"] == name]
        assert set(zip(line["at_s"], line["value"], strict=True)) == _extremes(samples, stretch, name, 150)
        assert line["at_s"].is_monotonic_increasing


def test_no_line_has_more_points_than_can_be_drawn_and_no_spike_is_lost(samples: Samples) -> None:
    found = traces.trace(scratch(), samples.path, _whole(samples), HELD, AUCKLAND)
    assert found.groupby("channel").size().max() <= MOST_POINTS
    for name in HELD:
        line = found[found["channel"] == name]["value"]
        assert (line.min(), line.max()) == (np.nanmin(samples.channels[name]), np.nanmax(samples.channels[name]))


def test_a_narrower_stretch_shows_finer_samples(samples: Samples) -> None:
    stretch = _whole(samples).scaled(0.001)
    found = traces.trace(scratch(), samples.path, stretch, ("rpm",), AUCKLAND)
    inside = (samples.time_s >= stretch.from_s) & (samples.time_s <= stretch.to_s)
    # fewer samples than buckets: each is drawn
    assert found["at_s"].tolist() == samples.time_s[inside].tolist()


def test_only_channels_that_are_asked_for_and_held_are_read(samples: Samples) -> None:
    found = traces.trace(scratch(), samples.path, _whole(samples), ("rpm", "oil_temp"), AUCKLAND)
    assert set(found["channel"]) == {"rpm"}
    assert traces.trace(scratch(), samples.path, _whole(samples), ("oil_temp",), AUCKLAND).empty


def test_a_stretch_without_a_sample_is_empty(samples: Samples) -> None:
    late = Stretch(samples.place, samples.place.to_s + 10, samples.place.to_s + 20)
    assert traces.trace(scratch(), samples.path, late, HELD, AUCKLAND).empty


def test_the_clock_of_a_log_runs_on_where_the_zone_goes_back_an_hour() -> None:
    # New Zealand's daylight saving time ended on 5 April 2026 at 03:00 NZDT (UTC+13): 14:00 UTC on the 4th
    place = LogPlace("a", "f", "s", 1775310000.0, 1775313600.0, 10, ("rpm",))  # 13:40 to 14:40 UTC
    first, last = (traces.clock_ms(place, at_s, AUCKLAND) for at_s in (place.from_s, place.to_s))
    assert last - first == 3_600_000
    assert traces.at_clock(place, last, AUCKLAND) == place.to_s


PLACE = LogPlace("a", "f", "s", STARTED_S, STARTED_S + 100.0, 1001, ("rpm",))


def _ends(stretch: Stretch) -> tuple[float, float]:
    return stretch.from_s - STARTED_S, stretch.to_s - STARTED_S


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ((STARTED_S + 20, 10), (20, 30)),
        ((STARTED_S - 5, 10), (0, 10)),  # moved inside, not cut
        ((STARTED_S + 95, 10), (90, 100)),
        ((STARTED_S + 50, 500), (0, 100)),
        ((STARTED_S + 500, 10), (0, 100)),  # of another log: the whole of this one
        ((STARTED_S + 20, -1), (0, 100)),
        (("nan", 10), (0, 100)),
        (("", ""), (0, 100)),
        (("soon", "long"), (0, 100)),
    ],
)
def test_a_stretch_of_the_address_is_held_inside_the_log(
    asked: tuple[object, object], expected: tuple[float, float]
) -> None:
    assert _ends(traces.stretch_of(PLACE, str(asked[0]), str(asked[1]))) == pytest.approx(expected)


def test_a_stretch_moves_widens_and_narrows_about_its_middle() -> None:
    stretch = Stretch(PLACE, STARTED_S + 40, STARTED_S + 60)
    assert _ends(stretch.moved(0.5)) == (50, 70)
    assert _ends(stretch.moved(-0.5)) == (30, 50)
    assert _ends(stretch.scaled(2.0)) == (30, 70)
    assert _ends(stretch.scaled(0.5)) == (45, 55)
    assert _ends(stretch.moved(9)) == (80, 100)
    assert stretch.scaled(9) == stretch.whole()
    assert stretch.scaled(1e-9).seconds == pytest.approx(traces.SHORTEST_S)


def test_the_rate_of_a_log_is_told_from_its_samples() -> None:
    assert PLACE.hertz == pytest.approx(10.0)
    assert LogPlace("a", "f", "s", 1.0, 1.0, 1, ()).hertz is None
