"""The Method text leaves nothing out: every indicator, cause, word and number that judges is in it, as in force."""

from __future__ import annotations

import importlib
import math
import pkgutil
import re
import subprocess
import sys
import typing
from datetime import timedelta
from types import ModuleType

import numpy as np
import pytest

import pipeline
from pipeline import (
    aftermath,
    catalogue,
    corrections,
    doubts,
    evidence,
    exchanged,
    method,
    occurrences,
    ranking,
    states,
    trust,
    verdicts,
    ways_out,
    wording,
)
from pipeline.aftermath import Outcome
from pipeline.causes import CAUSES
from pipeline.diagnosis import fuelling, idling, patient, shifting, signals, supply
from pipeline.history import History, Series, SeriesKey
from pipeline.logbook import Kind
from pipeline.problems import CATALOGUE
from pipeline.season import (
    epochs,
    fleet,
    improvement,
    like_for_like,
    monitoring,
    movement,
    shares,
    smearing,
    together,
)
from pipeline.season.epochs import Reason
from pipeline.season.movement import PatternWord
from pipeline.states import STATUSES
from pipeline.statistics import pattern
from pipeline.statistics.run_length import two_sided_cusum_arl

WHOLE = method.method(method.budget(26))

JUDGING = (
    *(epochs, fleet, improvement, like_for_like, monitoring, movement, shares, smearing, together),
    *(fuelling, idling, patient, shifting, signals, supply),
    *(doubts, exchanged, trust),
    *(states, verdicts, ranking, evidence, occurrences, aftermath, corrections, pattern),
)

NOT_OF_THE_METHOD = {
    "season.movement.DAY_S",
    "season.together.DAY_S",
    "states.STATUSES",
    "diagnosis.patient.GEARS",
    "trust.SIGNAL",
}
"""Units, and lists that stand elsewhere in the text."""


def constants(module: ModuleType) -> list[str]:
    """The public constants that a module itself sets."""
    source = typing.cast("str", module.__file__)
    with open(source, encoding="utf-8") as file:  # noqa: PTH123 - a module's own file
        names = re.findall(r"(?m)^([A-Z][A-Z_]+)(?:: [^=]+)? = ", file.read())
    return [f"{module.__name__.removeprefix('pipeline.')}.{name}" for name in names]


def test_every_indicator_is_told_with_its_query() -> None:
    told = {each.name: each for each in WHOLE.indicators}

    assert set(told) == set(catalogue.indicators())
    for name, each in told.items():
        text = (catalogue.SQL_FOLDER / "indicators" / f"{name}.sql").read_text(encoding="utf-8")
        assert each.sql in text
        assert each.sql.lstrip().startswith(("with", "select", "--"))
        assert all((each.title, each.unit, each.facet, each.meaning, each.caveat, each.do, each.source, each.judged))


def test_a_limit_that_nobody_set_is_said() -> None:
    told = {each.name: each for each in WHOLE.indicators}
    shown = [(each.name, each.value) for each in told["shift_transit_time"].limits]

    assert shown == [("watch", "no limit set"), ("hold", "no limit set"), ("drift", 0.25)]
    assert [(each.name, each.value) for each in told["shift_reach_error"].limits][:2] == [("watch", 1.0), ("hold", 2.0)]
    assert [each.value for each in told["idle_integral"].wanted] == ["-3 to 0", "0 to 3", "0 to 3", -2.5, 2.5, 2.5]


def test_every_cause_is_told() -> None:
    assert [each.word for each in WHOLE.causes] == list(CAUSES)
    assert all(each.title and each.shows and each.against and each.do for each in WHOLE.causes)


@pytest.mark.parametrize("module", JUDGING, ids=lambda module: module.__name__)
def test_every_number_that_judges_is_told(module: ModuleType) -> None:
    told = {parameter.name for each in WHOLE.statistics for parameter in each.parameters}

    assert set(constants(module)) - told - NOT_OF_THE_METHOD == set()


def test_numbers_are_those_in_force() -> None:
    told = {parameter.name: parameter.value for each in WHOLE.statistics for parameter in each.parameters}

    assert told["season.like_for_like.BASELINE_RUNS"] == like_for_like.BASELINE_RUNS
    assert told["season.monitoring.RUN_LENGTH"] == monitoring.RUN_LENGTH
    assert told["states.CLEAR_SIGMAS"] == states.CLEAR_SIGMAS
    assert told["ranking.SOON"] == ranking.SOON / timedelta(hours=1)
    assert told["aftermath.LOOK_BACK"] == aftermath.LOOK_BACK / timedelta(days=1)


def test_no_number_is_told_twice_and_every_statistic_has_a_source() -> None:
    names = [parameter.name for each in WHOLE.statistics for parameter in each.parameters]

    assert len(names) == len(set(names))
    assert all(each.source and each.does and each.parameters for each in WHOLE.statistics)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("status", STATUSES),
        ("pattern", typing.get_args(PatternWord)),
        ("epoch", typing.get_args(Reason)),
        ("note", tuple(kind.value for kind in Kind)),
        ("after a note", typing.get_args(Outcome)),
    ],
)
def test_every_word_of_every_list_has_its_meaning(name: str, words: tuple[str, ...]) -> None:
    told = WHOLE.lists[name]

    assert {each.word for each in told} == set(words)
    assert len(told) == len(words)
    assert all(each.meaning for each in told)


def test_a_kind_of_note_says_what_follows_from_it() -> None:
    told = {each.word: each.meaning for each in WHOLE.lists["note"]}

    assert told["new_target"].endswith("answers what stood before it and starts the comparison anew")
    assert "answers" not in told["remark"]


def test_a_twelve_engine_season_of_the_handbook_s_monitor_has_its_published_number_of_false_alarms(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # 12 engines x 8 indicators x 100 engine-days with k = 0.5, h = 5 (ARL 465.4, Montgomery): 20.6 a season.
    monkeypatch.setattr(monitoring, "RUN_LENGTH", two_sided_cusum_arl(0.5, 5))

    found = method.budget(12, monitors=8, readings_a_day=1.0, days=100)

    assert (found.decisions, found.false_signals) == (9600, pytest.approx(20.6, abs=0.05))
    # three-sigma limits: ARL 370.4 in the same book
    assert found.three_sigma_signals == pytest.approx(9600 / 370.4)


def test_the_budget_in_force_is_one_false_signal_in_a_thousand_engine_days() -> None:
    found = method.budget(26)

    assert found.decisions == 26 * 30 * 1.3 * 100
    assert found.per_1000_engine_days == pytest.approx(0.975)


def series(indicator: str, facet: str, days: np.ndarray) -> Series:
    none = np.full(days.size, np.nan)
    return Series(
        SeriesKey("petrel/port", indicator, facet), days * 86400, days, none, none, none, none, none, none, None
    )


def test_the_budget_of_a_fleet_counts_its_own_monitors_and_runs() -> None:
    # two judged series of two runs a day; stalls have no monitor
    days = np.arange(0, 10.5, 0.5)
    own = (series("idle_integral", "neutral", days), series("battery_idle", "", days), series("stall", "neutral", days))
    found = method.budget_of(History(typing.cast("typing.Any", None), {"petrel/port": own}, {}, {}), days=10)

    assert (found.engines, found.monitors, found.readings_a_day) == (1, 2, pytest.approx(2.0))
    assert found.decisions == pytest.approx(40)


def test_a_fleet_without_readings_has_an_empty_budget() -> None:
    found = method.budget_of(History(typing.cast("typing.Any", None), {}, {}, {}))

    assert (found.decisions, found.false_signals, found.per_1000_engine_days) == (0, 0, 0)


def test_the_cautions_stand_in_it() -> None:
    assert WHOLE.cautions == wording.CAUTIONS


def test_every_problem_of_every_room_has_its_way_out() -> None:
    # every module of the pipeline is imported here, so that no room's problems are left out
    for module in pkgutil.walk_packages(pipeline.__path__, "pipeline."):
        if not module.name.endswith("mdf4_child"):
            importlib.import_module(module.name)

    assert set(ways_out.WAYS_OUT) == set(CATALOGUE)
    assert {each.code: each.meaning for each in WHOLE.problems} == CATALOGUE
    assert [each.code for each in WHOLE.problems if not each.way_out.endswith(".")] == []


def test_the_screen_has_every_problem_without_importing_more_than_the_method() -> None:
    told = "from pipeline import method; print(len(method.method(method.budget(1)).problems))"
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)  # noqa: S603

    assert int(done.stdout) == len(CATALOGUE)


def test_every_fault_of_a_channel_has_its_way_out() -> None:
    header = catalogue.read_header("events", "signals")["columns"]["fault"]
    words = re.sub(r"\([^)]*\)", "", header).split(",")

    assert [each.code for each in WHOLE.faults] == [" ".join(word.split()) for word in words]


def test_a_threshold_is_the_one_that_the_monitors_use() -> None:
    short, whole = WHOLE.thresholds
    design = monitoring.monitor_design(like_for_like.BASELINE_RUNS)

    assert (short.baseline_runs, short.limit) == (like_for_like.FEWEST_RUNS, None)
    assert design is not None
    assert (whole.allowance, whole.limit) == (design.k, design.h)


def test_how_long_a_signal_takes_agrees_with_the_textbook_approximation() -> None:
    # Siegmund (1985), as given by Montgomery, Introduction to Statistical Quality Control, chapter on the CUSUM:
    # ARL = (exp(-2 d b) + 2 d b - 1) / (2 d^2), with d = shift - k and b = h + 1.166
    for threshold in WHOLE.thresholds:
        for moved, delay in threshold.delays:
            off, wide = moved - threshold.allowance, (threshold.limit or 0.0) + 1.166
            expected = (math.exp(-2 * off * wide) + 2 * off * wide - 1) / (2 * off**2)
            assert delay == pytest.approx(expected, rel=0.05)
