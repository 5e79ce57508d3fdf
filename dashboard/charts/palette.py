"""The colours of marks. Each has a contrast of 3:1 or more on the light and on the dark ground: one set serves both.

After Okabe and Ito's palette for all kinds of colour vision, each moved to where both grounds are served. A colour is
never the only cue: marks differ in shape, lines in their dash, and words stand beside.
"""

from __future__ import annotations

from typing import Final

from pipeline.states import Status

LIGHT_GROUND: Final = "#FBFAF6"
DARK_GROUND: Final = "#10171D"

STATUS: Final[dict[Status, str]] = {
    "hold": "#D4452A",
    "watch": "#A87400",
    "unchecked": "#8A70C2",
    "ready": "#26875A",
}

GEARS: Final[dict[str, str]] = {"reverse": "#B4559A", "neutral": "#6E7F86", "forward": "#2A84BD"}
GEAR_SHAPES: Final[dict[str, str]] = {"reverse": "triangle-down", "neutral": "square", "forward": "triangle-up"}

THERMAL: Final[dict[str, str]] = {"cold": "#2A84BD", "warming": "#6E7F86", "hot": "#D4452A"}

ENGINES: Final = ("#2A84BD", "#C0611A", "#26875A", "#B4559A", "#8A70C2")
ENGINE_SHAPES: Final = ("circle", "square", "triangle-up", "diamond", "cross")

QUIET: Final = "#76838A"
NOTE: Final = "#8A70C2"

DIVERGING_LIGHT: Final = ("#5FA3D3", "#E6E2D7", "#E08A4A")
DIVERGING_DARK: Final = ("#4C93C6", "#2A3742", "#D07B35")
"""Below, at and above the middle of a heat map: blue and orange are told apart by every kind of colour vision."""

CELL_INK_LIGHT: Final = "#17222B"
CELL_INK_DARK: Final = "#FFFFFF"
"""Symbols on those cells: 3:1 or more on each of them."""
