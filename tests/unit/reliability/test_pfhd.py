import pytest
from hypothesis import given
from hypothesis import strategies as st

from interlock.reliability.performance_level import Category
from interlock.reliability.pfhd import (
    RowNotCarriedError,
    single_channel_pfhd,
    tabled_pfhd,
    two_channel_pfhd,
)


def test_between_two_rows_the_worse_one_counts() -> None:
    assert tabled_pfhd(Category.THREE, 0.9, 61.9).row_years == 30
    assert tabled_pfhd(Category.THREE, 0.9, 62).row_years == 62
    assert tabled_pfhd(Category.THREE, 0.9, 5000).row_years == 100


def test_category_3_with_high_coverage_is_read_in_the_medium_column() -> None:
    assert tabled_pfhd(Category.THREE, 0.99, 30) == tabled_pfhd(Category.THREE, 0.9, 30)


@pytest.mark.parametrize(
    ("category", "dc", "years"),
    [(Category.TWO, 0.9, 30), (Category.THREE, 0.6, 30), (Category.THREE, 0.9, 9)],
)
def test_a_row_that_is_not_carried_is_refused_and_the_carried_ones_are_named(
    category: Category, dc: float, years: float
) -> None:
    with pytest.raises(RowNotCarriedError, match=r"read the standard.*10, 30, 62, 100 y"):
        tabled_pfhd(category, dc, years)


def test_category_4_refuses_less_than_99_percent_coverage() -> None:
    with pytest.raises(ValueError, match="99 %"):
        tabled_pfhd(Category.FOUR, 0.98, 100)


def test_a_channel_below_3_years_is_refused() -> None:
    with pytest.raises(ValueError, match="too low"):
        single_channel_pfhd(2)


@given(st.floats(3, 2500), st.floats(0, 1), st.floats(0, 1))
def test_two_channels_are_never_worse_than_both_failing_apart_nor_better_than_common_cause(
    years: float, dc: float, beta: float
) -> None:
    rate = 1 / (8760 * years)
    pfhd = two_channel_pfhd(years, dc, beta)
    assert beta * rate <= pfhd <= (1 + beta) * rate


def test_the_two_channel_model_is_smooth_where_its_two_rates_meet() -> None:
    # DC 50 % makes the first and the second failure equally fast.
    around = [two_channel_pfhd(30, dc) for dc in (0.5 - 1e-9, 0.5, 0.5 + 1e-9)]
    assert around == pytest.approx([around[1]] * 3, rel=1e-7, abs=0)


def test_the_two_channel_model_agrees_with_a_numeric_integration() -> None:
    years, dc, beta = 10, 0.6, 0.02
    rate = (1 - beta) / (8760 * years)
    fine, lost_one, lost_both = 1.0, 0.0, 0.0
    step_h = 20 * 8760 / 100_000
    for _ in range(100_000):
        first = fine * 2 * rate * (1 - dc) * step_h
        second = lost_one * rate * step_h
        fine, lost_one, lost_both = fine - first, lost_one + first - second, lost_both + second
    expected = lost_both / (20 * 8760) + beta / (8760 * years)
    assert two_channel_pfhd(years, dc, beta) == pytest.approx(expected, rel=1e-4, abs=0)
