"""What to do about each problem in data, in general; the problem itself names the file, the line and what was found."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

WAYS_OUT: Final = MappingProxyType(
    {
        "inbox_unreadable": "Give this user the right to read the file, then ingest again.",
        "inbox_name": "Rename the file with plain letters.",
        "inbox_no_boat": "Move the file into inbox/<boat>/.",
        "inbox_unknown_boat": "Name the folder after a boat's id, or add the boat to fleet.toml.",
        "inbox_no_engine": "Add the boat's engines to fleet.toml.",
        "log_unreadable": "Open the file where it was logged and export it again.",
        "log_not_measured": "Ingest again; if it stays, send the smallest log that shows it to whoever keeps the code.",
        "out_of_reach": "Nothing: the next ingest tries again.",
        "unknown_format": "Export the log as CSV, Parquet or MDF4.",
        "missing_extra": "Install the extra that the message names.",
        "empty_file": "Copy the log again from the logger.",
        "damaged_file": "Copy the log again from the logger.",
        "no_header": "Export the log again as CSV with its column names.",
        "fields_short": "Export the log again: which column is which cannot be guessed.",
        "fields_long": "Export the log again: which column is which cannot be guessed.",
        "ragged_rows": "Nothing for a few rows, they are left out; for many, export the log again.",
        "cut_last_row": "Nothing: the last row is left out.",
        "unreadable_cells": "Nothing for a few cells, they count as missing; for many, look at the decimal mark.",
        "no_time": "Name the time column in the channel map; morningwatch columns FILE proposes one.",
        "no_channel": "Name at least one channel in the channel map; morningwatch columns FILE proposes one.",
        "no_rows": "Nothing to read here: take the file out of the inbox if it disturbs.",
        "several_engines": "Put the log into a folder named after its engine, or use {engine} in the channel map.",
        "ambiguous_column": "Name the column in full in the channel map.",
        "wrong_unit": "Correct the unit in the channel map.",
        "unit_from_header": "Nothing, if the header is right; else name the unit in the channel map.",
        "unit_disagrees": "Look which of the two is right; the channel map's is used.",
        "unknown_date": "Put the date into the file's name: YYYY-MM-DD_HHMM.",
        "time_unreadable": "Say in the channel map how the time is written: s, ms, epoch_s, iso8601 or clock.",
        "clock_not_set": "Set the logger's clock; put the start into the file's name: YYYY-MM-DD_HHMM.",
        "clock_replaced": "Set the logger's clock before the next run.",
        "clock_repaired": "Set the logger's clock before the next run.",
        "rows_step_back": "Nothing for a few rows, they are left out; for many, look at the logger's clock.",
        "too_many_rows_lost": "Look at the logger's clock and export the log again.",
        "repeated_hour": "Log in UTC, or with an offset, over the night when the clock goes back.",
        "raw_frames": "Decode the frames with their database first, and bring in the decoded log.",
        "register_absent": "Make one with morningwatch init FLEET.",
        "register_unreadable": "Give this user the right to read fleet.toml.",
        "register_syntax": "Mend the line that the message names.",
        "register_unknown_key": "Take the nearest known key, which the message names.",
        "register_missing_key": "Add the key.",
        "register_wrong_type": "Write the value as the message says.",
        "register_bad_value": "Write a value in the range that the message names.",
        "register_unknown_name": "Take the nearest known name, or define it.",
        "register_duplicate": "Give one of the two another name.",
        "map_exists": "Choose another name for the map, or say that it is to be replaced.",
        "map_name": "Name the map with letters, digits, _ and - alone.",
        "map_unwritten": "Write the map into fleet.toml by hand.",
        "schedule_unreadable": "Save schedule.csv as UTF-8 text.",
        "schedule_columns": "Give schedule.csv the columns boat, departs and note.",
        "schedule_boat": "Take a boat's id from fleet.toml.",
        "schedule_time": "Write the departure as 2026-06-14T09:30.",
        "fleet_folder_blocked": "Choose another folder, or give this user the right to write there.",
        "logbook_unreadable": "Put a copy of logbook.sqlite back if it is damaged.",
        "logbook_unwritable": "Make room on the disk, or give this user the right to write there; then write it again.",
    }
)
"""By problem code; every code of `problems.CATALOGUE` has one."""

FAULTS: Final = MappingProxyType(
    {
        "flat": ("one value all through", "Check the sensor, its plug and its wiring."),
        "frozen": ("one value for a while, though the engine moved", "Check the sensor's plug and the logger's link."),
        "stuck": ("at an end of its range", "Check for a short or a break in the wiring."),
        "spiking": ("single samples far from both neighbours", "Check plug and ground; a worn sensor does this too."),
        "impossible": ("values that such an engine cannot have", "Check the sensor, and the unit in the channel map."),
        "dropouts": ("stretches without a value in mid-run", "Check the plug and the logger's link."),
        "swapped": ("it moves before its target does", "Exchange the two columns in the channel map."),
        "never at rest": ("it never returns to rest, though the engine idled", "Set the channel map's zero."),
        "wrong unit": ("its values are ordinary in another unit", "Correct the unit in the channel map."),
    }
)
"""Faults of a channel that its values show: what is seen, and the way out. A finding about data, never an engine's."""
