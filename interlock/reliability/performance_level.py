"""ISO 13849-1: the required performance level, and the bands that claimed figures fall into.

A band is the result of a comparison. It is not a performance level awarded to a design: that
also asks for the category's qualities, for software, systematic failures and validation.
"""

from __future__ import annotations

from collections.abc import Collection
from enum import Enum, IntEnum, auto

from interlock.reliability.figures import (
    Number,
    check_fraction,
    check_positive,
    exactly,
    kept_apart,
)


class PerformanceLevel(IntEnum):
    """The five levels, in order: ``PerformanceLevel.D < PerformanceLevel.E``."""

    A = 1
    B = 2
    C = 3
    D = 4
    E = 5

    @property
    def letter(self) -> str:
        """The level as the standard writes it: a, b, c, d or e."""
        return self.name.lower()


class Category(Enum):
    """The categories of ISO 13849-1, clause 6.2."""

    B = "B"
    ONE = "1"
    TWO = "2"
    THREE = "3"
    FOUR = "4"


class Coverage(IntEnum):
    """Bands of the average diagnostic coverage, DCavg."""

    NONE = auto()
    LOW = auto()
    MEDIUM = auto()
    HIGH = auto()


class MttfdBand(IntEnum):
    """Bands of the mean time to dangerous failure of a channel, MTTFd."""

    LOW = auto()
    MEDIUM = auto()
    HIGH = auto()


_L = PerformanceLevel

# ISO 13849-1, Annex A, risk graph: (severity, frequency, avoidance).
_RISK_GRAPH: dict[tuple[int, int, int], PerformanceLevel] = {
    (1, 1, 1): _L.A,
    (1, 1, 2): _L.B,
    (1, 2, 1): _L.B,
    (1, 2, 2): _L.C,
    (2, 1, 1): _L.C,
    (2, 1, 2): _L.D,
    (2, 2, 1): _L.D,
    (2, 2, 2): _L.E,
}

# ISO 13849-1, Table 3: upper limits of PFHd per hour, exclusive.
_PFHD_LIMITS: tuple[tuple[float, PerformanceLevel], ...] = (
    (1e-7, _L.E),
    (1e-6, _L.D),
    (3e-6, _L.C),
    (1e-5, _L.B),
    (1e-4, _L.A),
)

# ISO 13849-1, denotations of DC and MTTFd: where each band begins.
COVERAGE_PERCENT = {Coverage.NONE: 0, Coverage.LOW: 60, Coverage.MEDIUM: 90, Coverage.HIGH: 99}
MTTFD_YEARS = {MttfdBand.LOW: 3, MttfdBand.MEDIUM: 10, MttfdBand.HIGH: 30}

# ISO 13849-1, 6.2.5 to 6.2.7: the least coverage that a category asks for, and the highest level
# that one can reach; categories that are not named ask for none, or reach e.
LEAST_COVERAGE = {
    Category.TWO: Coverage.LOW,
    Category.THREE: Coverage.LOW,
    Category.FOUR: Coverage.HIGH,
}
HIGHEST_LEVEL = {Category.B: _L.B, Category.ONE: _L.C, Category.TWO: _L.D}

# ISO 13849-1, 4.5.4: by category and DCavg, the levels for an MTTFd that is low, medium, high.
_SIMPLIFIED: dict[tuple[Category, Coverage], dict[MttfdBand, PerformanceLevel]] = {
    (category, coverage): {
        band: PerformanceLevel[letter.upper()]
        for band, letter in zip(MttfdBand, letters, strict=True)
        if letter != "-"
    }
    for category, coverage, letters in (
        (Category.B, Coverage.NONE, "ab-"),
        (Category.ONE, Coverage.NONE, "--c"),
        (Category.TWO, Coverage.LOW, "abc"),
        (Category.TWO, Coverage.MEDIUM, "bcd"),
        (Category.THREE, Coverage.LOW, "bcd"),
        (Category.THREE, Coverage.MEDIUM, "cdd"),
        (Category.FOUR, Coverage.HIGH, "--e"),
    )
}


def required_level(severity: int, frequency: int, avoidance: int) -> PerformanceLevel:
    """The required performance level, PLr, by the risk graph.

    Parameters
    ----------
    severity, frequency, avoidance : int
        1 or 2 each: S1 or S2, F1 or F2, P1 or P2.

    Raises
    ------
    ValueError
        If one of them is neither 1 nor 2.

    Source
    ------
    ISO 13849-1, Annex A.

    Examples
    --------
    >>> required_level(2, 1, 2).letter
    'd'
    """
    for name, value in (("S", severity), ("F", frequency), ("P", avoidance)):
        if value not in (1, 2):
            raise ValueError(f"{name}{value} is not in the risk graph; expected {name}1 or {name}2")
    return _RISK_GRAPH[severity, frequency, avoidance]


def pfhd_band(pfhd_per_h: float) -> PerformanceLevel:
    """The level whose band of PFHd a claimed figure falls into; this awards nothing.

    A figure below 1e-8 per hour stays in band e.

    Parameters
    ----------
    pfhd_per_h : float
        Average probability of a dangerous failure per hour.

    Raises
    ------
    ValueError
        If the figure is 0 or less, or 1e-4 or more, for which there is no band.

    Source
    ------
    ISO 13849-1, Table 3.
    """
    check_positive("PFHd", pfhd_per_h)
    for limit, level in _PFHD_LIMITS:
        if pfhd_per_h < limit:
            return level
    raise ValueError(f"PFHd {pfhd_per_h} per hour is in no band; expected less than 1e-4")


def coverage_band(dc: Number) -> Coverage:
    """The band of a diagnostic coverage: none, low from 60 %, medium from 90 %, high from 99 %.

    Parameters
    ----------
    dc : float or Fraction
        Diagnostic coverage, 0..1.

    Source
    ------
    ISO 13849-1, table of denotations of DC (from memory).
    """
    check_fraction("DC", dc)
    reached = [band for band, percent in COVERAGE_PERCENT.items() if exactly(dc) * 100 >= percent]
    return max(reached)


def mttfd_band(mttfd_years: Number) -> MttfdBand:
    """The band of a channel's MTTFd: low from 3 years, medium from 10, high from 30.

    Raises
    ------
    ValueError
        Below 3 years, which the standard does not accept.

    Source
    ------
    ISO 13849-1, table of denotations of MTTFd (from memory).
    """
    reached = [band for band, years in MTTFD_YEARS.items() if exactly(mttfd_years) >= years]
    if not reached:
        shown = kept_apart(mttfd_years, MTTFD_YEARS.values())
        raise ValueError(f"MTTFd {shown} y is too low for a channel; expected 3 y or more")
    return max(reached)


def counted_coverage(category: Category, band: Coverage) -> Coverage:
    """The band of DCavg that a category is read with, in Table K.1 and the simplified procedure.

    None in categories B and 1, where coverage plays no part; at most medium in 2 and 3.

    Raises
    ------
    ValueError
        If the category needs a better band.

    Source
    ------
    ISO 13849-1, 4.5.4 and Table K.1 (from memory).
    """
    if category in (Category.B, Category.ONE):
        return Coverage.NONE
    least = LEAST_COVERAGE[category]
    if band < least:
        raise ValueError(
            f"category {category.value} needs a DCavg of {COVERAGE_PERCENT[least]} % or more; "
            f"it is {band.name.lower()}"
        )
    return band if category is Category.FOUR else min(band, Coverage.MEDIUM)


def simplified_level(category: Category, coverage: Coverage, mttfd: MttfdBand) -> PerformanceLevel:
    """The level that the simplified procedure estimates; this awards nothing.

    Raises
    ------
    ValueError
        If the procedure has no level for them.

    Source
    ------
    ISO 13849-1, 4.5.4, simplified procedure (from memory).

    Examples
    --------
    >>> simplified_level(Category.THREE, Coverage.LOW, MttfdBand.HIGH).letter
    'd'
    """
    counted = counted_coverage(category, coverage)
    level = _SIMPLIFIED[category, counted].get(mttfd)
    if level is None:
        raise ValueError(
            f"the simplified procedure has no level for category {category.value} with an MTTFd "
            f"that is {mttfd.name.lower()}"
        )
    return level


def level_in_series(levels: Collection[PerformanceLevel]) -> PerformanceLevel | None:
    """The level that subsystems in series reach where only their levels are known.

    The lowest counts; of many that are lowest, one less.

    Returns
    -------
    PerformanceLevel or None
        None where more than three reach only a: the standard gives no level then.

    Raises
    ------
    ValueError
        If there is no subsystem.

    Source
    ------
    ISO 13849-1, 6.3 (from memory): of a, d and e three may be lowest, of b and c two.

    Examples
    --------
    >>> level_in_series([_L.E, _L.C, _L.C, _L.C]).letter
    'b'
    """
    if not levels:
        raise ValueError("no subsystems; expected at least one")
    lowest = min(levels)
    n_lowest = sum(level is lowest for level in levels)
    if n_lowest <= (2 if lowest in (_L.B, _L.C) else 3):
        return lowest
    return None if lowest is _L.A else PerformanceLevel(lowest - 1)
