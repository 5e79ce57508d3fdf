"""Average run lengths against the printed tables."""

import numpy as np
import pytest

from pipeline.statistics.run_length import (
    ENDLESS,
    cusum_limit,
    ewma_arl,
    ewma_width,
    one_sided_cusum_arl,
    shewhart_arl,
    two_sided_cusum_arl,
)

SHIFTS = (0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4, 5)
# Lucas & Crosier (1982), Technometrics 24, 199-205, Table 1; h = 5 in Montgomery, Table 9.3. Two-sided, k = 0.5.
LUCAS_CROSIER_4 = "168 74.2 26.6 13.3 8.38 4.75 3.34 2.62 2.19 1.71 1.31"
MONTGOMERY_5 = "465 139 38.0 17.0 10.4 5.75 4.01 3.11 2.57 2.01"
LUCAS_CROSIER_4_AHEAD = "149 62.7 20.1 8.97 5.29 2.86 2.01 1.59 1.32 1.07 1.01"


def half_unit(printed: str) -> float:
    """Half a unit of the last printed digit, and a hair for the tie that rounds either way."""
    decimals = len(printed.partition(".")[2])
    return 0.5000001 * 10.0**-decimals


@pytest.mark.parametrize(("shift", "printed"), [*zip(SHIFTS, LUCAS_CROSIER_4.split(), strict=True)])
def test_two_sided_cusum_runs_are_those_of_lucas_and_crosier(shift: float, printed: str) -> None:
    assert two_sided_cusum_arl(0.5, 4, shift) == pytest.approx(float(printed), abs=half_unit(printed))


@pytest.mark.parametrize(("shift", "printed"), [*zip(SHIFTS, MONTGOMERY_5.split(), strict=False)])
def test_two_sided_cusum_runs_at_h_5_are_those_of_montgomery(shift: float, printed: str) -> None:
    # 139.49 prints 139 and 17.05 prints 17.0: the table cuts rather than rounds, so a whole unit is allowed there.
    allowed = 0.06 if shift == 0.75 else half_unit(printed)
    assert two_sided_cusum_arl(0.5, 5, shift) == pytest.approx(float(printed), abs=allowed)


@pytest.mark.parametrize(("shift", "printed"), [*zip(SHIFTS, LUCAS_CROSIER_4_AHEAD.split(), strict=True)])
def test_a_head_start_shortens_the_runs_as_lucas_and_crosier_print(shift: float, printed: str) -> None:
    found = two_sided_cusum_arl(0.5, 4, shift, head_start=2)
    # 1.3254 at shift 3 prints as 1.32: the table's own last digit is off by a hair.
    assert found == pytest.approx(float(printed), abs=half_unit(printed) + 5e-4)


def test_one_sided_cusum_runs_are_those_of_brook_and_evans_and_of_sas() -> None:
    # Brook & Evans (1972), Biometrika 59, 539-548, section 4.3; SAS/QC manual 1999, CUSUMARL.
    assert one_sided_cusum_arl(0.5, 3) == pytest.approx(117.59, abs=6e-3)
    assert one_sided_cusum_arl(0.5, 3, 1.5) == pytest.approx(3.75, abs=5e-3)
    assert one_sided_cusum_arl(0.25, 8, 2.5) == pytest.approx(4.1500836225, rel=5e-7)


def test_one_sided_runs_in_control_are_twice_the_two_sided_ones() -> None:
    # Computed: 335.4 and 930.9. Trap: a false-alarm figure must say which it uses.
    for h, one_sided in ((4, 335.4), (5, 930.9)):
        assert one_sided_cusum_arl(0.5, h) == pytest.approx(one_sided, abs=0.05)
        assert one_sided_cusum_arl(0.5, h) == pytest.approx(2 * two_sided_cusum_arl(0.5, h))


@pytest.mark.parametrize(("k", "h"), [(0.25, 8.01), (0.5, 4.77), (0.75, 3.34), (1.0, 2.52), (1.25, 1.99), (1.5, 1.61)])
def test_limits_for_a_run_of_370_are_those_of_hawkins(k: float, h: float) -> None:
    # Hawkins (1993) in Montgomery, Table 9.4; the last prints 1.61 where 1.604 is computed. 370 stands for 370.4.
    assert cusum_limit(370.4, k) == pytest.approx(h, abs=0.0065)


def test_a_limit_gives_back_the_run_it_was_made_for() -> None:
    for arl in (50, 1e3, 1e6):
        assert two_sided_cusum_arl(0.5, cusum_limit(arl)) == pytest.approx(arl, rel=1e-6)
        assert one_sided_cusum_arl(0.5, cusum_limit(arl, is_two_sided=False)) == pytest.approx(arl, rel=1e-6)
        assert ewma_arl(0.2, ewma_width(arl, 0.2)) == pytest.approx(arl, rel=1e-6)
    assert two_sided_cusum_arl(0.05, cusum_limit(5000, 0.05)) == pytest.approx(5000, rel=1e-6)


@pytest.mark.parametrize(("k", "h"), [(0.5, 12), (0.25, 20), (0.1, 30), (0.05, 60)])
def test_run_lengths_are_siegmunds_where_limits_are_wide(k: float, h: float) -> None:
    # Siegmund (1985): (exp(2kb) - 2kb - 1) / (2k²) with b = h + 1.166, good to a few percent (Montgomery, ch. 9).
    b = 2 * k * (h + 1.166)
    assert one_sided_cusum_arl(k, h) == pytest.approx((np.exp(b) - b - 1) / (2 * k * k), rel=0.1)


def test_a_run_beyond_all_digits_is_endless_and_leaves_the_other_side_alone() -> None:
    assert one_sided_cusum_arl(0.5, 8, -6) == ENDLESS
    assert two_sided_cusum_arl(0.5, 8, 6) == pytest.approx(one_sided_cusum_arl(0.5, 8, 6))


def test_a_run_nobody_can_wait_for_is_refused() -> None:
    with pytest.raises(ValueError, match="run length"):
        cusum_limit(1)
    with pytest.raises(ValueError, match="k >= 0"):
        one_sided_cusum_arl(0.5, 0)


# Lucas & Saccucci (1990), Technometrics 32, 1-12, Table 3: columns seen in print, two-sided, steady limits.
EWMA_SHIFTS = (0, 0.25, 0.5, 0.75, 1, 1.5, 2, 3, 4)
LUCAS_SACCUCCI = {
    (0.50, 3.071): "500 255 88.8 35.9 17.5 6.53 3.63 1.93 1.34",
    (0.03, 2.437): "500 76.7 29.3 17.6 12.6 8.07 5.99 4.03 3.11",
}


@pytest.mark.parametrize(("design", "row"), LUCAS_SACCUCCI.items())
def test_ewma_runs_are_those_of_lucas_and_saccucci(design: tuple[float, float], row: str) -> None:
    for shift, printed in zip(EWMA_SHIFTS, row.split(), strict=True):
        assert ewma_arl(*design, shift) == pytest.approx(float(printed), abs=half_unit(printed))


# The other columns of the same table as reproduced in Montgomery, Table 9.11 (computed independently).
@pytest.mark.parametrize(
    ("weight", "width", "row"),
    [
        (0.40, 3.054, "500.0 223.7 71.2 28.4 14.3 5.87 3.52 2.02 1.44"),
        (0.25, 2.998, "499.8 170.3 48.3 20.1 11.1 5.46 3.61 2.26 1.73"),
        (0.20, 2.962, "499.7 150.2 41.8 18.2 10.5 5.50 3.74 2.38 1.86"),
        (0.10, 2.814, "499.6 106.3 31.3 15.9 10.3 6.08 4.36 2.87 2.19"),
        (0.05, 2.615, "499.9 84.0 28.8 16.4 11.4 7.11 5.22 3.50 2.69"),
    ],
)
def test_ewma_runs_are_those_of_montgomery(weight: float, width: float, row: str) -> None:
    # 18.150 and 15.848 at shift 0.75 print as 18.2 and 15.9; the former is a rounding tie, the latter nearly one.
    for shift, printed in zip(EWMA_SHIFTS, row.split(), strict=True):
        assert ewma_arl(weight, width, shift) == pytest.approx(float(printed), abs=half_unit(printed) + 3e-3)


def test_ewma_runs_are_those_of_sas_and_crowder() -> None:
    # SAS/QC manual 1999, EWMAARL; Crowder (1987), Technometrics 29, 401-407, Table 1.
    assert ewma_arl(0.25, 3, 1) == pytest.approx(11.154267016, abs=5e-10)
    crowder = {0.5: "26.45 11.89 4.91 1.94 1.26", 0.05: "127.53 18.97 8.38 4.04 2.76"}
    for weight, row in crowder.items():
        for shift, printed in zip((0, 0.5, 1, 2, 3), row.split(), strict=True):
            # 1.945 prints as 1.94 in one edition and 1.95 in another.
            assert ewma_arl(weight, 2, shift) == pytest.approx(float(printed), abs=0.006)


def test_crowders_misprint_is_not_followed() -> None:
    # Table 1 prints 3.95 for weight 0.5, L = 2, shift 1.25; the digits are swapped.
    assert ewma_arl(0.5, 2, 1.25) == pytest.approx(3.59, abs=5e-3)


def test_ewma_widths_for_a_run_of_500_are_those_of_lucas_and_saccucci() -> None:
    # Trap: these belong to 500, not to 370.
    widths = {0.05: 2.615, 0.10: 2.814, 0.20: 2.962, 0.25: 2.998, 0.30: 3.023, 0.40: 3.054}
    for weight, width in widths.items():
        assert ewma_width(500, weight) == pytest.approx(width, abs=6e-4)


def test_ewma_widths_for_a_run_of_370_were_computed_elsewhere_alike() -> None:
    widths = {0.05: 2.490, 0.10: 2.702, 0.20: 2.859, 0.25: 2.898, 0.30: 2.925, 0.40: 2.959}
    for weight, width in widths.items():
        assert ewma_width(370.4, weight) == pytest.approx(width, abs=6e-4)
    assert ewma_arl(0.3, 3) == pytest.approx(465.6, abs=0.05)
    # Montgomery 9.2's chart (weight 0.1, L 2.7), shifts 0 and 1.
    assert (ewma_arl(0.1, 2.7), ewma_arl(0.1, 2.7, 1)) == (
        pytest.approx(369.0, abs=0.05),
        pytest.approx(9.73, abs=5e-3),
    )


def test_shewhart_runs_at_three_sigma_are_the_textbook_ones() -> None:
    printed = ["370.4", "281.2", "155.2", "81.2", "43.9", "14.97", "6.30", "2.00"]
    for shift, value in zip((0, 0.25, 0.5, 0.75, 1, 1.5, 2, 3), printed, strict=True):
        assert shewhart_arl(3, shift) == pytest.approx(float(value), abs=half_unit(value))


def test_an_ewma_of_weight_one_is_a_shewhart_chart() -> None:
    assert ewma_arl(1.0, 3.0, 0.5) == pytest.approx(shewhart_arl(3, 0.5), rel=1e-9)


def test_runs_shorten_with_the_shift_and_lengthen_with_the_limit() -> None:
    runs = [two_sided_cusum_arl(0.5, 4, shift) for shift in np.linspace(0, 4, 9)]
    assert runs == sorted(runs, reverse=True)
    assert two_sided_cusum_arl(0.5, 5) > two_sided_cusum_arl(0.5, 4)
    assert two_sided_cusum_arl(0.5, 4, -1) == pytest.approx(two_sided_cusum_arl(0.5, 4, 1))
