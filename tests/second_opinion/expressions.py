"""Typed expressions as functions of named values.

Source of the operators: IEC 61131-3, from memory: ``/`` truncates towards zero, MOD has the sign
of the dividend and is 0 where the divisor is 0, ``LIMIT(MN, IN, MX)`` is ``MIN(MAX(IN, MN), MX)``,
``SEL(G, IN0, IN1)`` is IN1 where G holds. Every operand is evaluated: nothing is cut short.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Mapping, MutableMapping
from functools import reduce

from interlock.st import typed
from interlock.st.types import BOOL

Values = MutableMapping[str, int]
Function = Callable[[Values], int]

# Set in the values where something was divided by zero. No name of a program looks like this.
BROKEN = "/0"

_PLAIN: Mapping[str, Callable[[int, int], int]] = {
    "XOR": operator.xor,
    "=": lambda a, b: int(a == b),
    "<>": lambda a, b: int(a != b),
    "<": lambda a, b: int(a < b),
    ">": lambda a, b: int(a > b),
    "<=": lambda a, b: int(a <= b),
    ">=": lambda a, b: int(a >= b),
    "+": operator.add,
    "-": operator.sub,
    "*": operator.mul,
}


def quotient(a: int, b: int) -> int:
    """``a / b``, truncated towards zero.

    >>> quotient(-7, 2), quotient(7, -2)
    (-3, -3)
    """
    size = abs(a) // abs(b)
    return size if (a < 0) == (b < 0) else -size


def _divided(op: str, left: Function, right: Function) -> Function:
    def divide(values: Values) -> int:
        a, b = left(values), right(values)
        if b == 0:
            if op == "/":
                values[BROKEN] = 1
            return 0
        return quotient(a, b) if op == "/" else a - b * quotient(a, b)

    return divide


def _called(name: str, arguments: list[Function]) -> Function:
    def call(values: Values) -> int:
        given = [argument(values) for argument in arguments]
        match name:
            case "SEL":
                return given[2] if given[0] else given[1]
            case "MIN":
                return min(given)
            case "MAX":
                return max(given)
            case "LIMIT":
                return min(max(given[1], given[0]), given[2])
            case "NUMBER":
                return given[0]
            case "ABS":
                return abs(given[0])
        raise AssertionError(name)

    return call


def function_of(tree: typed.Expression, terms: Mapping[str, Function] | None = None) -> Function:
    """The function that gives the value of `tree`.

    Parameters
    ----------
    tree : typed.Expression
    terms : mapping of str to function, optional
        Names that stand for expressions of their own.
    """
    known = terms or {}

    def inner(part: typed.Expression) -> Function:
        return function_of(part, known)

    match tree:
        case typed.Constant():
            value = tree.value
            return lambda values: value
        case typed.Read():
            name = tree.name
            return known[name] if name in known else (lambda values: values[name])
        case typed.Unary():
            operand = inner(tree.operand)
            if tree.op == "NOT":
                assert tree.type == BOOL, "NOT of all bits of a number is no matter here"
                return lambda values: 1 - operand(values)
            return lambda values: -operand(values)
        case typed.Binary(op="/" | "MOD"):
            return _divided(tree.op, inner(tree.left), inner(tree.right))
        case typed.Binary():
            left, right, plain = inner(tree.left), inner(tree.right), _PLAIN[tree.op]
            return lambda values: plain(left(values), right(values))
        case typed.Junction():
            parts = [inner(part) for part in tree.operands]
            joined = operator.and_ if tree.op == "AND" else operator.or_
            return lambda values: reduce(joined, [part(values) for part in parts])
        case typed.Call():
            return _called(tree.function, [inner(part) for part in tree.arguments])
    raise AssertionError(tree)
