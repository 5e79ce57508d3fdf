"""Like for like between groups against Snedecor & Cochran's leprosy data."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.statistics.ancova import ancova

# Snedecor & Cochran, Statistical Methods, 6th ed. (1967), p. 422; outputs as printed by SAS/STAT PROC GLM,
# "Analysis of Covariance". Pairs (before, after).
DRUGS = {
    "A": [(11, 6), (8, 0), (5, 2), (14, 8), (19, 11), (6, 4), (10, 13), (6, 1), (11, 8), (3, 0)],
    "D": [(6, 0), (6, 2), (7, 3), (8, 1), (18, 18), (8, 4), (19, 14), (8, 9), (5, 1), (15, 9)],
    "F": [(16, 13), (13, 10), (11, 18), (9, 5), (21, 23), (16, 12), (12, 5), (12, 16), (7, 1), (12, 20)],
}
GROUPS = [drug for drug, pairs in DRUGS.items() for _ in pairs]
BEFORE, AFTER = np.array([pair for pairs in DRUGS.values() for pair in pairs], dtype=float).T


def test_the_common_slope_is_that_printed() -> None:
    found = ancova(GROUPS, BEFORE, AFTER)
    assert found.slope == pytest.approx(0.987184, abs=5e-7)
    assert found.slope_error == pytest.approx(0.164498, abs=5e-7)


def test_the_adjusted_means_are_those_printed() -> None:
    found = ancova(GROUPS, BEFORE, AFTER)
    printed = [("A", 5.3, 6.7149635, 1.2884943), ("D", 6.1, 6.8239348, 1.2724690), ("F", 12.3, 10.1611017, 1.3159234)]
    for mean, (group, raw, adjusted, error) in zip(found.means, printed, strict=True):
        assert (mean.group, mean.raw_mean, mean.n) == (group, pytest.approx(raw), 10)
        assert mean.mean == pytest.approx(adjusted, abs=5e-8)
        assert mean.error == pytest.approx(error, abs=5e-8)


def test_the_sums_of_squares_are_those_printed() -> None:
    fit = ancova(GROUPS, BEFORE, AFTER).fit
    assert (fit.model_ss, fit.residual_ss) == (pytest.approx(871.4974, abs=5e-5), pytest.approx(417.2026, abs=5e-5))
    assert (fit.df, fit.r_squared) == (26, pytest.approx(0.676261, abs=5e-7))


def test_the_apparent_difference_vanishes_once_the_covariate_is_held_equal() -> None:
    found = ancova(GROUPS, BEFORE, AFTER)
    assert found.groups.ss == pytest.approx(68.5537, abs=5e-5)
    assert found.groups.f == pytest.approx(2.14, abs=5e-3)
    assert found.groups.p == pytest.approx(0.1384, abs=5e-5)
    # Ignoring the covariate the groups differ: one-way F(2, 27) = 3.98, p = 0.0305.
    ignoring = stats.f_oneway(*(AFTER[[g == drug for g in GROUPS]] for drug in DRUGS))
    assert ignoring.pvalue == pytest.approx(0.0305, abs=5e-5)


def test_the_covariate_and_the_equal_slopes_are_tested_as_printed() -> None:
    found = ancova(GROUPS, BEFORE, AFTER)
    assert found.covariate.ss == pytest.approx(577.8974, abs=5e-5)
    assert found.covariate.f == pytest.approx(36.01, abs=5e-3)
    assert found.equal_slopes is not None
    assert found.equal_slopes.f == pytest.approx(0.593, abs=5e-4)
    assert found.equal_slopes.p == pytest.approx(0.561, abs=5e-4)


def test_a_shift_of_the_covariate_changes_nothing_and_missing_rows_are_left_out() -> None:
    plain = ancova(GROUPS, BEFORE, AFTER)
    moved = ancova([*GROUPS, "A"], np.append(BEFORE + 100, math.nan), np.append(AFTER, 5))
    assert [m.mean for m in moved.means] == pytest.approx([m.mean for m in plain.means])
    assert moved.slope == pytest.approx(plain.slope)


def test_too_few_readings_for_own_slopes_leave_that_question_open() -> None:
    assert ancova(["a", "a", "b", "b"], [1, 2, 2, 4], [1, 2, 4, 5.5]).equal_slopes is None


def test_one_group_is_no_comparison() -> None:
    with pytest.raises(ValueError, match="two groups"):
        ancova(["a", "a"], [1, 2], [3, 4])
