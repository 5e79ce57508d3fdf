"""Puts this folder on the import path, so that its tests share the maker of sheets; and the sheets they share."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parent))

from sheet_maker import NASTY, boat, found, sheet, usual

from pipeline.report.sheet import Sheet


@pytest.fixture(scope="session")
def nasty() -> Sheet:
    """Every text a person can put in, as fleet, boat, engine, reason and what to do."""
    boats = [boat(place, name, findings=(found("hold", name, name, name),)) for place, name in enumerate(NASTY, 1)]
    return sheet(tuple(boats), fleet=" ".join(NASTY))


@pytest.fixture(scope="session")
def large() -> Sheet:
    """200 boats: some with findings, one with more than a page of them, most ready."""
    long = [boat(1, "Longest", findings=tuple(found(reason=f"Reason {n}. " * 12) for n in range(40)))]
    held = [boat(place, f"Held {place}", findings=(found(), found("watch"))) for place in range(2, 21)]
    ready = [boat(place, f"Ready {place}", "ready") for place in range(21, 201)]
    return sheet((*long, *held, *ready))


@pytest.fixture(scope="session")
def usual_morning() -> Sheet:
    """Twelve boats, as on a usual morning."""
    return usual()
