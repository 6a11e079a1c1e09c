import math

import pytest

from interlock.reliability.channel import (
    capped_mttfd,
    ccf_suffices,
    cycles_per_year,
    dc_average,
    mttfd_of_parts,
    symmetrised_mttfd,
    t10d_years,
)
from interlock.reliability.performance_level import Category


def test_only_category_4_counts_beyond_100_years_and_only_since_2015() -> None:
    assert capped_mttfd(5000, Category.THREE) == 100
    assert capped_mttfd(5000, Category.FOUR) == 2500
    assert capped_mttfd(5000, Category.FOUR, edition=2006) == 100
    assert capped_mttfd(math.inf, Category.B) == 100
    assert capped_mttfd(40, Category.FOUR) == 40


def test_channels_are_capped_before_they_are_symmetrised() -> None:
    capped_first = symmetrised_mttfd(3, 100, Category.THREE)
    assert symmetrised_mttfd(3, 4000, Category.THREE) == capped_first


def test_like_channels_stay_as_they_are() -> None:
    assert symmetrised_mttfd(42, 42, Category.THREE) == pytest.approx(42)


def test_parts_without_dangerous_failures_change_nothing() -> None:
    assert mttfd_of_parts([(1, 40), (7, math.inf)]) == pytest.approx(40)
    assert mttfd_of_parts([(7, math.inf)]) == math.inf


def test_a_channel_without_parts_is_refused() -> None:
    with pytest.raises(ValueError, match="no parts"):
        mttfd_of_parts([])


@pytest.mark.parametrize("years", [0, -1, math.nan])
def test_an_mttfd_that_is_not_positive_is_refused(years: float) -> None:
    with pytest.raises(ValueError, match="MTTFd"):
        mttfd_of_parts([(1, years)])


def test_figures_of_use_must_be_positive() -> None:
    with pytest.raises(ValueError, match="cycle time"):
        cycles_per_year(220, 16, 0)
    with pytest.raises(ValueError, match="B10d"):
        t10d_years(0, 1)


def test_a_part_that_cannot_fail_has_no_weight_in_the_average_coverage() -> None:
    assert dc_average([(0.9, 50), (0.0, math.inf)]) == pytest.approx(0.9)
    with pytest.raises(ValueError, match="no part can fail"):
        dc_average([(0.9, math.inf)])
    with pytest.raises(ValueError, match="DC"):
        dc_average([(90, 50)])


def test_points_against_common_cause_count_from_0_to_100() -> None:
    assert ccf_suffices([15, 20, 15, 5, 5, 5])
    assert not ccf_suffices([])
    for wrong in ([-5, 80], [60, 41], [math.nan]):
        with pytest.raises(ValueError, match="points claimed"):
            ccf_suffices(wrong)
