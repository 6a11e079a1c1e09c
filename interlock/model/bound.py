"""Bounds of requirements: in scans of the program, or in time."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from interlock.kernel.system import MoveKind


@dataclass(frozen=True)
class Bound:
    """Within which time a response comes, or what else lasts at most, or at least.

    Attributes
    ----------
    scans : int
        Scans of the program that may pass: where a time is given, the whole scans that fit in. In
        a model with time, of a time that is given, the units that may not have passed yet; of what
        is demanded at least, the units that must have passed.
    ms : float or None
        The time in milliseconds, where one was given.
    says : str
        As it was written.
    counted : MoveKind
        Whether scans are counted, or units of time.
    """

    scans: int
    ms: float | None
    says: str
    counted: MoveKind = MoveKind.SCAN

    @classmethod
    def of_time(cls, ms: Fraction, unit_ms: int, is_least: bool, says: str) -> Bound:
        """A bound in time, counted in units and rounded so that more is asked.

        Parameters
        ----------
        ms : Fraction
        unit_ms : int
        is_least : bool
            Whether it is demanded at least, rather than allowed at most: of what is allowed, one
            unit more than fits in is too many.
        says : str

        Examples
        --------
        >>> Bound.of_time(Fraction(150), 100, False, "150 ms").scans
        2
        >>> Bound.of_time(Fraction(150), 100, True, "150 ms").scans
        2
        """
        units = int(-(-ms // unit_ms)) if is_least else int(ms // unit_ms) + 1
        return cls(units, float(ms), says, MoveKind.TIME)

    def ms_kept(self, units: int, unit_ms: int, is_least: bool) -> int:
        """The time that is shown where a bound of so many units is kept in place of this one.

        Examples
        --------
        >>> bound = Bound.of_time(Fraction(500), 100, False, "500 ms")
        >>> bound.scans, bound.ms_kept(5, 100, False)
        (6, 400)
        """
        return unit_ms * (units if is_least else units - 1)
