"""ISO 13849-1: the figures of a channel, from its parts to MTTFd, DCavg and the CCF score."""

from __future__ import annotations

import math
from collections.abc import Iterable

from interlock.reliability.figures import check_fraction, check_positive
from interlock.reliability.performance_level import Category

CCF_POINTS_NEEDED = 65
CCF_POINTS_IN_ALL = 100


def cycles_per_year(days_per_year: float, hours_per_day: float, seconds_per_cycle: float) -> float:
    """Mean number of operations in a year, nop.

    Source
    ------
    ISO 13849-1, Annex C: nop = dop · hop · 3600 s/h / tcycle.
    """
    check_positive("days per year", days_per_year)
    check_positive("hours per day", hours_per_day)
    check_positive("cycle time", seconds_per_cycle)
    return days_per_year * hours_per_day * 3600 / seconds_per_cycle


def t10d_years(b10d_cycles: float, n_cycles_per_year: float) -> float:
    """Mean time until 10 % of such parts have failed dangerously; they are replaced by then.

    Source
    ------
    ISO 13849-1, Annex C: T10d = B10d / nop.
    """
    check_positive("B10d", b10d_cycles)
    check_positive("cycles per year", n_cycles_per_year)
    return b10d_cycles / n_cycles_per_year


def mttfd_years(b10d_cycles: float, n_cycles_per_year: float) -> float:
    """Mean time to dangerous failure of a part that wears with its cycles.

    Source
    ------
    ISO 13849-1, Annex C: MTTFd = B10d / (0.1 · nop).
    """
    return t10d_years(b10d_cycles, n_cycles_per_year) / 0.1


def mttfd_of_parts(parts: Iterable[tuple[int, float]]) -> float:
    """MTTFd in years of a channel that fails when one of its parts does.

    Parameters
    ----------
    parts : iterable of (int, float)
        How many of one part, and the MTTFd of each in years; infinite where its faults are
        excluded.

    Raises
    ------
    ValueError
        If there are no parts, or a count or an MTTFd is not positive.

    Source
    ------
    ISO 13849-1, Annex D: 1/MTTFd = Σ nj/MTTFdj.
    """
    terms = []
    for count, years in parts:
        check_positive("count of parts", count)
        check_positive("MTTFd", years)
        terms.append(count / years)
    if not terms:
        raise ValueError("no parts; expected at least one")
    total = math.fsum(terms)
    return 1 / total if total else math.inf


def capped_mttfd(years: float, category: Category, edition: int = 2015) -> float:
    """MTTFd of a channel in years, not above what the standard lets it count for.

    Parameters
    ----------
    edition : int, optional
        Year of ISO 13849-1. From 2015 on a channel of category 4 counts for up to 2,500 years;
        in the 2006 edition, and in the other categories, for up to 100.
    """
    check_positive("MTTFd", years)
    limit = 2500.0 if category is Category.FOUR and edition >= 2015 else 100.0
    return min(years, limit)


def symmetrised_mttfd(
    years_1: float, years_2: float, category: Category, edition: int = 2015
) -> float:
    """One MTTFd in years for two unlike channels. Each is capped first.

    Source
    ------
    ISO 13849-1, Annex D: 2/3 · [M1 + M2 − 1/(1/M1 + 1/M2)].
    """
    m1 = capped_mttfd(years_1, category, edition)
    m2 = capped_mttfd(years_2, category, edition)
    return 2 / 3 * (m1 + m2 - 1 / (1 / m1 + 1 / m2))


def dc_average(parts: Iterable[tuple[float, float]]) -> float:
    """Average diagnostic coverage, DCavg, as a fraction.

    Parameters
    ----------
    parts : iterable of (float, float)
        Coverage (0..1) and MTTFd in years of every part of all channels; an untested part counts
        with coverage 0, one whose faults are excluded with an infinite MTTFd.

    Raises
    ------
    ValueError
        If no part can fail, or a figure is out of range.

    Source
    ------
    ISO 13849-1, Annex E: Σ(DCi/MTTFdi) / Σ(1/MTTFdi).
    """
    covered, all_terms = [], []
    for dc, years in parts:
        check_fraction("DC", dc)
        check_positive("MTTFd", years)
        covered.append(dc / years)
        all_terms.append(1 / years)
    total = math.fsum(all_terms)
    if total == 0:
        raise ValueError("no part can fail; an average coverage has no meaning")
    return math.fsum(covered) / total


def ccf_suffices(points: Iterable[float]) -> bool:
    """Whether claimed points against common-cause failure reach 65 of 100.

    Parameters
    ----------
    points : iterable of float
        The points claimed for each measure; a measure gives all its points or none.

    Raises
    ------
    ValueError
        If a claim is negative or the claims exceed 100 in all.

    Source
    ------
    ISO 13849-1, Annex F.
    """
    claimed = list(points)
    total = math.fsum(claimed)
    if any(not p >= 0 for p in claimed) or total > CCF_POINTS_IN_ALL:
        raise ValueError(f"{total:g} points claimed; expected 0 to {CCF_POINTS_IN_ALL} in all")
    return total >= CCF_POINTS_NEEDED
