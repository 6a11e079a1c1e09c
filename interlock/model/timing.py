"""Time in a model: the unit that is counted in, the time from scan to scan, how both are rounded.

A span of so many milliseconds is at least a whole number of units, rounded down, and at most one
that is rounded up. Whatever may happen after it may happen from the one on, whatever must happen by
its end must by the other: more can happen than with the span itself, never less.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction

from interlock.base.errors import InternalError, Place

TICK = "tick"
"""Name of the move by which one unit of time passes."""

CLOCK = "clock."
"""With a move's name behind it: the units for which what that move waits for has lasted."""

BEGUN = "begun."
"""With a move's name behind it: the units for which it was under way before it was interrupted."""

FIRST = "first."
"""With a scan's name behind it: whether it has not come since its controller scans at all."""

MOST_UNITS = 20_000
"""A clock has a value for each unit, so no span may have more of them."""


@dataclass(frozen=True)
class Spacing:
    """How far apart the scans of one of several controllers are, in milliseconds."""

    controller: str
    least_ms: int
    greatest_ms: int

    @property
    def says(self) -> str:
        """That in words, behind 'scans'."""
        whose = f"of {self.controller} " if self.controller else ""
        if self.least_ms == self.greatest_ms:
            return f"{whose}{self.least_ms} ms apart"
        return f"{whose}{self.least_ms} to {self.greatest_ms} ms apart"


@dataclass(frozen=True)
class Timing:
    """Time as a model counts it.

    Attributes
    ----------
    unit_ms : int
    scan_least_ms, scan_greatest_ms : int
        From one scan to the next; of several controllers the least and the greatest of all.
    place : Place
        Where the model asks for time.
    several : tuple of Spacing
        One for each controller, where there are several.
    adds_delays : bool
        Whether delays are added to the bounds of responses, in place of being counted.
    is_exact : bool
        Whether the unit was chosen so that it divides all durations; one that it does not divide
        is a defect of ours.
    """

    unit_ms: int
    scan_least_ms: int
    scan_greatest_ms: int
    place: Place = field(default=Place("", 0, 0), compare=False)
    several: tuple[Spacing, ...] = ()
    adds_delays: bool = False
    is_exact: bool = field(default=False, compare=False)

    def units(self, least_ms: Fraction | int, greatest_ms: Fraction | int | None) -> Units:
        """A span of time in whole units, rounded outwards."""
        self._check_whole(least_ms, greatest_ms or 0)
        return in_units(least_ms, greatest_ms, self.unit_ms)

    def units_of_delay(self, ms: float) -> int:
        """The units that lie at most between a value and its effect, both ends of a delay included.

        Examples
        --------
        >>> Timing(100, 50, 50).units_of_delay(150)
        2
        """
        self._check_whole(Fraction(str(ms)))
        return int(-(-Fraction(str(ms)) // self.unit_ms))

    def _check_whole(self, *spans_ms: Fraction | int) -> None:
        for ms in spans_ms:
            if self.is_exact and ms % self.unit_ms:
                says = f"{float(ms):g} ms are no whole number of units of {self.unit_ms} ms, which "
                raise InternalError(says + "were to divide all durations")

    def spacing(self, controller: str) -> Spacing:
        """How far apart the scans of a controller are; a single one has no name."""
        own = {one.controller: one for one in self.several}
        return own[controller] if own else Spacing("", self.scan_least_ms, self.scan_greatest_ms)

    def __str__(self) -> str:
        added = ", delays added" if self.adds_delays else ""
        return f"unit {self.unit_ms} ms{self._exactly}, {self.scans}{added}"

    @property
    def scans(self) -> str:
        """How far apart scans are, in words."""
        return "scans " + ", ".join(one.says for one in self.several or (self.spacing(""),))

    @property
    def says(self) -> str:
        """What is assumed of time, as a sentence without an end."""
        return (
            f"time passes in units of {self.unit_ms} ms{self._exactly}, {self.scans}"
            f"{self._one_clock}; moves with a duration happen in their time, and take no turn"
            f"{self._delays}"
        )

    @property
    def _exactly(self) -> str:
        if not self.is_exact:
            return ""
        return " (the greatest common divisor of all durations: nothing is rounded)"

    @property
    def _delays(self) -> str:
        if not self.adds_delays:
            return ""
        added = "delays of signals and outputs are added to the bounds of responses"
        return f"; {added} and decide nothing else"

    @property
    def _one_clock(self) -> str:
        """That controllers whose scans are just so far apart never drift, as if by one clock."""
        exact = [s.controller for s in self.several if s.least_ms == s.greatest_ms]
        return f", {' and '.join(exact)} by one clock that never drifts" if exact[1:] else ""


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


def scans_of_delay(ms: float, period_ms: int) -> int:
    """In how many scans, so far apart at least, a delay is surely over.

    Examples
    --------
    >>> scans_of_delay(150, 100)
    2
    """
    return int(-(-Fraction(str(ms)) // period_ms))


def with_spacing(timing: Timing, given: Spacing) -> Timing:
    """The time with other scans of one controller, or of the only one."""
    several = tuple(given if s.controller == given.controller else s for s in timing.several)
    every = several or (given,)
    least, greatest = min(s.least_ms for s in every), max(s.greatest_ms for s in every)
    return replace(timing, scan_least_ms=least, scan_greatest_ms=greatest, several=several)


def ms_of(seconds: float) -> Fraction:
    """Seconds as they were written, in milliseconds: 2.01 s are 2010 ms and no little less."""
    return 1000 * Fraction(str(seconds))
