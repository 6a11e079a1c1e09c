"""The numbers of a type in their order, each by its place."""

from __future__ import annotations

import math
import struct

from interlock.st.reals import rounded
from interlock.st.types import RealType, Type, span_of

LIMIT = 1e9
"""Instruments give no number beyond; a program that only fails there is not worth a violation."""

_CODES = {"REAL": ("<f", "<i"), "LREAL": ("<d", "<q")}


class Line:
    """The numbers of a type in their order, each by its place: whole numbers count from 0.

    Those of a REAL end at `LIMIT`, or at the `ends` that are given.
    """

    def __init__(self, type_: Type, ends: tuple[float, float] | None = None) -> None:
        self._codes = _CODES[type_.base] if isinstance(type_, RealType) else None
        self.base = type_.base if isinstance(type_, RealType) else ""
        lo, hi = (ends or (-LIMIT, LIMIT)) if self._codes else span_of(type_)
        self.least, self.greatest = self.place(lo), self.place(hi)

    def place(self, value: float) -> int:
        """Where a number stands."""
        if self._codes is None:
            return int(value)
        real, whole = self._codes
        place = int(struct.unpack(whole, struct.pack(real, abs(value)))[0])
        return -place if value < 0 else place

    def number(self, place: int) -> float:
        """What stands at a place."""
        if self._codes is None:
            return place
        real, whole = self._codes
        value = float(struct.unpack(real, struct.pack(whole, abs(place)))[0])
        return -value if place < 0 else value

    def nearest(self, value: float) -> float:
        """The number of the type that is nearest to `value`."""
        return round(value) if self._codes is None else rounded(value, self.base)

    def cuts(self, sign: str, limit: float) -> set[int]:
        """The places from which on the comparison with `limit` has another answer.

        >>> from interlock.st.types import IntType
        >>> line = Line(IntType(0, 9))
        >>> line.cuts("<", 4.5), line.cuts(">", 4), line.cuts("=", 4), line.cuts(">=", 10)
        ({5}, {5}, {4, 5}, set())
        """
        if abs(limit) > LIMIT:
            return set()
        at = math.ceil(limit) if self._codes is None else self.place(self.nearest(limit))
        behind = math.floor(limit) + 1 if self._codes is None else at + 1
        found = {at} if sign in ("<", ">=") else {behind} if sign in ("<=", ">") else {at, behind}
        return {place for place in found if self.least < place <= self.greatest}

    def _is_finite(self, place: int) -> bool:
        """Whether a REAL stands at a place: behind the greatest there is none."""
        return bool(self._codes) and math.isfinite(self.number(place))

    def text(self, place: int) -> str:
        """The shortest text that is read as the number at `place`."""
        value = self.number(place)
        if self._codes is None:
            return str(int(value))
        texts = (f"{value:.{digits}g}" for digits in range(1, 18))
        return min((t for t in texts if self.nearest(float(t)) == value), key=len)

    def typical(self, lo: int, hi: int) -> float:
        """A number with few digits among those from one place to another."""
        if lo <= 0 <= hi:
            return 0.0
        middle = (self.number(lo) + self.number(hi)) / 2
        for digits in range(1, 18):
            value = self.nearest(float(f"{middle:.{digits}g}"))
            if lo <= self.place(value) <= hi:
                return value
        return self.number(lo)

    def label(self, lo: int, hi: int) -> str:
        """A class in words; a limit is named by the one of two neighbours with fewer digits."""
        if lo == hi:
            return self.text(lo)
        first, last = self.text(lo), self.text(hi)
        low, high = f"from {first}", f"up to {last}"
        if self._is_finite(lo - 1) and len(self.text(lo - 1)) < len(first):
            low = f"above {self.text(lo - 1)}"
        if self._is_finite(hi + 1) and len(self.text(hi + 1)) < len(last):
            high = f"below {self.text(hi + 1)}"
        # How far a REAL is taken to go at all is part of what a verdict rests on.
        is_real = self._codes is not None
        parts = [low] * (is_real or lo > self.least) + [high] * (is_real or hi < self.greatest)
        return " ".join(parts) or "any"
