"""The first question of the day in words: who may go, who stays, and what of it nobody knows."""

from __future__ import annotations

import pytest
from season_maker import FIRST_RUN

from pipeline import verdicts
from pipeline.answer import answer
from pipeline.evidence import Gap
from pipeline.findings import Finding
from pipeline.morning import Morning
from pipeline.ranking import BoatLine
from pipeline.register import Engine
from pipeline.states import Status

PORT = Engine(id="port", boat_id="petrel", label="port", serial=None, shift_targets=None, service=None, limits={})
SILENT = verdicts.from_gap(PORT, Gap("petrel/port", "age", None, None), 3.0)
UNSEEN = verdicts.from_gap(PORT, Gap("petrel/port", "shift reverse", None, None), 3.0)


def boat(status: Status, *findings: Finding) -> BoatLine:
    return BoatLine(1, "petrel", "Petrel", status, None, None, (), findings, (), 0.0)


def said(*boats: BoatLine) -> str:
    return answer(
        Morning(
            fleet="Ninefold",
            simulated=False,
            as_of=FIRST_RUN,
            fleet_findings=(),
            boats=boats,
            states=(),
            steps=(),
            problems=(),
        )
    )


@pytest.mark.parametrize(
    ("boats", "words"),
    [
        ([], "There are no boats in the register."),
        ([boat("ready"), boat("ready")], "2 of 2 boats may go."),
        ([boat("watch"), boat("ready")], "2 of 2 boats may go, 1 of them with a look first."),
        (
            [boat("hold"), boat("unchecked", SILENT)],
            "None of the 2 boats may go. 1 stays in until seen to. 1 is not known.",
        ),
        ([boat("unchecked", SILENT)], "The boat may not go. It is not known."),
    ],
)
def test_the_answer_counts_nobody_as_ready_who_is_not_known(boats: list[BoatLine], words: str) -> None:
    assert said(*boats) == words


def test_a_boat_that_may_go_by_old_logs_alone_is_not_sent_out_without_saying_so() -> None:
    fleet = [boat("watch", SILENT), boat("watch", UNSEEN), boat("ready")]

    assert said(*fleet) == "3 of 3 boats may go, 2 of them with a look first; 1 of them without a fresh log."
    assert said(boat("watch", SILENT)) == "The boat may go, with a look first; without a fresh log."
