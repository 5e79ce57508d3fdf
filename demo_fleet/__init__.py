"""The simulated fleet: a whole season of an invented day-boat operator, with planted faults and the truth beside it.

`build` is the whole of it: scenario (stories, weather, trips) to lanes, lanes to physics (warm-up, actuator, engine),
physics to sensors, sensors to log files.
"""

from demo_fleet.build import build

__all__ = ["build"]
