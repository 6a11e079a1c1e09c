import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interlock.reliability.channel import (
    CCF_POINTS_NEEDED,
    MISSION_YEARS,
    capped_mttfd,
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
    assert capped_mttfd(5000, Category.FOUR, edition=2014) == 100
    assert symmetrised_mttfd(5000, 5000, Category.FOUR) == 2500
    assert symmetrised_mttfd(5000, 5000, Category.FOUR, edition=2014) == 100
    assert capped_mttfd(1e12, Category.B) == 100
    assert capped_mttfd(40, Category.FOUR) == 40


def test_channels_are_capped_before_they_are_symmetrised() -> None:
    capped_first = symmetrised_mttfd(3, 100, Category.THREE)
    assert symmetrised_mttfd(3, 4000, Category.THREE) == capped_first


def test_like_channels_stay_as_they_are() -> None:
    assert symmetrised_mttfd(42, 42, Category.THREE) == 42
    # In binary arithmetic this is 3.2999999999999994.
    assert symmetrised_mttfd(3.3, 3.3, Category.THREE) == Fraction(33, 10)


@given(st.integers(1, 1000), st.decimals(3, 100, places=3))
def test_like_parts_in_any_grouping_are_exactly_their_share(n: int, years: object) -> None:
    whole = Fraction(str(years))
    assert mttfd_of_parts([(n, n * whole)]) == whole
    assert mttfd_of_parts([(1, 7 * whole)] * 7) == whole


def test_a_channel_without_parts_is_refused() -> None:
    with pytest.raises(ValueError, match="no parts"):
        mttfd_of_parts([])


@pytest.mark.parametrize("years", [0, -1, math.nan, math.inf])
def test_an_mttfd_that_is_not_positive_is_refused(years: float) -> None:
    with pytest.raises(ValueError, match="MTTFd"):
        mttfd_of_parts([(1, years)])


@pytest.mark.parametrize(
    ("figures", "named"),
    [((0, 16, 5), "days per year"), ((220, -1, 5), "hours per day"), ((220, 16, 0), "cycle time")],
)
def test_figures_of_use_must_be_positive(figures: tuple[float, float, float], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        cycles_per_year(*figures)


def test_figures_of_wear_must_be_positive() -> None:
    with pytest.raises(ValueError, match="B10d"):
        t10d_years(0, 1)
    with pytest.raises(ValueError, match="cycles per year"):
        t10d_years(1, 0)
    with pytest.raises(ValueError, match="count of parts"):
        mttfd_of_parts([(0, 50), (1, 50)])
    with pytest.raises(ValueError, match="MTTFd"):
        capped_mttfd(-1, Category.THREE)
    with pytest.raises(ValueError, match="MTTFd"):
        dc_average([(0.9, -50), (0.9, 20)])


def test_what_the_standard_asks_for_is_65_points_and_20_years() -> None:
    # ISO 13849-1, Annex F (65 points) and the mission time of 20 years, from memory.
    assert (CCF_POINTS_NEEDED, MISSION_YEARS) == (65, 20)


def test_like_coverages_have_that_coverage_as_their_average() -> None:
    parts = [(0.9, 70.1), (0.9, 33.3), (0.9, 1e6)]
    assert dc_average(parts) == Fraction(9, 10)
    assert dc_average([*parts, (0.8999999999, 1e6)]) < Fraction(9, 10)
    with pytest.raises(ValueError, match="no parts"):
        dc_average([])
    with pytest.raises(ValueError, match="DC"):
        dc_average([(90, 50)])
