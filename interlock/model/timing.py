"""Time in a model: the unit that is counted in, the time from scan to scan, how both are rounded.

A span of so many milliseconds is at least a whole number of units, rounded down, and at most one
that is rounded up. Whatever may happen after it may happen from the one on, whatever must happen by
its end must by the other: more can happen than with the span itself, never less.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from interlock.base.errors import Place

TICK = "tick"
"""Name of the move by which one unit of time passes."""

CLOCK = "clock."
"""With a move's name behind it: the units for which what that move waits for has lasted."""

MOST_UNITS = 20_000
"""A clock has a value for each unit, so no span may have more of them."""


@dataclass(frozen=True)
class Timing:
    """Time as a model counts it.

    Attributes
    ----------
    unit_ms : int
    scan_least_ms, scan_greatest_ms : int
        From one scan to the next.
    place : Place
        Where the model asks for time.
    """

    unit_ms: int
    scan_least_ms: int
    scan_greatest_ms: int
    place: Place = field(default=Place("", 0, 0), compare=False)

    def __str__(self) -> str:
        return f"unit {self.unit_ms} ms, {self.scans}"

    @property
    def scans(self) -> str:
        """How far apart scans are, in words."""
        least, greatest = self.scan_least_ms, self.scan_greatest_ms
        if least == greatest:
            return f"scans {least} ms apart"
        return f"scans {least} to {greatest} ms apart"

    @property
    def says(self) -> str:
        """What is assumed of time, as a sentence without an end."""
        return (
            f"time passes in units of {self.unit_ms} ms, {self.scans}; moves with a duration "
            "happen in their time, and take no turn"
        )


@dataclass(frozen=True)
class Units:
    """A span in whole units, rounded outwards: at least `least`, at most `greatest` if any."""

    least: int
    greatest: int | None

    @property
    def counted(self) -> int:
        """The last value of a clock that matters."""
        return self.least if self.greatest is None else self.greatest


def in_units(least_ms: Fraction | int, greatest_ms: Fraction | int | None, unit_ms: int) -> Units:
    """A span of time in whole units.

    Examples
    --------
    >>> in_units(150, 250, 100)
    Units(least=1, greatest=3)
    """
    greatest = None if greatest_ms is None else int(-(-greatest_ms // unit_ms))
    return Units(int(least_ms // unit_ms), greatest)


def units_of_delay(ms: float, unit_ms: int) -> int:
    """The units that lie at most between a value and its effect, both ends of a delay included.

    Examples
    --------
    >>> units_of_delay(150, 100)
    2
    """
    return int(-(-Fraction(str(ms)) // unit_ms))


def ms_of(seconds: float) -> Fraction:
    """Seconds as they were written, in milliseconds: 2.01 s are 2010 ms and no little less."""
    return 1000 * Fraction(str(seconds))
