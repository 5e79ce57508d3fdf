"""Contrast of text and marks on both grounds, by the formula and the limits of WCAG 2.2."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from dashboard.charts import drawing, palette

ROOM = Path(__file__).parents[2] / "dashboard"
THEME = tomllib.loads((ROOM / ".streamlit" / "config.toml").read_text(encoding="utf-8"))["theme"]

TEXT = 4.5
"""WCAG 2.2, success criterion 1.4.3, level AA."""

MARKS = 3.0
"""WCAG 2.2, success criterion 1.4.11, level AA."""


def _luminance(colour: str) -> float:
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def _pairs() -> dict[str, tuple[str, str]]:
    look = (ROOM / "look.css").read_text(encoding="utf-8")
    found = re.findall(r"--mw-([a-z-]+): light-dark\((#\w{6}), (#\w{6})\)", look)
    return {name: (light, dark) for name, light, dark in found}


def test_the_formula_gives_the_published_value() -> None:
    # WCAG's own example: #767676 on white is 4.54 to 1
    assert contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.005)


def test_the_grounds_are_those_that_the_theme_sets() -> None:
    assert (THEME["light"]["backgroundColor"], THEME["dark"]["backgroundColor"]) == (
        palette.LIGHT_GROUND,
        palette.DARK_GROUND,
    )


@pytest.mark.parametrize("place", [0, 1], ids=["light", "dark"])
def test_words_can_be_read_on_the_ground_on_panels_and_on_their_own_zone(place: int) -> None:
    pairs = _pairs()
    ground = (palette.LIGHT_GROUND, palette.DARK_GROUND)[place]
    panel = pairs["panel"][place]
    for name in ("ink", "soft", "hold", "watch", "unchecked", "ready"):
        zone = pairs.get(f"{name}-zone", (ground, ground))[place]
        for behind in (ground, panel, zone):
            assert contrast(pairs[name][place], behind) >= TEXT, (name, behind)


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_the_themes_own_text_and_links_can_be_read(mode: str) -> None:
    theme = THEME[mode]
    for ink in ("textColor", "linkColor"):
        for ground in ("backgroundColor", "secondaryBackgroundColor"):
            assert contrast(theme[ink], theme[ground]) >= TEXT, (ink, ground)
    assert contrast(theme["primaryColor"], theme["backgroundColor"]) >= MARKS


@pytest.mark.parametrize(("mode", "words"), [("light", "#FFFFFF"), ("dark", "#10171D")])
def test_words_on_the_accent_can_be_read(mode: str, words: str) -> None:
    assert "light-dark(#FFFFFF, #10171D)" in (ROOM / "look.css").read_text(encoding="utf-8")
    assert contrast(words, THEME[mode]["primaryColor"]) >= TEXT


def test_marks_stand_out_on_both_grounds() -> None:
    colours = [
        *palette.STATUS.values(),
        *palette.GEARS.values(),
        *palette.THERMAL.values(),
        *palette.ENGINES,
        palette.QUIET,
        palette.NOTE,
    ]
    for ground in (palette.LIGHT_GROUND, palette.DARK_GROUND):
        assert [colour for colour in colours if contrast(colour, ground) < MARKS] == [], ground


def test_labels_of_charts_can_be_read_on_their_ground() -> None:
    assert contrast(drawing.LABELS_ON_LIGHT, palette.LIGHT_GROUND) >= TEXT
    assert contrast(drawing.LABELS_ON_DARK, palette.DARK_GROUND) >= TEXT


def test_the_mark_of_a_status_stands_out_in_its_zone() -> None:
    pairs = _pairs()
    for place in (0, 1):
        for mark, zone in (("hold", "hold-zone"), ("watch", "watch-zone"), ("ready", "watch-zone")):
            assert contrast(pairs[mark][place], pairs[zone][place]) >= MARKS


def test_the_symbols_of_a_heat_map_stand_out_on_each_of_its_colours() -> None:
    for colours, ink in (
        (palette.DIVERGING_LIGHT, palette.CELL_INK_LIGHT),
        (palette.DIVERGING_DARK, palette.CELL_INK_DARK),
    ):
        assert [colour for colour in colours if contrast(colour, ink) < MARKS] == []


def test_the_ends_of_a_heat_map_stand_out_from_its_middle() -> None:
    for low, middle, high in (palette.DIVERGING_LIGHT, palette.DIVERGING_DARK):
        assert min(contrast(low, middle), contrast(high, middle)) >= 1.8


def test_where_the_keyboard_is_stands_out_on_the_ground_and_on_panels() -> None:
    pairs = _pairs()
    for place, ground in enumerate((palette.LIGHT_GROUND, palette.DARK_GROUND)):
        for behind in (ground, pairs["panel"][place], *(pairs[f"{each}-zone"][place] for each in ("hold", "watch"))):
            assert contrast(pairs["focus"][place], behind) >= MARKS, behind


def test_every_colour_of_the_style_sheet_is_one_of_the_pairs_held_here() -> None:
    look = (ROOM / "look.css").read_text(encoding="utf-8")
    rules = re.sub(r"--mw-[a-z-]+: light-dark\(#\w{6}, #\w{6}\);", "", look)
    grounds = {palette.LIGHT_GROUND, palette.DARK_GROUND}
    # white and dark words on the accent are held above
    assert set(re.findall(r"#[0-9A-Fa-f]{6}\b", rules)) <= {"#FFFFFF", "#10171D", *grounds}
