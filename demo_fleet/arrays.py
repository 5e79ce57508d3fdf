"""Array types used all over the simulation."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]
Ints = NDArray[np.integer[Any]]
Bools = NDArray[np.bool_]

REVERSE, NEUTRAL, FORWARD = -1, 0, 1
GEAR_NAMES = {REVERSE: "reverse", NEUTRAL: "neutral", FORWARD: "forward"}
