"""Ranges of integer expressions.

Those of a quotient and a remainder are the kernel's: a value that fits here then fits there, too,
and needs no clamp.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from interlock.kernel.evaluate import quotients, remainders
from interlock.st.types import INT_MAX, INT_MIN, IntType


def fits_int(range_: IntType) -> bool:
    """Whether every value is an INT."""
    return range_.lo >= INT_MIN and range_.hi <= INT_MAX


def join(a: IntType, b: IntType) -> IntType:
    """The least range around both."""
    return IntType(min(a.lo, b.lo), max(a.hi, b.hi))


def _product(a: IntType, b: IntType) -> IntType:
    corners = [x * y for x in (a.lo, a.hi) for y in (b.lo, b.hi)]
    return IntType(min(corners), max(corners))


ARITHMETIC: dict[str, Callable[[IntType, IntType], IntType]] = {
    "+": lambda a, b: IntType(a.lo + b.lo, a.hi + b.hi),
    "-": lambda a, b: IntType(a.lo - b.hi, a.hi - b.lo),
    "*": _product,
    "/": lambda a, b: IntType(*quotients((a.lo, a.hi), (b.lo, b.hi))),
    "MOD": lambda a, b: IntType(*remainders((a.lo, a.hi), (b.lo, b.hi))),
}


def negated(a: IntType) -> IntType:
    """The range of ``-a``."""
    return IntType(-a.hi, -a.lo)


def least(ranges: Sequence[IntType]) -> IntType:
    """The range of the least of several values."""
    return IntType(min(r.lo for r in ranges), min(r.hi for r in ranges))


def greatest(ranges: Sequence[IntType]) -> IntType:
    """The range of the greatest of several values."""
    return IntType(max(r.lo for r in ranges), max(r.hi for r in ranges))


def called(function: str, ranges: Sequence[IntType]) -> IntType:
    """The range of ``MIN``, ``MAX``, ``LIMIT`` or ``ABS`` over `ranges`."""
    match function:
        case "MIN":
            return least(ranges)
        case "MAX":
            return greatest(ranges)
        case "LIMIT":
            return greatest([ranges[0], least(ranges[1:])])
        case _:
            return greatest([IntType(0, 0), ranges[0], negated(ranges[0])])
