from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interlock.reliability.channel import mttfd_of_parts
from interlock.reliability.performance_level import Category, Coverage
from interlock.reliability.pfhd import tabled_pfhd
from interlock.reliability.table_k1 import TABLE_K1


def test_between_two_rows_the_worse_one_counts_and_the_next_is_named() -> None:
    found = tabled_pfhd(Category.THREE, 0.9, 61.9)
    assert (found.row_years, found.next_row_years) == (56, 62)
    assert tabled_pfhd(Category.THREE, 0.9, 62).row_years == 62
    last = tabled_pfhd(Category.THREE, 0.9, 5000)
    assert (last.row_years, last.next_row_years) == (100, None)


def test_categories_2_and_3_with_high_coverage_are_read_in_the_medium_column() -> None:
    for category in (Category.TWO, Category.THREE):
        assert tabled_pfhd(category, 0.99, 30) == tabled_pfhd(category, 0.9, 30)


def test_coverage_plays_no_part_in_categories_b_and_1() -> None:
    assert tabled_pfhd(Category.B, 0.99, 27).pfhd_per_h == 4.23e-6
    assert tabled_pfhd(Category.B, 0, 27).column == "category B"
    assert tabled_pfhd(Category.ONE, 0, 31).column == "category 1"


@pytest.mark.parametrize(
    ("category", "dc", "least"),
    [(Category.TWO, 0.59, 60), (Category.THREE, 0.5999, 60), (Category.FOUR, 0.98, 99)],
)
def test_a_category_refuses_less_coverage_than_it_asks_for(
    category: Category, dc: float, least: int
) -> None:
    with pytest.raises(ValueError, match=f"needs a DCavg of {least} % or more"):
        tabled_pfhd(category, dc, 100)


@pytest.mark.parametrize(
    ("category", "years", "says"),
    [
        (Category.B, 2.99, "MTTFd 2.99 y is too low for a channel"),
        (Category.FOUR, 29.999, "category 4 needs an MTTFd of 30 y or more; it is 29.999 y"),
    ],
)
def test_too_few_years_are_refused_and_not_shown_as_enough(
    category: Category, years: float, says: str
) -> None:
    with pytest.raises(ValueError, match=says):
        tabled_pfhd(category, 0.99, years)


ROWS = st.sampled_from([row for row, _ in TABLE_K1[Category.FOUR, Coverage.HIGH]])


@given(ROWS, st.lists(st.integers(1, 9), min_size=1, max_size=9))
def test_years_made_of_parts_reach_a_row_exactly_or_not_at_all(
    row: float, weights: list[int]
) -> None:
    # Parts that share the failure rate by weight: together exactly the row's.
    parts = [(1, exactly_shared(row, weight, sum(weights))) for weight in weights]
    assert tabled_pfhd(Category.FOUR, 0.99, mttfd_of_parts(parts)).row_years == row
    # One of them worse by less than any float can tell: the row is not reached.
    count, years = parts[0]
    parts[0] = (count, years * (1 - Fraction(1, 10**40)))
    worse = mttfd_of_parts(parts)
    assert float(worse) == row
    if row == 30:
        with pytest.raises(ValueError, match="less than 30 y"):
            tabled_pfhd(Category.FOUR, 0.99, worse)
    else:
        assert tabled_pfhd(Category.FOUR, 0.99, worse).row_years < row


def exactly_shared(row: float, weight: int, total: int) -> Fraction:
    return Fraction(str(row)) * total / weight
