"""Integers that are known while the text is read: limits of arrays, lengths, labels."""

from __future__ import annotations

from collections.abc import Callable

from interlock.st import syntax as sx

_OPERATIONS: dict[str, Callable[[int, int], int]] = {
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "*": lambda a, b: a * b,
    "/": lambda a, b: (abs(a) // abs(b)) * (1 if (a < 0) == (b < 0) else -1),
    "MOD": lambda a, b: (abs(a) % abs(b)) * (1 if a >= 0 else -1) if b else 0,
}


def constant_integer(
    e: sx.Expression | None, value_of: Callable[[str], sx.Expression | None]
) -> int | None:
    """The integer that `e` is, or None where it is none or not known.

    Parameters
    ----------
    e : syntax.Expression or None
    value_of : callable
        The value of a constant by its name, or None.
    """
    match e:
        case sx.Number():
            return e.value
        case sx.Name():
            value = value_of(e.text)
            return None if value is None else constant_integer(value, value_of)
        case sx.Unary(op="+" | "-"):
            operand = constant_integer(e.operand, value_of)
            return operand if operand is None or e.op == "+" else -operand
        case sx.Binary() if e.op in _OPERATIONS:
            left = constant_integer(e.left, value_of)
            right = constant_integer(e.right, value_of)
            if left is None or right is None or (e.op == "/" and right == 0):
                return None
            return _OPERATIONS[e.op](left, right)
        case _:
            return None


def is_nothing(e: sx.Expression) -> bool:
    """Whether `e` says that a variable stands for no instance."""
    named = isinstance(e, sx.Name) and e.text.upper() in ("NULL", "NIL")
    return named or (isinstance(e, sx.Number) and e.value == 0 and not e.prefix)
