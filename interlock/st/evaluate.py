"""Typed expressions computed directly, and explained term by term."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.types import BoolType, EnumType, TimeType
from interlock.st.write import write_expression


def _quotient(a: int, b: int) -> int:
    # IEC 61131-3: integer division truncates towards zero.
    size = abs(a) // abs(b)
    return size if (a >= 0) == (b >= 0) else -size


_BINARY: dict[str, Callable[[int, int], int]] = {
    "XOR": lambda a, b: int(a != b),
    "=": lambda a, b: int(a == b),
    "<>": lambda a, b: int(a != b),
    "<": lambda a, b: int(a < b),
    ">": lambda a, b: int(a > b),
    "<=": lambda a, b: int(a <= b),
    ">=": lambda a, b: int(a >= b),
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "*": lambda a, b: a * b,
    "/": _quotient,
    "MOD": lambda a, b: a - b * _quotient(a, b),
}


def evaluate_expression(
    e: ty.Expression, env: Mapping[str, int], zero_divisions: list[Place] | None = None
) -> int:
    """The value of `e`.

    Parameters
    ----------
    e : typed.Expression
    env : mapping of str to int
        Value of each name; keys are casefolded.
    zero_divisions : list, optional
        Receives the place of every divisor found to be zero; such a division gives 0.
    """
    match e:
        case ty.Constant():
            return e.value
        case ty.Read():
            return env[e.name.casefold()]
        case ty.Unary():
            value = evaluate_expression(e.operand, env, zero_divisions)
            return int(not value) if e.op == "NOT" else -value
        case ty.Junction():
            # Every operand is computed: IEC 61131-3 does not promise that any is skipped.
            values = [evaluate_expression(o, env, zero_divisions) for o in e.operands]
            return int(all(values) if e.op == "AND" else any(values))
        case ty.Binary():
            left = evaluate_expression(e.left, env, zero_divisions)
            right = evaluate_expression(e.right, env, zero_divisions)
            if e.op in ("/", "MOD") and right == 0:
                # IEC 61131-3: m MOD 0 is 0; a division by zero is an error.
                if e.op == "/" and zero_divisions is not None:
                    zero_divisions.append(e.right.place)
                return 0
            return _BINARY[e.op](left, right)
        case _:
            arguments = [evaluate_expression(a, env, zero_divisions) for a in e.arguments]
            return _call(e.function, arguments)


def _call(function: str, arguments: list[int]) -> int:
    match function:
        case "SEL":
            return arguments[2] if arguments[0] else arguments[1]
        case "LIMIT":
            low, value, high = arguments
            return max(low, min(value, high))
        case "ABS":
            return abs(arguments[0])
        case "MIN":
            return min(arguments)
        case _:
            return max(arguments)


def operands_of(e: ty.Expression) -> tuple[ty.Expression, ...]:
    """The expressions that `e` is made of, in the order written."""
    match e:
        case ty.Unary():
            return (e.operand,)
        case ty.Junction():
            return e.operands
        case ty.Binary():
            return (e.left, e.right)
        case ty.Call():
            return e.arguments
        case _:
            return ()


def reads_of(e: ty.Expression) -> Iterator[ty.Read]:
    """Every name that `e` reads, in the order written."""
    stack = [e]
    while stack:
        node = stack.pop()
        if isinstance(node, ty.Read):
            yield node
        stack.extend(reversed(operands_of(node)))


def constant_of(e: ty.Expression) -> int | None:
    """The value of `e` if it reads nothing, else None."""
    return evaluate_expression(e, {}) if next(reads_of(e), None) is None else None


def as_written(e: ty.Expression) -> sx.Expression:
    """The syntax tree of a typed expression, with the spelling of its declarations."""
    match e:
        case ty.Constant():
            return _constant_as_written(e)
        case ty.Read():
            return sx.Name(e.name, e.place)
        case ty.Unary():
            return sx.Unary(e.op, as_written(e.operand), e.place)
        case ty.Junction():
            return sx.Junction(e.op, tuple(as_written(o) for o in e.operands), e.place)
        case ty.Binary():
            return sx.Binary(e.op, as_written(e.left), as_written(e.right), e.place)
        case _:
            return sx.Call(e.function, tuple(as_written(a) for a in e.arguments), e.place)


def _constant_as_written(e: ty.Constant) -> sx.Expression:
    match e.type:
        case EnumType():
            name, _, label = e.text.rpartition("#")
            return sx.Qualified(name, label, e.place) if name else sx.Name(e.text, e.place)
        case BoolType():
            return sx.Truth(bool(e.value), e.place)
        case TimeType():
            return sx.Duration(e.value, e.place)
        case _ if e.value < 0:
            return sx.Unary("-", sx.Number(-e.value, e.place), e.place)
        case _:
            return sx.Number(e.value, e.place)


def explain(e: ty.Expression, env: Mapping[str, int]) -> list[tuple[str, int]]:
    """The text and the value of each operand of the outermost AND or OR.

    Any other expression is its own single term. This says which permissive is missing.

    Parameters
    ----------
    e : typed.Expression
    env : mapping of str to int
        Value of each name; keys are casefolded.
    """
    terms = e.operands if isinstance(e, ty.Junction) else (e,)
    return [(write_expression(as_written(t)), evaluate_expression(t, env)) for t in terms]
