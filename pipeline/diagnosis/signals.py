"""Channels that cannot be believed: findings about the data, from which nothing follows for the engine."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from pipeline.diagnosis.patient import Diagnosis, Engine, conclude

_CAUSES: Final = (
    ("wrong unit", "wrong_unit"),
    ("swapped", "swapped_channels"),
    ("other engine", "swapped_engines"),
)
"""How the remark of a signal fault begins, and the cause that it is; every other one is a sensor's."""


def disbelieved(engine: Engine) -> Iterator[Diagnosis]:
    """A channel that cannot be believed is said as such; what rested on it has been withheld before."""
    for found in [each for each in engine.occurrences if each.indicator.name == "signal"]:
        remark = found.remark or ""
        cause = next((cause for begins, cause in _CAUSES if remark.startswith(begins)), "sensor_fault")
        yield conclude(cause, engine, (), 0.95, (remark,), occurrences=(found,), status="watch")
