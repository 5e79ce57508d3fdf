"""A sample of the whole logs that `drawn.py` draws: each is read as it was written, or refused for a known reason."""

from __future__ import annotations

import sys
from pathlib import Path

from hypothesis import HealthCheck, given, settings

sys.path.append(str(Path(__file__).parent))

from drawn import Drawn, broken_promises, logs


@given(log=logs())
@settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_a_drawn_log_is_read_as_it_was_written(tmp_path: Path, log: Drawn) -> None:
    _, told = broken_promises(log, tmp_path)
    assert told == [], f"{log.name} {log.told}"


def test_what_is_held_against_a_drawn_log_is_noticed(tmp_path: Path) -> None:
    written = b"time,rpm\n1780272000,600\n1780272001,610\n1780272002,620\n"
    log = Drawn("run.csv", written, (1780272000.0, 1780272001.0, 1780272002.0), {"rpm": (600.0, 610.0, 621.0)}, "")
    assert broken_promises(log, tmp_path) == ("taken", ["rpm: other values"])
