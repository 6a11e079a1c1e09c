"""PFHd of a designated architecture of ISO 13849-1: reading Table K.1."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.reliability.channel import capped_mttfd
from interlock.reliability.figures import Number, exactly, kept_apart
from interlock.reliability.performance_level import (
    Category,
    Coverage,
    counted_coverage,
    coverage_band,
    mttfd_band,
)
from interlock.reliability.table_k1 import TABLE_K1

SOURCE = "ISO 13849-1, Table K.1, from memory"


@dataclass(frozen=True)
class TabledFigure:
    """A PFHd and where it was read.

    Attributes
    ----------
    pfhd_per_h : float
    row_years : float
        The MTTFd of the row used; never above the one asked for.
    next_row_years : float or None
        The MTTFd of the row after it, which is not reached; None at the end of the column.
    column : str
    source : str
    """

    pfhd_per_h: float
    row_years: float
    next_row_years: float | None
    column: str
    source: str


def tabled_pfhd(
    category: Category, dc_avg: Number, mttfd_years: Number, edition: int = 2015
) -> TabledFigure:
    """Read PFHd from Table K.1.

    Between two rows the row with the lower MTTFd counts: that is never the better figure. There
    is no tolerance: an MTTFd is compared as exactly as it was worked out (`figures.exactly`), so
    30 years made of any parts are in the row of 30, and anything below is not. A category-2 or
    category-3 design with a high coverage is read in the column for medium, their best.

    Parameters
    ----------
    category : Category
    dc_avg : float or Fraction
        Average diagnostic coverage, 0..1; plays no part in categories B and 1.
    mttfd_years : float or Fraction
        Of each channel, symmetrised where they differ.
    edition : int, optional
        Year of ISO 13849-1; the 2006 edition ends at 100 years, also for category 4.

    Raises
    ------
    ValueError
        If the figures do not go with the category.

    Source
    ------
    ISO 13849-1, Table K.1 (from memory).
    """
    mttfd_band(mttfd_years)
    counted = counted_coverage(category, coverage_band(dc_avg))
    column = TABLE_K1[Category.ONE if category is Category.B else category, counted]
    longest = capped_mttfd(column[-1][0], category, edition)
    rows = [row for row in column if row[0] <= longest]
    years = capped_mttfd(mttfd_years, category, edition)
    reached = [row for row in rows if exactly(row[0]) <= years]
    if not reached:
        shown = kept_apart(years, [rows[0][0]])
        raise ValueError(
            f"category {category.value} needs an MTTFd of {rows[0][0]:g} y or more; it is {shown} y"
        )
    row_years, pfhd = reached[-1]
    next_row = rows[len(reached)][0] if len(reached) < len(rows) else None
    head = f"category {category.value}"
    if counted is not Coverage.NONE:
        head += f", DCavg {counted.name.lower()}"
    return TabledFigure(pfhd, row_years, next_row, head, SOURCE)
