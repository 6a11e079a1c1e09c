import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interlock.reliability.figures import (
    HOURS_PER_YEAR,
    check_fraction,
    check_positive,
    check_rate,
    exactly,
    kept_apart,
    percent,
    two_figures,
)


@pytest.mark.parametrize(
    ("x", "shown"),
    [
        (0.0, "0"),
        (3.501584875e-5, "3.5e-5"),
        (9.99e-5, "1.0e-4"),
        (0.000996, "0.0010"),
        (0.0297, "0.030"),
        (0.028, "0.028"),
        (0.5, "0.50"),
        (1.0, "1.0"),
        (66.72, "67"),
        (8760, "8800"),
        (999_999, "1.0e6"),
        (-0.0123, "-0.012"),
        (math.inf, "infinite"),
        (-math.inf, "-infinite"),
        (123_456, "120000"),
        (1e-300, "1.0e-300"),
    ],
)
def test_a_figure_has_at_most_two_significant_digits(x: float, shown: str) -> None:
    assert two_figures(x) == shown


@given(st.floats(1e-300, 1e300))
def test_the_shown_figure_is_within_five_percent_and_has_two_digits(x: float) -> None:
    shown = two_figures(x)
    assert float(shown) == pytest.approx(x, rel=0.0501, abs=0)
    digits = shown.split("e")[0].replace(".", "").strip("0")
    assert len(digits) <= 2


def test_what_is_not_a_number_is_not_shown() -> None:
    with pytest.raises(ValueError, match="not a number"):
        two_figures(math.nan)


def test_checks_refuse_what_is_out_of_range_and_name_it() -> None:
    for check, value in (
        (check_fraction, 1.01),
        (check_fraction, math.nan),
        (check_positive, 0),
        (check_positive, math.inf),
        (check_positive, math.nan),
        (check_fraction, -0.01),
        (check_rate, math.inf),
        (check_rate, -1),
    ):
        with pytest.raises(ValueError, match="beta is"):
            check("beta", value)


def test_checks_take_the_ends_of_their_ranges() -> None:
    for end in (0, 1):
        check_fraction("DC", end)
        check_rate("rate", end)


def test_a_year_is_taken_to_have_8760_hours() -> None:
    # 365 days of 24 hours, as the tables of IEC 61508-6 reckon (T1 of one year is 8760 h).
    assert HOURS_PER_YEAR == 365 * 24


@given(st.decimals(allow_nan=False, allow_infinity=False, places=9, min_value=0, max_value=99999))
def test_a_figure_counts_as_it_was_written(written: object) -> None:
    assert exactly(float(str(written))) == Fraction(str(written))


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_no_figure_changes_by_being_taken_exactly(x: float) -> None:
    assert float(exactly(x)) == x


@pytest.mark.parametrize("x", [math.inf, -math.inf, math.nan])
def test_what_is_no_number_cannot_be_taken_exactly(x: float) -> None:
    with pytest.raises(ValueError, match="Fraction"):
        exactly(x)


@pytest.mark.parametrize(
    ("x", "shown"),
    [
        (29.4, "29"),
        (29.6, "29.6"),
        (29.9, "29.9"),
        (29.99999, "29.99999"),
        (30, "30"),
        (30.1, "30"),
    ],
)
def test_a_figure_below_a_limit_is_not_shown_as_having_reached_it(x: float, shown: str) -> None:
    assert kept_apart(x, [30]) == shown


def test_a_figure_has_no_more_digits_than_keep_it_below() -> None:
    # The float next to 30 needs seventeen digits, a percentage has fifteen decimals at most.
    assert kept_apart(math.nextafter(30, 0), [30]) == "29.999999999999996"
    assert percent(Fraction("0.12345")) == "12%"
    assert percent(Fraction("0.00899999999999999"), [0.9]) == "0.899999999999999%"
    assert percent(Fraction("0.008999999999999999"), [0.9]) == "less than 0.9%"


def test_what_no_digits_keep_below_a_limit_is_called_less() -> None:
    assert kept_apart(30 - Fraction(1, 10**40), [30]) == "less than 30"
    assert percent(Fraction(9, 10) - Fraction(1, 10**40), [90]) == "less than 90%"


@given(st.floats(0, 1))
def test_a_coverage_is_shown_on_its_side_of_every_limit(dc: float) -> None:
    shown = percent(dc, [60, 90, 99])
    for limit in (60, 90, 99):
        if 100 * exactly(dc) < limit:
            assert shown.startswith("less than") or float(shown[:-1]) < limit
