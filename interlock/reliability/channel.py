"""ISO 13849-1: the figures of a channel, from its parts to MTTFd and DCavg.

All of it is exact: a figure counts as it was written (`figures.exactly`), and what is made of
several is a fraction until it is shown.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from interlock.reliability.figures import Number, check_fraction, check_positive, exactly
from interlock.reliability.performance_level import Category

CCF_POINTS_NEEDED = 65
# How long a machine is taken to be used; what wears out earlier is replaced by then.
MISSION_YEARS = 20


def cycles_per_year(
    days_per_year: Number, hours_per_day: Number, seconds_per_cycle: Number
) -> Fraction:
    """Mean number of operations in a year, nop.

    Source
    ------
    ISO 13849-1, Annex C: nop = dop · hop · 3600 s/h / tcycle.
    """
    check_positive("days per year", days_per_year)
    check_positive("hours per day", hours_per_day)
    check_positive("cycle time", seconds_per_cycle)
    return exactly(days_per_year) * exactly(hours_per_day) * 3600 / exactly(seconds_per_cycle)


def t10d_years(b10d_cycles: Number, n_cycles_per_year: Number) -> Fraction:
    """Mean time until 10 % of such parts have failed dangerously; they are replaced by then.

    Source
    ------
    ISO 13849-1, Annex C: T10d = B10d / nop.
    """
    check_positive("B10d", b10d_cycles)
    check_positive("cycles per year", n_cycles_per_year)
    return exactly(b10d_cycles) / exactly(n_cycles_per_year)


def mttfd_years(b10d_cycles: Number, n_cycles_per_year: Number) -> Fraction:
    """Mean time to dangerous failure of a part that wears with its cycles.

    Source
    ------
    ISO 13849-1, Annex C: MTTFd = B10d / (0.1 · nop).
    """
    return 10 * t10d_years(b10d_cycles, n_cycles_per_year)


def mttfd_of_parts(parts: Iterable[tuple[int, Number]]) -> Fraction:
    """MTTFd in years of a channel that fails when one of its parts does.

    Parameters
    ----------
    parts : iterable of (int, float or Fraction)
        How many of one part, and the MTTFd of each in years.

    Raises
    ------
    ValueError
        If there are no parts, or a count or an MTTFd is not positive.

    Source
    ------
    ISO 13849-1, Annex D: 1/MTTFd = Σ nj/MTTFdj.
    """
    total = Fraction(0)
    for count, years in parts:
        check_positive("count of parts", count)
        check_positive("MTTFd", years)
        total += count / exactly(years)
    if not total:
        raise ValueError("no parts; expected at least one")
    return 1 / total


def capped_mttfd(years: Number, category: Category, edition: int = 2015) -> Fraction:
    """MTTFd of a channel in years, not above what the standard lets it count for.

    Parameters
    ----------
    edition : int, optional
        Year of ISO 13849-1. From 2015 on a channel of category 4 counts for up to 2,500 years;
        in the 2006 edition, and in the other categories, for up to 100.
    """
    check_positive("MTTFd", years)
    limit = 2500 if category is Category.FOUR and edition >= 2015 else 100
    return min(exactly(years), Fraction(limit))


def symmetrised_mttfd(
    years_1: Number, years_2: Number, category: Category, edition: int = 2015
) -> Fraction:
    """One MTTFd in years for two unlike channels. Each is capped first.

    Source
    ------
    ISO 13849-1, Annex D: 2/3 · [M1 + M2 − 1/(1/M1 + 1/M2)].
    """
    m1 = capped_mttfd(years_1, category, edition)
    m2 = capped_mttfd(years_2, category, edition)
    return Fraction(2, 3) * (m1 + m2 - 1 / (1 / m1 + 1 / m2))


def dc_average(parts: Iterable[tuple[Number, Number]]) -> Fraction:
    """Average diagnostic coverage, DCavg.

    Parameters
    ----------
    parts : iterable of (float or Fraction, float or Fraction)
        Coverage (0..1) and MTTFd in years of every part of all channels; an untested part counts
        with coverage 0.

    Raises
    ------
    ValueError
        If there are no parts, or a figure is out of range.

    Source
    ------
    ISO 13849-1, Annex E: Σ(DCi/MTTFdi) / Σ(1/MTTFdi).
    """
    covered, total = Fraction(0), Fraction(0)
    for dc, years in parts:
        check_fraction("DC", dc)
        check_positive("MTTFd", years)
        covered += exactly(dc) / exactly(years)
        total += 1 / exactly(years)
    if not total:
        raise ValueError("no parts; an average coverage has no meaning")
    return covered / total
