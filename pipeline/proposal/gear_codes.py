"""A gear logged as 0, 1 and 2: which of them is neutral, and which way the other two go.

A lever passes neutral on its way from one end to the other, whatever the codes are; it is held longest and at the
highest speed ahead. All sizes are common practice, no published source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from pipeline.proposal.signals import Signal

CODES: Final = (0.0, 1.0, 2.0)

THROUGH: Final = 0.9
"""Share of changes that must begin or end in neutral."""

FEWEST_CHANGES: Final = 4

FASTER: Final = 1.2
"""How many times the speed astern the speed ahead must be, for the speed to tell which is which."""

_USUAL_AHEAD: Final = {0.0: 1.0, 1.0: 2.0, 2.0: 0.0}
"""By the code of neutral, the one ahead, as most write it: neutral, forward, reverse; or reverse, neutral, forward."""


@dataclass(frozen=True)
class GearCodes:
    """What each code means; `is_told` says that the speed tells forward from reverse, else it is only usual."""

    neutral: float
    forward: float
    reverse: float
    is_told: bool

    def values(self) -> dict[str, str]:
        """The codes as a channel map lists them."""
        meant = {self.neutral: "neutral", self.forward: "forward", self.reverse: "reverse"}
        return {f"{code:g}": meant[code] for code in CODES}

    def canonical(self, signal: Signal) -> np.ndarray:
        """The signal's values (n,) as reverse −1, neutral 0 and forward 1; NaN where blank."""
        ahead, astern = signal.values == self.forward, signal.values == self.reverse
        return np.where(signal.known, ahead.astype(np.float64) - astern, np.nan)


def gear_codes(signal: Signal, speed: Signal | None) -> GearCodes | None:
    """What 0, 1 and 2 mean in a column; None where they are no gear's, or it hardly changes. `speed` is in rpm."""
    if tuple(signal.levels.tolist()) != CODES:
        return None
    held = signal.found[np.r_[True, np.diff(signal.found) != 0]]
    if held.size <= FEWEST_CHANGES:
        return None
    through = {code: float(np.mean((held[1:] == code) | (held[:-1] == code))) for code in CODES}
    neutral = max(CODES, key=lambda code: through[code])
    if through[neutral] < THROUGH or sorted(through.values())[-2] >= THROUGH:
        return None
    return _directed(neutral, signal, speed)


def _directed(neutral: float, signal: Signal, speed: Signal | None) -> GearCodes:
    """Forward is where the engine runs faster; where it does not, what most write."""
    usual = _USUAL_AHEAD[neutral]
    other = next(code for code in CODES if code not in {neutral, usual})
    if speed is None:
        return GearCodes(neutral, usual, other, is_told=False)
    fast = {code: _high(speed, signal, code) for code in (usual, other)}
    if fast[usual] >= FASTER * fast[other]:
        return GearCodes(neutral, usual, other, is_told=True)
    if fast[other] >= FASTER * fast[usual]:
        return GearCodes(neutral, other, usual, is_told=True)
    return GearCodes(neutral, usual, other, is_told=False)


def _high(speed: Signal, signal: Signal, code: float) -> float:
    """The speed that one in twenty of the rows in a gear lies above; 0 where none is known."""
    found = speed.at(signal.values == code)
    return float(np.percentile(found, 95)) if found.size else 0.0
