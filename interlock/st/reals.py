"""REAL and LREAL: IEEE 754 binary32 and binary64, rounded after every operation.

Every number is finite, and there is one zero. What would be infinite is the greatest number of its
sign, what would be no number is 0; both are defects of the program.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Callable

GREATEST: dict[str, float] = {
    "REAL": math.ldexp(2 - 2**-23, 127),
    "LREAL": math.ldexp(2 - 2**-52, 1023),
}
"""The greatest finite number of each type. Source: IEEE 754."""


def rounded(value: float, base: str) -> float:
    """The nearest number of type `base`, ties to even; the greatest where it is too large.

    >>> rounded(0.1, "REAL"), rounded(1e39, "REAL") == GREATEST["REAL"]
    (0.10000000149011612, True)
    """
    if base == "REAL":
        try:
            value = float(struct.unpack("<f", struct.pack("<f", value))[0])
        except OverflowError:
            value = math.copysign(math.inf, value)
    greatest = GREATEST[base or "LREAL"]
    return min(max(value, -greatest), greatest) + 0.0


def fits(value: float, base: str) -> bool:
    """Whether `value` is a number that type `base` holds once it is rounded."""
    if math.isnan(value) or math.isinf(value):
        return False
    if base != "REAL":
        return True
    try:
        struct.pack("<f", value)
    except OverflowError:
        return False
    return True


FUNCTIONS: dict[str, Callable[[float], float]] = {
    "SQRT": math.sqrt,
    "LN": math.log,
    "LOG": math.log10,
    "EXP": math.exp,
    "SIN": math.sin,
    "COS": math.cos,
    "TAN": math.tan,
    "ASIN": math.asin,
    "ACOS": math.acos,
    "ATAN": math.atan,
}
"""Functions of one real number, as the mathematics library computes them in binary64."""


def power(a: float, b: float) -> float:
    """``a ** b``, or no number where that is none."""
    try:
        found = a**b
    except ZeroDivisionError:
        return math.nan
    except OverflowError:
        return math.copysign(math.inf, a) if b % 2 == 1 else math.inf
    return found if isinstance(found, float) else math.nan


def function_of(name: str, value: float) -> float:
    """One of `FUNCTIONS` of `value`, or no number where it has no value there."""
    try:
        return FUNCTIONS[name](value)
    except ValueError:
        return math.nan
    except OverflowError:
        return math.inf


def truncated(value: float) -> int:
    """Towards zero."""
    return math.trunc(value)


def nearest_integer(value: float) -> int:
    """The nearest integer, ties to even. Source: IEC 61131-3, from memory (IEC 60559 rounding)."""
    return round(value)
