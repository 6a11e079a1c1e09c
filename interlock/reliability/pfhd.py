"""PFHd of a designated architecture of ISO 13849-1: the rows carried, and a model beside them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from interlock.reliability.channel import capped_mttfd
from interlock.reliability.figures import HOURS_PER_YEAR, check_fraction, check_positive
from interlock.reliability.performance_level import (
    Category,
    Coverage,
    coverage_band,
    mttfd_band,
)

MISSION_YEARS = 20

# ISO 13849-1, Table K.1, from memory: (MTTFd in years, PFHd per hour). Only these rows are
# carried; `two_channel_pfhd` agrees with each of them within 4 %.
_TABLE: dict[tuple[Category, Coverage], tuple[tuple[int, float], ...]] = {
    (Category.THREE, Coverage.MEDIUM): (
        (10, 1.36e-6),
        (30, 2.65e-7),
        (62, 8.84e-8),
        (100, 4.29e-8),
    ),
    (Category.FOUR, Coverage.HIGH): ((30, 9.54e-8), (100, 2.47e-8)),
}


class RowNotCarriedError(ValueError):
    """The table row that was asked for is not carried here."""


@dataclass(frozen=True)
class TabledFigure:
    """A PFHd and where it was read.

    Attributes
    ----------
    pfhd_per_h : float
    row_years : float
        The MTTFd of the row used; never above the one asked for.
    column : str
    source : str
    """

    pfhd_per_h: float
    row_years: float
    column: str
    source: str


def single_channel_pfhd(mttfd_years: float) -> float:
    """PFHd per hour of one untested channel, categories B and 1: its dangerous failure rate.

    Parameters
    ----------
    mttfd_years : float
        At least 3; counts for at most 100.

    Source
    ------
    ISO 13849-1, Table K.1, columns B and 1, equal to 1/(8760 · MTTFd).
    """
    mttfd_band(mttfd_years)
    return 1 / (HOURS_PER_YEAR * capped_mttfd(mttfd_years, Category.ONE))


def tabled_pfhd(category: Category, dc_avg: float, mttfd_years: float) -> TabledFigure:
    """Read PFHd from the rows of Table K.1 that are carried here.

    Between two rows the lower one counts: that is never the better figure. A category-3 design
    with a high coverage is read in the column for medium, the best that category has.

    Parameters
    ----------
    category : Category
    dc_avg : float
        Average diagnostic coverage, 0..1; plays no part in categories B and 1.
    mttfd_years : float
        Of each channel, symmetrised where they differ.

    Raises
    ------
    RowNotCarriedError
        If no carried row serves; it names the rows that are carried.
    ValueError
        If the figures do not go with the category.

    Source
    ------
    ISO 13849-1, Table K.1 (from memory, cross-checked by a two-channel model).
    """
    mttfd_band(mttfd_years)
    band = coverage_band(dc_avg)
    if category in (Category.B, Category.ONE):
        row = capped_mttfd(mttfd_years, category)
        return TabledFigure(
            single_channel_pfhd(mttfd_years), row, f"category {category.value}", "1/(8760·MTTFd)"
        )
    if category is Category.FOUR and band is not Coverage.HIGH:
        raise ValueError(f"category 4 needs a DCavg of 99 % or more; {dc_avg:.2%} is claimed")
    if category is not Category.FOUR:
        band = min(band, Coverage.MEDIUM)
    rows = [r for r in _TABLE.get((category, band), ()) if r[0] <= mttfd_years]
    if not rows:
        raise RowNotCarriedError(_not_carried(category, band, mttfd_years))
    years, pfhd = rows[-1]
    column = f"category {category.value}, DCavg {band.name.lower()}"
    return TabledFigure(pfhd, years, column, "ISO 13849-1, Table K.1, from memory")


def _not_carried(category: Category, band: Coverage, mttfd_years: float) -> str:
    carried = "; ".join(
        f"category {c.value} with DCavg {b.name.lower()} at {', '.join(str(y) for y, _ in rows)} y"
        for (c, b), rows in _TABLE.items()
    )
    return (
        f"Table K.1 for category {category.value}, DCavg {band.name.lower()}, MTTFd "
        f"{mttfd_years:g} y is not carried: read the standard. Carried: categories B and 1 by "
        f"formula; {carried}"
    )


def two_channel_pfhd(
    mttfd_years: float, dc: float, beta: float = 0.02, mission_years: float = MISSION_YEARS
) -> float:
    """PFHd per hour of two like channels with mutual diagnosis, by a Markov model.

    This is a model to cross-check a figure from the table, not the table. Its assumptions: both
    channels fail dangerously at the rate 1/MTTFd; the fraction `beta` of that strikes both at
    once; a failure that is detected leads to the safe state at once and is repaired; one that is
    not stays until the other channel fails too; nothing is tested or renewed during the mission.
    The figure is the mean over the mission, up to the first dangerous failure. Against the
    carried rows of Table K.1 it lies between 3.5 % below (MTTFd 10 y) and 1 % above.

    Parameters
    ----------
    mttfd_years : float
        Of each channel; not capped here.
    dc : float
        Diagnostic coverage, 0..1; for a band of the table its lower limit.
    beta : float, optional
        Common-cause fraction, 0..1. 2 % is what Table K.1 rests on (from memory).
    mission_years : float, optional

    Source
    ------
    Follows from the assumptions: OK –2(1−β)λ(1−DC)→ one lost –(1−β)λ→ both lost.
    """
    check_positive("MTTFd", mttfd_years)
    check_positive("mission time", mission_years)
    check_fraction("DC", dc)
    check_fraction("beta", beta)
    rate = 1 / (HOURS_PER_YEAR * mttfd_years)
    mission_h = mission_years * HOURS_PER_YEAR
    first = 2 * (1 - beta) * rate * (1 - dc) * mission_h
    second = (1 - beta) * rate * mission_h
    gap = second - first
    # (exp(-first) - exp(-second)) / gap, which tends to exp(-first) as the two rates meet.
    spread = math.exp(-first) * (-math.expm1(-gap) / gap if gap else 1.0)
    lost = max(0.0, -math.expm1(-first) - first * spread)
    return lost / mission_h + beta * rate
