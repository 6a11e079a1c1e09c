"""Published figures of ISO 13849-1, IEC 62061 and IEC 61508-6, each with its source.

Table K.1 has a file of its own, `test_table_k1.py`.
"""

import pytest

from interlock.reliability.channel import (
    capped_mttfd,
    cycles_per_year,
    dc_average,
    mttfd_of_parts,
    mttfd_years,
    symmetrised_mttfd,
    t10d_years,
)
from interlock.reliability.integrity_level import required_sil, sil_band, sil_band_on_demand
from interlock.reliability.performance_level import (
    Category,
    Coverage,
    MttfdBand,
    PerformanceLevel,
    level_in_series,
    pfhd_band,
    required_level,
    simplified_level,
)
from interlock.reliability.subsystems import (
    beta_of_points,
    subsystem_a,
    subsystem_b,
    subsystem_c,
    subsystem_d,
)
from interlock.reliability.voting import VotedChannel, pfd_1oo1, pfd_1oo2, pfd_2oo3


@pytest.mark.parametrize(
    ("risk", "letter"),
    [
        ((1, 1, 1), "a"),
        ((1, 1, 2), "b"),
        ((1, 2, 1), "b"),
        ((1, 2, 2), "c"),
        ((2, 1, 1), "c"),
        ((2, 1, 2), "d"),
        ((2, 2, 1), "d"),
        ((2, 2, 2), "e"),
    ],
)
def test_the_risk_graph_gives_the_required_level(risk: tuple[int, int, int], letter: str) -> None:
    # ISO 13849-1, Annex A.
    assert required_level(*risk).letter == letter


@pytest.mark.parametrize(
    ("low", "high", "letter"),
    [
        (1e-5, 1e-4, "a"),
        (3e-6, 1e-5, "b"),
        (1e-6, 3e-6, "c"),
        (1e-7, 1e-6, "d"),
        (1e-8, 1e-7, "e"),
    ],
)
def test_bands_of_pfhd_hold_their_lower_limit_and_not_their_upper(
    low: float, high: float, letter: str
) -> None:
    # ISO 13849-1, Table 3.
    assert pfhd_band(low).letter == letter
    assert pfhd_band(high * (1 - 1e-12)).letter == letter


def test_channels_of_3_and_100_years_symmetrise_to_66() -> None:
    # ISO 13849-1, Annex D: printed 66; recomputed 66.72.
    assert symmetrised_mttfd(3, 100, Category.THREE) == pytest.approx(66.72, abs=0.005)


def test_a_channel_is_capped_at_100_years_and_at_2500_in_category_4() -> None:
    # ISO 13849-1:2015, 4.5.2.
    assert capped_mttfd(1e6, Category.THREE) == 100
    assert capped_mttfd(1e6, Category.FOUR) == 2500


def test_the_b10d_example_gives_its_cycles_and_years() -> None:
    # ISO 13849-1, Annex C: B10d 60e6, 220 days, 16 hours, every 5 seconds.
    n_cycles = cycles_per_year(220, 16, 5)
    assert n_cycles == pytest.approx(2.5344e6)
    assert t10d_years(60e6, n_cycles) == pytest.approx(23.67, abs=0.005)
    assert mttfd_years(60e6, n_cycles) == pytest.approx(236.7, abs=0.05)


def test_the_parts_count_example_gives_26_95_years() -> None:
    # ISO 13849-1, Annex D, Table D.1. The total is published; the parts are from memory, and
    # give it: transistors, resistors, capacitors, relays, a contactor.
    parts = [(2, 1142), (5, 22831), (4, 5708), (4, 1256), (1, 32)]
    assert mttfd_of_parts(parts) == pytest.approx(26.95, abs=0.005)


def test_the_average_coverage_of_three_parts_is_77_percent() -> None:
    # ISO 13849-1, Annex E, formula; figures recomputed.
    assert dc_average([(0.99, 50), (0.60, 30), (0.90, 100)]) == pytest.approx(0.770526, abs=5e-7)


def test_iec_62061_subsystems_have_their_recomputed_rates() -> None:
    # IEC 62061, subsystems A to D: formulas of the standard, figures recomputed.
    assert subsystem_a([1e-6, 5e-7]) == pytest.approx(1.5e-6, rel=1e-9, abs=0)
    assert subsystem_b(1e-6, 1e-6, 0.1, 87_600) == pytest.approx(1.70956e-7, rel=1e-6, abs=0)
    assert subsystem_c([(1e-6, 0.9), (5e-7, 0.6)]) == pytest.approx(3.0e-7, rel=1e-9, abs=0)
    equal = (1e-6, 0.9)
    assert subsystem_d(equal, equal, 0.05, 87_600, 1) == pytest.approx(5.790671e-8, rel=1e-7, abs=0)


@pytest.mark.parametrize(("rate", "printed"), [(2.5e-6, "4.4e-03"), (5e-6, "8.8e-03")])
def test_one_channel_has_the_pfd_of_iec_61508_6(rate: float, printed: str) -> None:
    # IEC 61508-6, Annex B, tables for a proof test every year, MTTR 8 h: 1oo1, DC 60 %.
    assert f"{pfd_1oo1(VotedChannel(rate, 0.6, 8760)):.1e}" == printed


def test_three_sensors_have_the_pfd_of_the_example_in_iec_61508_6() -> None:
    # IEC 61508-6, Annex B, example: 2oo3, DC 90 %, beta 20 %, beta_D 10 %, a test every year.
    sensors = VotedChannel(2.5e-6, 0.9, 8760, beta=0.2, beta_d=0.1)
    assert f"{pfd_2oo3(sensors):.1e}" == "2.3e-04"


def test_two_channels_have_the_pfd_of_the_example_in_iec_61508_6() -> None:
    # IEC 61508-6, Annex B (from memory): 1oo2, λD 5E-06, DC 60 %, beta 10 %, 8 h. The interval that
    # goes with the figure is a year (recomputed); half a year would give 4.6E-04.
    pair = VotedChannel(5e-6, 0.6, 8760, beta=0.1, beta_d=0.05)
    assert f"{pfd_1oo2(pair):.1e}" == "9.7e-04"


@pytest.mark.parametrize(
    ("category", "coverage", "letters"),
    [
        (Category.B, Coverage.NONE, "ab-"),
        (Category.ONE, Coverage.NONE, "--c"),
        (Category.TWO, Coverage.LOW, "abc"),
        (Category.TWO, Coverage.MEDIUM, "bcd"),
        (Category.THREE, Coverage.LOW, "bcd"),
        (Category.THREE, Coverage.MEDIUM, "cdd"),
        (Category.FOUR, Coverage.HIGH, "--e"),
    ],
)
def test_the_simplified_procedure_gives_its_levels(
    category: Category, coverage: Coverage, letters: str
) -> None:
    # ISO 13849-1, 4.5.4, simplified procedure (from memory): MTTFd low, medium, high.
    for band, letter in zip(MttfdBand, letters, strict=True):
        if letter == "-":
            with pytest.raises(ValueError, match="no level"):
                simplified_level(category, coverage, band)
        else:
            assert simplified_level(category, coverage, band).letter == letter


@pytest.mark.parametrize(
    ("lowest", "n", "reached"),
    [
        ("a", 3, "a"),
        ("a", 4, None),
        ("b", 2, "b"),
        ("b", 3, "a"),
        ("c", 2, "c"),
        ("c", 3, "b"),
        ("d", 3, "d"),
        ("d", 4, "c"),
        ("e", 3, "e"),
        ("e", 4, "d"),
    ],
)
def test_subsystems_in_series_reach_the_level_of_the_table(
    lowest: str, n: int, reached: str | None
) -> None:
    # ISO 13849-1, 6.3 (from memory): how many of the lowest level there are.
    found = level_in_series([PerformanceLevel[lowest.upper()]] * n)
    assert (found.letter if found else None) == reached


@pytest.mark.parametrize(
    ("points", "beta"),
    [
        (0, 0.10),
        (34, 0.10),
        (35, 0.05),
        (50, 0.05),
        (66, 0.02),
        (84, 0.02),
        (86, 0.01),
        (100, 0.01),
    ],
)
def test_points_against_common_cause_give_the_fraction(points: float, beta: float) -> None:
    # IEC 62061, Annex F (from memory): below 35 10 %, to 65 5 %, to 85 2 %, to 100 1 %.
    assert beta_of_points(points) == beta


def test_where_two_ranges_of_points_meet_the_greater_fraction_is_taken() -> None:
    # IEC 62061, Annex F prints 65 and 85 in two ranges each; a decision of ours.
    assert (beta_of_points(65), beta_of_points(85)) == (0.05, 0.02)


@pytest.mark.parametrize(
    ("severity", "classes", "sil"),
    [
        (4, range(3, 11), 2),
        (4, range(11, 16), 3),
        (3, range(3, 8), None),
        (3, range(8, 11), 1),
        (3, range(11, 14), 2),
        (3, range(14, 16), 3),
        (2, range(3, 11), None),
        (2, range(11, 14), 1),
        (2, range(14, 16), 2),
        (1, range(3, 14), None),
        (1, range(14, 16), 1),
    ],
)
def test_the_assignment_of_sil_follows_severity_and_class(
    severity: int, classes: range, sil: int | None
) -> None:
    # IEC 62061, Annex A (from memory): Cl = Fr + Pr + Av.
    found = {
        fr + pr + av: required_sil(severity, fr, pr, av)
        for fr in range(1, 6)
        for pr in range(1, 6)
        for av in (1, 3, 5)
    }
    assert {found[one] for one in classes} == {sil}


def test_the_bands_of_sil_hold_their_lower_limit_and_not_their_upper() -> None:
    # IEC 62061 and IEC 61508-1, target failure measures (from memory).
    assert [sil_band(x) for x in (1e-8, 9.99e-8, 1e-7, 1e-6, 9.99e-6, 1e-5)] == [
        *(3, 3, 2, 1, 1),
        None,
    ]
    assert [sil_band_on_demand(x) for x in (1e-4, 1e-3, 1e-2, 9.99e-2, 1e-1)] == [
        *(3, 2, 1, 1),
        None,
    ]
