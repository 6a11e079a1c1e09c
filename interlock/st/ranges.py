"""Ranges of whole numbers: between which values the result of an operation lies.

Those of a quotient and a remainder are the kernel's: a value that fits here then fits there, too,
and needs no clamp.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from interlock.kernel.evaluate import quotients, remainders
from interlock.st.types import SIGNED, UNSIGNED

Span = tuple[int, int]


def within(span: Span, limits: Span) -> bool:
    """Whether every value of `span` lies within `limits`."""
    return limits[0] <= span[0] and span[1] <= limits[1]


def without(span: Span, gone: Span) -> list[Span]:
    """What of `span` is not in `gone`.

    >>> without((1, 9), (3, 4)), without((1, 9), (0, 20)), without((1, 2), (5, 6))
    ([(1, 2), (5, 9)], [], [(1, 2)])
    """
    parts = [(span[0], min(span[1], gone[0] - 1)), (max(span[0], gone[1] + 1), span[1])]
    return [(lo, hi) for lo, hi in parts if lo <= hi]


def join(spans: Sequence[Span]) -> Span:
    """The least range around all."""
    return min(s[0] for s in spans), max(s[1] for s in spans)


def _product(a: Span, b: Span) -> Span:
    corners = [x * y for x in a for y in b]
    return min(corners), max(corners)


def _power(a: Span, b: Span) -> Span:
    # A negative exponent gives a fraction, which is truncated: 0, or 1 and -1 of these themselves.
    greatest = min(max(b[1], 0), 64)
    size = max(abs(a[0]), abs(a[1]), 1) ** greatest
    return (-size if a[0] < 0 else 0), size


ARITHMETIC: dict[str, Callable[[Span, Span], Span]] = {
    "+": lambda a, b: (a[0] + b[0], a[1] + b[1]),
    "-": lambda a, b: (a[0] - b[1], a[1] - b[0]),
    "*": _product,
    "/": quotients,
    "MOD": remainders,
    "**": _power,
}


def negated(a: Span) -> Span:
    """The range of ``-a``."""
    return -a[1], -a[0]


def least(spans: Sequence[Span]) -> Span:
    """The range of the least of several values."""
    return min(s[0] for s in spans), min(s[1] for s in spans)


def greatest(spans: Sequence[Span]) -> Span:
    """The range of the greatest of several values."""
    return max(s[0] for s in spans), max(s[1] for s in spans)


def called(function: str, spans: Sequence[Span]) -> Span:
    """The range of ``MIN``, ``MAX``, ``LIMIT`` or ``ABS`` over `spans`."""
    match function:
        case "MIN":
            return least(spans)
        case "MAX":
            return greatest(spans)
        case "LIMIT":
            return least([greatest(spans[:2]), spans[2]])
        case _:
            return greatest([(0, 0), spans[0], negated(spans[0])])


def least_base(span: Span) -> str:
    """The smallest elementary type that holds a literal: INT, then greater signed ones."""
    for base in ("INT", "DINT", "LINT"):
        size = 1 << (SIGNED[base] - 1)
        if within(span, (-size, size - 1)):
            return base
    return "ULINT"


def common_base(a: str, b: str) -> str:
    """The type in which an operation of two integer types is done.

    The larger of two signed or of two unsigned ones; of a signed and an unsigned one the signed
    one if it holds both, else the next larger.

    >>> common_base("SINT", "DINT"), common_base("INT", "UINT"), common_base("DINT", "USINT")
    ('DINT', 'DINT', 'DINT')
    """
    if a in SIGNED and b in SIGNED:
        return max(a, b, key=lambda base: SIGNED[base])
    if a in UNSIGNED and b in UNSIGNED:
        return max(a, b, key=lambda base: UNSIGNED[base])
    signed, unsigned = (a, b) if a in SIGNED else (b, a)
    width = max(SIGNED[signed], min(2 * UNSIGNED[unsigned], 64))
    return next(base for base, n in SIGNED.items() if n == width)
