"""Relations shared by building a table and running an engine: oil drag against temperature, idle targets.

Orders of magnitude are common practice (no published source); the shape of drag against temperature follows the
exponential fall of oil viscosity (Andrade's relation).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from demo_fleet.arrays import Floats

RAD_S_PER_RPM: Final = 2 * np.pi / 60
IDLE_RAD_S: Final = 600 * RAD_S_PER_RPM
CONSTANT_DRAG: Final = 0.85
"""Share of the drag torque that does not rise with speed."""


def drag_factor(oil_c: Floats) -> Floats:
    """Drag torque relative to hot oil (limit 1): cold oil is stiff. `oil_c` in °C."""
    return np.asarray(1.0 + 0.95 * np.exp(-oil_c / 28.0))


def idle_target_rpm(oil_c: Floats) -> Floats:
    """The idle controller's target: 620 rpm cold, falling to 600 rpm between 20 and 60 °C oil."""
    return np.asarray(620.0 - 20.0 * np.clip((oil_c - 20.0) / 40.0, 0.0, 1.0))


def needed_air_pct(oil_c: Floats, friction_nm: float, power_w_per_pct: float) -> Floats:
    """Idle air in % that balances the drag in neutral at the idle target."""
    speed = idle_target_rpm(oil_c) * RAD_S_PER_RPM
    drag = friction_nm * drag_factor(oil_c) * (CONSTANT_DRAG + (1 - CONSTANT_DRAG) * speed / IDLE_RAD_S)
    return np.asarray(drag * speed / power_w_per_pct)
