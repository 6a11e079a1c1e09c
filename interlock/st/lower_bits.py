"""Bit strings in the kernel: a number, taken apart into truth values and put together again.

Numbers and their bits are remembered, so that operators on bit strings, one after the other, work
on bits and compute no number in between.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, Expr, Op, const, ite, truth

Bits = tuple[Expr, ...]
"""Truth values, the lowest bit first."""


class BitStrings:
    """Takes numbers apart and puts them together.

    Parameters
    ----------
    bound : callable
        Gives the least and the greatest value of an expression.
    """

    def __init__(self, bound: Callable[[Expr], tuple[int, int]]) -> None:
        self._bound = bound
        self._bits: dict[tuple[Expr, int], Bits] = {}
        self._numbers: dict[tuple[Bits, bool], Expr] = {}

    def bits(self, number: Expr, width: int) -> Bits:
        """The lowest `width` bits of a number, of a negative one in two's complement."""
        key = (number, width)
        if key not in self._bits:
            self._bits[key] = self._apart(number, width)
            lo, hi = self._bound(number)
            if lo >= 0 and hi < 1 << width:
                self._numbers.setdefault((self._bits[key], False), number)
        return self._bits[key]

    def _apart(self, number: Expr, width: int) -> Bits:
        if number.op is Op.CONST:
            return tuple(truth(bool(number.value >> place & 1)) for place in range(width))
        if number.op is Op.ITE:
            condition, then, otherwise = number.args
            pairs = zip(self.bits(then, width), self.bits(otherwise, width), strict=True)
            return tuple(ite(condition, a, b) for a, b in pairs)
        lo, hi = self._bound(number)
        size = 1 << width
        if lo < 0:
            low = ex.mod(number, const(size)) if lo < -size or hi >= size else number
            number = ite(ex.lt(low, const(0)), ex.add(low, const(size)), low)
            hi = size - 1
        found: list[Expr] = []
        for place in range(width):
            weight = 1 << place
            if hi < weight:
                found.append(FALSE)
            elif hi < 2 * weight:
                found.append(ex.le(const(weight), number))
            else:
                shifted = ex.div(number, const(weight)) if place else number
                found.append(ex.eq(ex.mod(shifted, const(2)), const(1)))
        return tuple(found)

    def number(self, bits: Sequence[Expr], is_signed: bool) -> Expr:
        """The number that `bits` make; the highest counts negative where it is signed."""
        key = (tuple(bits), is_signed)
        if key not in self._numbers:
            total = const(0)
            for place, bit in enumerate(bits):
                weight = 1 << place
                if is_signed and place == len(bits) - 1:
                    weight = -weight
                total = ex.add(total, ite(bit, const(weight), const(0)))
            self._numbers[key] = total
            self._bits.setdefault((total, len(bits)), key[0])
        return self._numbers[key]


def shifted(function: str, bits: Bits, places: int) -> Bits:
    """Bits moved by a number of places; ROL and ROR bring back what leaves.

    >>> from interlock.kernel.expr import TRUE
    >>> shifted("SHL", (TRUE, FALSE), 1) == (FALSE, TRUE)
    True
    """
    width = len(bits)
    places = max(places, 0)
    if function in ("SHL", "SHR"):
        gone = min(places, width)
        zeros = (FALSE,) * gone
        return zeros + bits[: width - gone] if function == "SHL" else bits[gone:] + zeros
    left = places % width if function == "ROL" else -places % width
    return bits[width - left :] + bits[: width - left] if left else bits


def shifted_by(function: str, bits: Bits, places: Expr, span: tuple[int, int]) -> Bits:
    """As `shifted`, by an expression with values in `span`."""
    width = len(bits)
    result: Bits | None = None
    is_round = function in ("ROL", "ROR")
    if is_round and span[1] - span[0] >= width:
        # Turning by the width changes nothing; a negative count counts as 0.
        places = ex.mod(ex.maximum(places, const(0)), const(width))
        span = (0, width - 1)
    most = span[1] if is_round else min(span[1], width)
    least = min(max(span[0], 0), most)
    for count in range(most, least - 1, -1):
        moved = shifted(function, bits, count)
        if result is None:
            result = moved
        else:
            here = ex.le(places, const(count))
            result = tuple(ite(here, a, b) for a, b in zip(moved, result, strict=True))
    return bits if result is None else result
