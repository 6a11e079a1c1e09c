import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interlock.reliability.figures import (
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
        (check_rate, math.inf),
        (check_rate, -1),
    ):
        with pytest.raises(ValueError, match="beta is"):
            check("beta", value)


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
    [(29.4, "29"), (29.9, "29.9"), (29.99999, "29.99999"), (30, "30"), (30.1, "30")],
)
def test_a_figure_below_a_limit_is_not_shown_as_having_reached_it(x: float, shown: str) -> None:
    assert kept_apart(x, [30]) == shown


def test_what_no_digits_keep_below_a_limit_is_called_less() -> None:
    assert kept_apart(30 - Fraction(1, 10**40), [30]) == "less than 30"
    assert percent(Fraction(9, 10) - Fraction(1, 10**40), [90]) == "less than 90%"


@given(st.floats(0, 1))
def test_a_coverage_is_shown_on_its_side_of_every_limit(dc: float) -> None:
    shown = percent(dc, [60, 90, 99])
    for limit in (60, 90, 99):
        if 100 * exactly(dc) < limit:
            assert shown.startswith("less than") or float(shown[:-1]) < limit
