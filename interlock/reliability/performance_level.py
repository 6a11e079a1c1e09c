"""ISO 13849-1: the required performance level, and the bands that claimed figures fall into.

A band is the result of a comparison. It is not a performance level awarded to a design: that
also asks for the category's qualities, for software, systematic failures and validation.
"""

from __future__ import annotations

from enum import Enum, IntEnum

from interlock.reliability.figures import check_fraction, check_positive


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

    NONE = 0
    LOW = 1
    MEDIUM = 2
    HIGH = 3


class MttfdBand(IntEnum):
    """Bands of the mean time to dangerous failure of a channel, MTTFd."""

    LOW = 1
    MEDIUM = 2
    HIGH = 3


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


def coverage_band(dc: float) -> Coverage:
    """The band of a diagnostic coverage: none, low from 60 %, medium from 90 %, high from 99 %.

    Parameters
    ----------
    dc : float
        Diagnostic coverage as a fraction, 0..1.

    Source
    ------
    ISO 13849-1, table of denotations of DC (from memory).
    """
    check_fraction("DC", dc)
    limits = ((0.99, Coverage.HIGH), (0.90, Coverage.MEDIUM), (0.60, Coverage.LOW))
    return next((band for limit, band in limits if dc >= limit), Coverage.NONE)


def mttfd_band(mttfd_years: float) -> MttfdBand:
    """The band of a channel's MTTFd: low from 3 years, medium from 10, high from 30.

    Raises
    ------
    ValueError
        Below 3 years, which the standard does not accept.

    Source
    ------
    ISO 13849-1, table of denotations of MTTFd (from memory).
    """
    limits = ((30, MttfdBand.HIGH), (10, MttfdBand.MEDIUM), (3, MttfdBand.LOW))
    for limit, band in limits:
        if mttfd_years >= limit:
            return band
    raise ValueError(f"MTTFd {mttfd_years} y is too low for a channel; expected 3 y or more")
