"""Published figures of ISO 13849-1, IEC 62061 and IEC 61508-6, each with its source."""

import pytest

from interlock.reliability.channel import (
    CCF_POINTS_NEEDED,
    capped_mttfd,
    ccf_suffices,
    cycles_per_year,
    dc_average,
    mttfd_of_parts,
    mttfd_years,
    symmetrised_mttfd,
    t10d_years,
)
from interlock.reliability.performance_level import Category, pfhd_band, required_level
from interlock.reliability.pfhd import single_channel_pfhd, tabled_pfhd, two_channel_pfhd
from interlock.reliability.subsystems import subsystem_a, subsystem_b, subsystem_c, subsystem_d
from interlock.reliability.voting import VotedChannel, pfd_1oo1, pfd_2oo3


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
    ("years", "pfhd", "letter"),
    [(3, 3.80e-5, "a"), (10, 1.14e-5, "a"), (30, 3.80e-6, "b"), (100, 1.14e-6, "c")],
)
def test_a_single_channel_has_the_pfhd_of_table_k1(years: float, pfhd: float, letter: str) -> None:
    # ISO 13849-1, Table K.1, columns B and 1 (from memory). Printed with three digits; 3.805E-05
    # and 3.805E-06 are printed as 3.80.
    figure = single_channel_pfhd(years)
    assert figure == pytest.approx(pfhd, rel=2e-3, abs=0)
    assert pfhd_band(figure).letter == letter


@pytest.mark.parametrize(
    ("category", "dc", "years", "pfhd", "letter"),
    [
        (Category.THREE, 0.90, 10, 1.36e-6, "c"),
        (Category.THREE, 0.90, 30, 2.65e-7, "d"),
        (Category.THREE, 0.90, 62, 8.84e-8, "e"),
        (Category.THREE, 0.90, 100, 4.29e-8, "e"),
        (Category.FOUR, 0.99, 30, 9.54e-8, "e"),
        (Category.FOUR, 0.99, 100, 2.47e-8, "e"),
    ],
)
def test_two_channels_have_the_pfhd_of_table_k1_and_the_model_is_near_it(
    category: Category, dc: float, years: float, pfhd: float, letter: str
) -> None:
    # ISO 13849-1, Table K.1 (from memory, cross-checked here by a two-channel model).
    figure = tabled_pfhd(category, dc, years)
    assert (figure.pfhd_per_h, figure.row_years) == (pfhd, years)
    assert pfhd_band(pfhd).letter == letter
    # What the model's docstring claims.
    assert -0.035 <= two_channel_pfhd(years, dc) / pfhd - 1 <= 0.01


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


def test_65_points_against_common_cause_failure_suffice() -> None:
    # ISO 13849-1, Annex F.
    assert CCF_POINTS_NEEDED == 65
    assert ccf_suffices([65])
    assert not ccf_suffices([64])


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
