from fractions import Fraction

import pytest

from interlock.reliability.category import (
    Claim,
    DeclaredTest,
    Evidence,
    conflicting_figures,
    contradictions,
)
from interlock.reliability.performance_level import Category, PerformanceLevel


def losing(*sets: str, undetected: str = "") -> Evidence:
    return Evidence(tuple(frozenset(s.split()) for s in sets), frozenset(undetected.split()))


def found(category: Category, evidence: Evidence) -> list[tuple[str, ...]]:
    return [one.faults for one in contradictions(Claim(category), evidence)]


@pytest.mark.parametrize("category", list(Category))
def test_losing_the_function_without_a_fault_contradicts_every_category(category: Category) -> None:
    assert found(category, losing("")) == [()]


@pytest.mark.parametrize("category", list(Category))
def test_no_loss_gives_no_contradiction(category: Category) -> None:
    assert found(category, losing(undetected="F01 F02")) == []


@pytest.mark.parametrize("category", [Category.B, Category.ONE])
def test_categories_b_and_1_may_lose_the_function_to_one_fault(category: Category) -> None:
    assert found(category, losing("F01", undetected="F01")) == []


def test_category_2_is_contradicted_only_by_a_loss_that_its_check_misses() -> None:
    assert found(Category.TWO, losing("F01", "F02", undetected="F02")) == [("F02",)]


def test_category_3_is_contradicted_by_a_single_fault_and_not_by_a_pair() -> None:
    evidence = losing("F02", "F01 F03", "F01", undetected="F01 F03")
    assert found(Category.THREE, evidence) == [("F01",), ("F02",)]
    assert found(Category.THREE, losing("F01 F03", undetected="F01 F03")) == []


def test_category_4_is_contradicted_by_a_pair_that_starts_with_an_undetected_fault() -> None:
    assert found(Category.FOUR, losing("F01 F03", undetected="F03")) == [("F01", "F03")]
    assert found(Category.FOUR, losing("F01 F03")) == []


def test_category_4_needs_all_but_the_last_fault_of_three_undetected() -> None:
    assert found(Category.FOUR, losing("A B C", undetected="A")) == []
    assert found(Category.FOUR, losing("A B C", undetected="A C")) == [("A", "B", "C")]


def test_a_set_that_contains_a_losing_one_is_not_told_again() -> None:
    assert found(Category.FOUR, losing("A", "A B", undetected="A B")) == [("A",)]


def test_a_contradiction_names_the_statement_and_the_faults() -> None:
    [one] = contradictions(Claim(Category.FOUR), losing("F01 F03", undetected="F03"))
    assert str(one) == (
        "category 4: an accumulation of undetected faults does not lead to the loss: "
        "F01 with F03 loses it (F03 undetected)"
    )


def test_figures_that_do_not_go_with_the_category_are_told() -> None:
    claim = Claim(Category.FOUR, PerformanceLevel.E, dc_avg=0.98, mttfd_years=29, ccf_points=60)
    assert [str(one) for one in conflicting_figures(claim)] == [
        "category 4 needs a DCavg that is at least high: 98.0% is claimed",
        "category 4 needs an MTTFd of 30 y or more: 29 y is claimed",
        "category 4 needs 65 points against common-cause failure: 60 are claimed",
    ]


@pytest.mark.parametrize(
    ("category", "level", "reachable"),
    [
        (Category.B, PerformanceLevel.B, True),
        (Category.B, PerformanceLevel.C, False),
        (Category.ONE, PerformanceLevel.C, True),
        (Category.ONE, PerformanceLevel.D, False),
        (Category.TWO, PerformanceLevel.D, True),
        (Category.TWO, PerformanceLevel.E, False),
        (Category.THREE, PerformanceLevel.E, True),
    ],
)
def test_a_category_has_a_highest_level(
    category: Category, level: PerformanceLevel, reachable: bool
) -> None:
    # ISO 13849-1, 6.2.3 to 6.2.5, from memory.
    claim = Claim(category, level, test=DeclaredTest(100, 50))
    assert (conflicting_figures(claim) == []) == reachable


def test_figures_that_go_with_the_category_or_are_not_claimed_are_fine() -> None:
    assert conflicting_figures(Claim(Category.FOUR, None, 0.99, 30, 65)) == []
    assert conflicting_figures(Claim(Category.B, None, 0.0, 3, 0)) == []
    assert conflicting_figures(Claim(Category.THREE)) == []
    assert len(conflicting_figures(Claim(Category.B, mttfd_years=2))) == 1


def against_category_2(test: DeclaredTest | None, mttfd_years: float | None = 60) -> list[str]:
    claim = Claim(Category.TWO, None, 0.9, mttfd_years, 65, test)
    return [str(one) for one in conflicting_figures(claim)]


def test_category_2_needs_test_equipment_and_no_other_category_does() -> None:
    # ISO 13849-1, 6.2.5, from memory.
    assert against_category_2(None) == ["category 2 needs test equipment: none is declared"]
    for category in (Category.B, Category.ONE, Category.THREE, Category.FOUR):
        assert conflicting_figures(Claim(category)) == []


def test_category_2_is_tested_100_times_as_often_as_it_is_demanded() -> None:
    # ISO 13849-1, 4.5.4, from memory.
    assert against_category_2(DeclaredTest(100, 30)) == []
    assert against_category_2(DeclaredTest(99.99, 30)) == [
        "category 2 needs at least 100 tests for each demand: 99.99 are declared"
    ]
    assert len(against_category_2(DeclaredTest(100 - Fraction(1, 10**30), 30))) == 1


def test_what_tests_lasts_at_least_half_as_long_as_what_is_tested() -> None:
    # ISO 13849-1, 4.5.4, from memory.
    assert against_category_2(DeclaredTest(100, 29.9)) == [
        "category 2 needs test equipment with at least half the MTTFd of its channel: "
        "29.9 y are declared, half is 30 y"
    ]
    assert against_category_2(DeclaredTest(100, 1), mttfd_years=None) == []


def test_65_points_against_common_cause_failure_suffice() -> None:
    # ISO 13849-1, Annex F.
    assert conflicting_figures(Claim(Category.THREE, ccf_points=65)) == []
    assert len(conflicting_figures(Claim(Category.THREE, ccf_points=64.5))) == 1


def test_without_a_category_only_a_loss_without_any_fault_speaks_against_it() -> None:
    assert conflicting_figures(Claim(None, PerformanceLevel.E, 0, 1, 0)) == []
    assert contradictions(Claim(None), losing("F01", undetected="F01")) == []
    assert [one.faults for one in contradictions(Claim(None), losing(""))] == [()]
