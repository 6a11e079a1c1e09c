"""A quantity of the plant in finitely many bands: where it is known to lie, and nothing more.

The numbers that anything asks for part the range of a quantity: a state of its machine is the open
band between two neighbouring ones. Three numbers are states by themselves, since a quantity can
stand there and it matters from where it sets out: both ends of the range and the first value.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from interlock.st.types import NumberClasses

_FEWEST_DIGITS, _MOST_DIGITS = 6, 17


@dataclass(frozen=True)
class Band:
    """All that lies between two numbers, these excluded, or one number alone."""

    lo: Fraction
    hi: Fraction

    @property
    def is_point(self) -> bool:
        """Whether it is one number."""
        return self.lo == self.hi

    @property
    def width(self) -> Fraction:
        """How far it is through it."""
        return self.hi - self.lo


@dataclass(frozen=True)
class Bands:
    """The bands of a quantity, from the lowest to the highest; the first and last are points.

    Attributes
    ----------
    unit : str
    members : tuple of Band
    initial : int
        Number of the band that it lies in first; always a point.
    """

    unit: str
    members: tuple[Band, ...]
    initial: int

    @classmethod
    def between(
        cls, unit: str, ends: tuple[Fraction, Fraction], first: Fraction, edges: Iterable[Fraction]
    ) -> Bands:
        """The bands of a range, parted at `edges`; those beyond it part nothing.

        Examples
        --------
        >>> bands = Bands.between("bar", (Fraction(0), Fraction(20)), Fraction(0), [Fraction(14)])
        >>> bands.labels
        ('0 bar', '0 to 14 bar', '14 to 20 bar', '20 bar')
        """
        lo, hi = ends
        # Numbers that are one in floating point part nothing that anybody could ask for.
        inner = sorted(
            {float(e): e for e in (*edges, first) if float(lo) < float(e) < float(hi)}.values()
        )
        found = [Band(lo, lo)]
        for below, above in zip([lo, *inner], [*inner, hi], strict=True):
            found.append(Band(below, above))
            if above in (first, hi):
                found.append(Band(above, above))
        return cls(unit, tuple(found), found.index(Band(first, first)))

    @property
    def labels(self) -> tuple[str, ...]:
        """What its states are called; no two alike."""
        for digits in range(_FEWEST_DIGITS, _MOST_DIGITS):
            found = tuple(self._label(band, digits) for band in self.members)
            if len(set(found)) == len(found):
                return found
        raise AssertionError("numbers are parted by what parts floats")

    def _label(self, band: Band, digits: int) -> str:
        lo, hi = (f"{float(number):.{digits}g}" for number in (band.lo, band.hi))
        return f"{lo if band.is_point else f'{lo} to {hi}'} {self.unit}".rstrip()

    def says(self, number: Fraction) -> str:
        """A number with the unit."""
        return f"{float(number):.{_FEWEST_DIGITS}g} {self.unit}".rstrip()

    @property
    def classes(self) -> NumberClasses:
        """The bands for who compares the quantity with a number.

        An edge lies in neither of its bands, so whether it counts to the one or the other is never
        asked: a quantity at an edge may be told on either side of it.
        """
        spans = [
            (float(band.lo), float(band.hi))
            if band.is_point
            else (
                math.nextafter(float(band.lo), math.inf),
                math.nextafter(float(band.hi), -math.inf),
            )
            for band in self.members
        ]
        return NumberClasses("", tuple(spans), is_passed=True)

    def above(self, number: int) -> int | None:
        """The band that it comes to when it rises out of one; None at the upper end.

        The first value is a state for who stands there, not for who passes it.
        """
        return self._onward(range(number + 1, len(self.members)))

    def below(self, number: int) -> int | None:
        """The band that it comes to when it falls out of one; None at the lower end."""
        return self._onward(range(number - 1, -1, -1))

    def _onward(self, numbers: range) -> int | None:
        passed = next((n for n in numbers if not self.members[n].is_point), None)
        return passed if passed is not None else (numbers[-1] if numbers else None)
