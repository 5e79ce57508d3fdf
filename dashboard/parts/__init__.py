"""Pieces that several screens share: guards, the bar with the moment shown, status marks, findings, cautions."""

from __future__ import annotations

from dashboard.parts.choices import chosen_boat, chosen_engine, first_of, picked, to_map_a_log
from dashboard.parts.findings import finding, finding_facts, limits_text, then_now_table
from dashboard.parts.guards import caught, has_logs, moment, opened, with_boats
from dashboard.parts.heading import FIRST_LIGHT, heading, sheet
from dashboard.parts.links import anchor, boat_link, engine_link, logbook_link, method_link
from dashboard.parts.pictures import draw, draw_to_pick, draw_to_select, drawn_says, fold, is_dark, side_by_side
from dashboard.parts.words import (
    age,
    badge,
    cautions,
    channel_title,
    departure,
    file_line,
    meaning,
    note,
    nothing,
    quiet,
    section,
    small_heading,
    small_title,
    summary,
    when,
    withheld,
)

__all__ = [
    "FIRST_LIGHT",
    "age",
    "anchor",
    "badge",
    "boat_link",
    "caught",
    "cautions",
    "channel_title",
    "chosen_boat",
    "chosen_engine",
    "departure",
    "draw",
    "draw_to_pick",
    "draw_to_select",
    "drawn_says",
    "engine_link",
    "file_line",
    "finding",
    "finding_facts",
    "first_of",
    "fold",
    "has_logs",
    "heading",
    "is_dark",
    "limits_text",
    "logbook_link",
    "meaning",
    "method_link",
    "moment",
    "note",
    "nothing",
    "opened",
    "picked",
    "quiet",
    "section",
    "sheet",
    "side_by_side",
    "small_heading",
    "small_title",
    "summary",
    "then_now_table",
    "to_map_a_log",
    "when",
    "with_boats",
    "withheld",
]
