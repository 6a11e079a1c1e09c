import pytest
from hypothesis import given
from hypothesis import strategies as st

from interlock.reliability.subsystems import (
    beta_of_points,
    subsystem_a,
    subsystem_b,
    subsystem_c,
    subsystem_d,
)

RATES = st.floats(1e-15, 1e-4)
FRACTIONS = st.floats(0, 1)


def test_a_subsystem_without_elements_does_not_fail() -> None:
    assert subsystem_a([]) == 0
    assert subsystem_c([]) == 0


@given(RATES, RATES, FRACTIONS, st.floats(1, 2e5))
def test_without_diagnosis_d_is_b(r1: float, r2: float, beta: float, t1_h: float) -> None:
    d = subsystem_d((r1, 0), (r2, 0), beta, t1_h, t2_h=1)
    expected = (1 - beta) ** 2 * r1 * r2 * t1_h + beta * (r1 + r2) / 2
    assert subsystem_b(r1, r2, beta, t1_h) == pytest.approx(expected, rel=1e-12, abs=0)
    assert d == pytest.approx(expected, rel=1e-12, abs=0)


@given(RATES, FRACTIONS, FRACTIONS, st.floats(1, 2e5), st.floats(0.1, 1000))
def test_the_formula_for_unlike_elements_gives_that_for_equal_ones(
    rate: float, dc: float, beta: float, t1_h: float, t2_h: float
) -> None:
    both = subsystem_d((rate, dc), (rate, dc), beta, t1_h, t2_h)
    inner = rate**2 * 2 * dc * t2_h / 2 + rate**2 * (1 - dc) * t1_h
    assert both == pytest.approx((1 - beta) ** 2 * inner + beta * rate, rel=1e-9, abs=0)


def test_figures_out_of_range_are_refused() -> None:
    for call in (
        lambda: subsystem_a([-1e-6]),
        lambda: subsystem_b(1e-6, 1e-6, 1.1, 87_600),
        lambda: subsystem_b(1e-6, 1e-6, 0.1, 0),
        lambda: subsystem_b(1e-6, 1e-6, 0.1, -1),
        lambda: subsystem_c([(1e-6, 90)]),
        lambda: subsystem_c([(-1e-6, 0.9)]),
        lambda: subsystem_d((-1e-6, 0.9), (1e-6, 0.9), 0.1, 87_600, 1),
        lambda: subsystem_d((1e-6, 0.9), (1e-6, 90), 0.1, 87_600, 1),
        lambda: subsystem_d((1e-6, 0.9), (1e-6, 0.9), 0.1, 0, 1),
        lambda: subsystem_d((1e-6, 0.9), (1e-6, 0.9), 0.1, 87_600, -1),
    ):
        with pytest.raises(ValueError, match="expected"):
            call()


@given(st.floats(0, 100), st.floats(0, 100))
def test_more_points_against_common_cause_never_give_a_greater_fraction(
    some: float, others: float
) -> None:
    assert beta_of_points(max(some, others)) <= beta_of_points(min(some, others))


@pytest.mark.parametrize("points", [-1, 100.5, float("nan")])
def test_points_that_there_cannot_be_are_refused(points: float) -> None:
    with pytest.raises(ValueError, match="expected 0 to 100"):
        beta_of_points(points)
