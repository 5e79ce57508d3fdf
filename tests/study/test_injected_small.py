"""Sensor and unit faults put into one engine of a small sound fleet: told as data, and no engine is blamed."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from injected import inject, sound_fleet
from sensor_faults import SENSOR_FAULTS

KINDS = {each.kind: each for each in SENSOR_FAULTS}


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One boat with two engines, twelve days."""
    return sound_fleet(tmp_path_factory.mktemp("sound"), seed=1, boats=1, days=12)


@pytest.mark.parametrize(
    "kind",
    ["target and position swapped", "lambda: frozen", "oil_temp: °F", "rpm: half", "battery: mV"],
)
def test_a_fault_is_told_as_data_by_its_name_and_no_engine_is_blamed(fleet: Path, kind: str, tmp_path: Path) -> None:
    fault = KINDS[kind]
    found = inject(fleet, fault, fault.strengths[0], fault.days, tmp_path)

    assert (found.told, found.named) == (True, True)
    assert (found.false, found.lost, found.touched) == ((), (), ())
