"""What a reader is asked and what it answers, the same for every format."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

from pipeline.problems import Problem, declare
from pipeline.register.tables import ReadingLimits

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from pipeline.register import ChannelMap, Engine

READER_VERSION: Final = 4
"""Raised whenever the same bytes would be read to other rows; the ledger then reads every log again."""

declare(
    {
        "unknown_format": "no reader knows this kind of file",
        "missing_extra": "the reader for this format is not installed",
        "out_of_reach": "the file could not be read this time",
        "empty_file": "the file is empty",
        "damaged_file": "the file is damaged",
        "no_header": "no line of column names was found",
        "fields_short": "the rows have fewer fields than the header has names",
        "fields_long": "the rows have more fields than the header has names",
        "ragged_rows": "rows do not have the header's number of fields",
        "cut_last_row": "the last row is cut short",
        "unreadable_cells": "cells hold no number",
        "no_time": "no column holds the time",
        "no_channel": "no column holds a channel",
        "no_rows": "the log has no rows",
        "several_engines": "the log does not say which engine it is of",
        "ambiguous_column": "several columns answer to one name",
        "wrong_unit": "the unit does not fit the channel",
        "unit_from_header": "the header's unit was used, as the channel map names none",
        "unit_disagrees": "the header's unit is another than the channel map's",
        "unknown_date": "the log has clock times, but no date",
        "time_unreadable": "times cannot be read",
        "clock_not_set": "the logger's clock was not set",
        "clock_replaced": "the logger's clock was not set, the known start was used instead",
        "clock_repaired": "the logger's clock was set while it logged; the rows before were moved next to those after",
        "rows_step_back": "rows step back in time",
        "too_many_rows_lost": "too many rows cannot be used",
        "repeated_hour": "the log lies in the hour that the clock repeats, without saying which of the two",
        "too_large": "the log is larger than logs may be",
        "too_many_columns": "the log has more columns than logs may have",
        "too_many_rows": "the log has more rows than logs may have",
        "packed_too_well": "the archive is no log's",
        "encrypted_file": "the file is encrypted",
        "doubtful_numbers": "numbers can be read in two ways",
        "doubtful_date": "day and month could be each other",
        "counter_ran_over": "the counter of the time ran over",
        "counter_from_before": "the time does not count from the log's start",
        "hours_step_back": "the engine hours run back",
        "second_table": "the file holds a second table",
        "repeated_header": "the names stand in the middle of the log again",
        "raw_frames": "the file holds raw bus frames, no decoded channels",
    }
)


@dataclass(frozen=True)
class ReadRequest:
    """One log to read.

    `file` is the path relative to the fleet folder, for messages. `engines` are those the log may hold: one where the
    log lies in a folder named after an engine, else all of the boat. `timezone` (IANA) is that of times without offset.
    `limits` are what one log may take of the machine.
    """

    path: Path
    file: str
    engines: tuple[Engine, ...]
    channel_map: ChannelMap | None
    timezone: str
    limits: ReadingLimits = field(default_factory=ReadingLimits)


@dataclass(frozen=True)
class LogRead:
    """What came of one log. On `refused` the first problem is the reason; on `taken` problems are remarks.

    `rows` were kept, `rows_dropped` left out, `rows_spread` shared a stamp and were spread. `start_assumed`: the start
    is only the file's own time. `started_s`, `ended_s` are epoch seconds of the first and last row kept. `columns` maps
    an engine's id to the channels the log holds for it, in the contract's order.
    """

    status: Literal["taken", "refused"]
    problems: tuple[Problem, ...]
    rows: int = 0
    rows_dropped: int = 0
    rows_spread: int = 0
    start_assumed: bool = False
    started_s: float | None = None
    ended_s: float | None = None
    columns: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


class Refusal(Exception):  # noqa: N818 - not an error of the program: a log that cannot be taken
    """Carries the reason for a refusal from where it is found to `read_log`, which never lets it out."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(problem.sentence())
        self.problem = problem


def in_words(error: Exception, request: ReadRequest) -> str:
    """The first line of what a library said, with the fleet's name of the file instead of the machine's path."""
    said = (str(error) or type(error).__name__).replace(str(request.path), request.file)
    return said.splitlines()[0][:200]


def out_of_reach(error: BaseException, request: ReadRequest) -> Problem:
    """The machine failed the reader: nothing is known of the file, and the next ingest reads it again."""
    got = (isinstance(error, OSError) and error.strerror) or in_words(Exception(str(error)), request)
    way_out = "Check the disk, its free space and the file's rights; the next ingest tries again."
    return Problem(request.file, None, "out_of_reach", "a file that can be read", got, way_out)


def refused(problem: Problem, *remarks: Problem) -> LogRead:
    """The answer for a log that cannot be taken."""
    return LogRead("refused", (problem, *remarks))


def refuse_many_rows(number: int, request: ReadRequest) -> None:
    """Refuse a log with more rows than a log may have.

    Raises:
        Refusal: it has.
    """
    if number > request.limits.max_rows:
        way_out = "Split the log, or raise max_rows under [reading] in fleet.toml."
        expected = f"at most {request.limits.max_rows:,}"
        raise Refusal(Problem(request.file, None, "too_many_rows", expected, f"{number:,} rows", way_out))


def refuse_many_columns(number: int, request: ReadRequest) -> None:
    """Refuse a log with more columns than a log may have.

    Raises:
        Refusal: it has.
    """
    if number > request.limits.max_columns:
        way_out = "Log fewer channels, or raise max_columns under [reading] in fleet.toml."
        expected = f"at most {request.limits.max_columns:,}"
        raise Refusal(Problem(request.file, None, "too_many_columns", expected, f"{number:,}", way_out))


def second_table(request: ReadRequest, line: int, got: str, way_out: str) -> Problem:
    """The problem of other names among the rows."""
    return Problem(request.file, line, "second_table", "one line of names", got, way_out)
