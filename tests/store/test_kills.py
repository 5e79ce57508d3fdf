"""A few of the random kills of `kills.py`, which has the long run."""

from __future__ import annotations

import runpy
from pathlib import Path


def test_a_fleet_whose_ingests_are_killed_at_random_moments_becomes_what_it_would_have_been(tmp_path: Path) -> None:
    kills = runpy.run_path(str(Path(__file__).with_name("kills.py")))
    tally = kills["Trial"](tmp_path, boats=2, days=3, seed=5).run(4)
    assert tally.differences == []
    assert sum(tally.phases.values()) == 4
