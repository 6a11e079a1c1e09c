import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interlock.reliability.figures import check_fraction, check_positive, check_rate, two_figures


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


def test_assumptions_stand_beside_the_figure() -> None:
    assert two_figures(1e-6, ["rates assumed", "no repair"]) == (
        "1.0e-6 (assuming rates assumed; no repair)"
    )


def test_what_is_not_a_number_is_not_shown() -> None:
    with pytest.raises(ValueError, match="not a number"):
        two_figures(math.nan)


def test_checks_refuse_what_is_out_of_range_and_name_it() -> None:
    for check, value in (
        (check_fraction, 1.01),
        (check_fraction, math.nan),
        (check_positive, 0),
        (check_rate, math.inf),
        (check_rate, -1),
    ):
        with pytest.raises(ValueError, match="beta is"):
            check("beta", value)
