"""The last steps of the judgement, from what has moved to causes, order and proposals, with the numbers in force."""

from __future__ import annotations

from typing import Final

from pipeline import aftermath, corrections, evidence, occurrences, ranking, verdicts
from pipeline.diagnosis import patient, shifting
from pipeline.method.parts import Statistic, constant

CONCLUDING: Final = (
    Statistic(
        "Diagnosis",
        "Rules tie the symptoms of one engine together, each cause once. Over the gears, pictures (all alike, both "
        "ends short, one end) are weighed by their misfit. What no rule explains is unknown, and said so.",
        (
            constant(patient, "SMALL", "of the largest", "below which a gear did not move"),
            constant(shifting, "LOOSE", "times the baseline's", "scatter about a drift that is play"),
            constant(verdicts, "FULL_EVIDENCE_RUNS", "runs", "from which a cause is as sure as its rule allows"),
        ),
        "common practice, no published source",
    ),
    Statistic(
        "Occurrences",
        "A stall holds until a note answers it or enough later runs are clean. A signal that cannot be believed is a "
        "finding about the data, and what rests on it is not held against the engine.",
        (constant(occurrences, "SIGNAL_RUNS", "runs", "in which a signal fault is looked for"),),
        "common practice, no published source",
    ),
    Statistic(
        "Evidence",
        "No evidence is not good evidence: an engine without a fresh log, or whose logs lack a gear or a warm engine, "
        "is unchecked, unless it already stands at hold or watch.",
        (
            constant(evidence, "EXPECTED", "", "what recent logs should show"),
            constant(evidence, "TEMPERATURES", "", "channels that tell whether the engine was warm"),
            constant(evidence, "LOOK_BACK", "", "that the last sight of each may be old"),
        ),
        "common practice, no published source",
    ),
    Statistic(
        "Urgency",
        "Nearness x certainty: how many times its hold limit a level stands at (half as much where only a watch limit "
        "or a drift is set), weighed by how sure the finding is. A boat counts its most urgent finding of its own "
        "status, more if it leaves soon; a watch that is deferred counts less, a hold never.",
        (
            constant(ranking, "NEARNESS_AT_MOST", "times the limit", "that nearness counts at most"),
            constant(ranking, "UNSURE", "", "certainty of a finding that does not say how sure it is"),
            constant(ranking, "SOON", "", "before departure that count as soon"),
            constant(ranking, "SOON_WEIGHT", "times", "for a boat that leaves soon"),
            constant(ranking, "DEFERRED_WEIGHT", "times", "for a watch that is deferred"),
        ),
        "ours, explained on the screen",
    ),
    Statistic(
        "What came of a note",
        "What stood out on the engine before a note that answers something is looked for in the runs after it.",
        (
            constant(aftermath, "ENOUGH_RUNS", "runs", "after a note before anything is said"),
            constant(aftermath, "LOOK_BACK", "", "that a note is looked at"),
        ),
        "common practice, no published source",
    ),
    Statistic(
        "Corrections",
        "New cell = old cell + measured integral - wanted integral; a window between two rows belongs to both by its "
        "interpolation weight; a gear's add-on takes what the rows do not give already. A target is proposed only for "
        "a mismatch that has been constant since commissioning.",
        (
            constant(corrections, "DEFAULT_ROWS_C", "°C", "rows of the table where the fleet file names none"),
            constant(corrections, "LAST_RUNS", "runs", "whose idle windows are read"),
            constant(corrections, "FEWEST_WINDOWS", "windows", "summed weight that a cell needs"),
            constant(corrections, "FEWEST_RUNS", "runs", "that a cell needs"),
            constant(corrections, "UNSETTLED_WEIGHT", "", "weight of a window whose loop had not re-converged"),
            constant(corrections, "FEWEST_SHIFTS", "shifts", "before a target is proposed"),
            constant(corrections, "FEWEST_SHIFT_RUNS", "runs", "in which they must be"),
            constant(corrections, "MOST_SCATTER", "of the watch limit", "spread of runs up to which it is constant"),
        ),
        "common practice, no published source",
    ),
)
"""From what has moved to causes, the order of boats, and proposals."""
