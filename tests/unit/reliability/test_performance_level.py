from fractions import Fraction

import pytest

from interlock.reliability.performance_level import (
    Category,
    Coverage,
    MttfdBand,
    PerformanceLevel,
    counted_coverage,
    coverage_band,
    level_in_series,
    mttfd_band,
    pfhd_band,
    required_level,
    simplified_level,
)


def test_levels_are_ordered_from_a_to_e() -> None:
    assert [level.letter for level in sorted(PerformanceLevel)] == list("abcde")


@pytest.mark.parametrize("wrong", [(0, 1, 1), (1, 3, 1), (1, 1, -1)])
def test_the_risk_graph_refuses_parameters_it_does_not_have(wrong: tuple[int, int, int]) -> None:
    with pytest.raises(ValueError, match="not in the risk graph"):
        required_level(*wrong)


def test_a_graver_risk_never_asks_for_less() -> None:
    corners = [(s, f, p) for s in (1, 2) for f in (1, 2) for p in (1, 2)]
    for one in corners:
        for other in corners:
            if all(a <= b for a, b in zip(one, other, strict=True)):
                assert required_level(*one) <= required_level(*other)


@pytest.mark.parametrize("outside", [0.0, -1e-8, 1e-4, 1.0, float("nan")])
def test_a_figure_outside_the_bands_is_refused(outside: float) -> None:
    with pytest.raises(ValueError, match="PFHd"):
        pfhd_band(outside)


def test_coverage_bands_start_at_60_90_and_99_percent() -> None:
    # ISO 13849-1, denotations of DC, from memory.
    below_and_at = [(0.5999, 0.60), (0.8999, 0.90), (0.9899, 0.99)]
    bands = [(coverage_band(below), coverage_band(at)) for below, at in below_and_at]
    assert bands == [
        (Coverage.NONE, Coverage.LOW),
        (Coverage.LOW, Coverage.MEDIUM),
        (Coverage.MEDIUM, Coverage.HIGH),
    ]


def test_no_coverage_is_a_band_and_less_is_refused() -> None:
    assert coverage_band(0) is Coverage.NONE
    with pytest.raises(ValueError, match=r"DC is -0\.1"):
        coverage_band(-0.1)
    with pytest.raises(ValueError, match="DC is 99"):
        coverage_band(99)


def test_mttfd_bands_start_at_3_10_and_30_years() -> None:
    # ISO 13849-1, denotations of MTTFd, from memory.
    assert [mttfd_band(years) for years in (3, 9.99, 10, 29.99, 30)] == [
        MttfdBand.LOW,
        MttfdBand.LOW,
        MttfdBand.MEDIUM,
        MttfdBand.MEDIUM,
        MttfdBand.HIGH,
    ]
    with pytest.raises(ValueError, match="too low"):
        mttfd_band(2.99)


def test_a_band_is_reached_as_on_paper_and_not_as_in_binary() -> None:
    assert coverage_band(Fraction(9, 10)) is Coverage.MEDIUM
    assert coverage_band(Fraction(9, 10) - Fraction(1, 10**30)) is Coverage.LOW
    assert mttfd_band(Fraction(30) - Fraction(1, 10**30)) is MttfdBand.MEDIUM


def test_a_category_is_read_with_no_better_coverage_than_it_has_a_column_for() -> None:
    assert counted_coverage(Category.ONE, Coverage.HIGH) is Coverage.NONE
    assert counted_coverage(Category.TWO, Coverage.HIGH) is Coverage.MEDIUM
    assert counted_coverage(Category.FOUR, Coverage.HIGH) is Coverage.HIGH
    with pytest.raises(ValueError, match="category 4 needs a DCavg of 99 % or more; it is medium"):
        counted_coverage(Category.FOUR, Coverage.MEDIUM)


def test_the_simplified_procedure_refuses_what_it_has_no_level_for() -> None:
    with pytest.raises(ValueError, match="no level for category B with an MTTFd that is high"):
        simplified_level(Category.B, Coverage.NONE, MttfdBand.HIGH)
    with pytest.raises(ValueError, match="category 2 needs a DCavg of 60 % or more; it is none"):
        simplified_level(Category.TWO, Coverage.NONE, MttfdBand.HIGH)


def test_the_lowest_level_counts_however_many_better_ones_there_are() -> None:
    better = [PerformanceLevel.E] * 20 + [PerformanceLevel.D] * 20
    assert level_in_series([PerformanceLevel.C, *better]) is PerformanceLevel.C


def test_a_series_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="no subsystems"):
        level_in_series([])
