"""Typed expressions computed directly, and explained term by term."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from functools import reduce
from operator import and_, or_

from interlock.base.errors import Mistake, Place
from interlock.st import flaws, reals
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.types import (
    LIMITS,
    BitsType,
    BoolType,
    EnumType,
    IntType,
    RealType,
    TimeType,
    Type,
    base_of,
)
from interlock.st.write import write_expression


def _quotient(a: int, b: int) -> int:
    # IEC 61131-3: integer division truncates towards zero.
    size = abs(a) // abs(b)
    return size if (a >= 0) == (b >= 0) else -size


def _power(a: int, b: int) -> int:
    """``a ** b`` truncated towards zero; `a` is not 0 where `b` is negative."""
    if b >= 0:
        return int(a**b)
    return 0 if abs(a) > 1 else (a if b % 2 else 1)


_COMPARISONS: dict[str, Callable[[float, float], bool]] = {
    "=": lambda a, b: a == b,
    "<>": lambda a, b: a != b,
    "<": lambda a, b: a < b,
    ">": lambda a, b: a > b,
    "<=": lambda a, b: a <= b,
    ">=": lambda a, b: a >= b,
}
_INTEGERS: dict[str, Callable[[int, int], int]] = {
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "*": lambda a, b: a * b,
    "/": _quotient,
    "MOD": lambda a, b: a - b * _quotient(a, b),
    "**": _power,
}
_REALS: dict[str, Callable[[float, float], float]] = {
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "*": lambda a, b: a * b,
    "/": lambda a, b: a / b,
    "**": reals.power,
}


def evaluate_expression(
    e: ty.Expression,
    env: Mapping[str, float],
    defects: list[Mistake] | None = None,
    saturates: bool = False,
) -> int:
    """The value of `e`, which is no REAL.

    Parameters
    ----------
    e : typed.Expression
    env : mapping of str to int or float
        Value of each name; keys are casefolded.
    defects : list, optional
        Receives what must not happen: a divisor found to be zero (such a division gives 0), a
        result that does not fit its type, an index that no element has.
    saturates : bool
        Whether a number that does not fit its type becomes the nearest that does; else it wraps.
    """
    return int(evaluate_number(e, env, defects, saturates))


def evaluate_number(
    e: ty.Expression,
    env: Mapping[str, float],
    defects: list[Mistake] | None = None,
    saturates: bool = False,
) -> float:
    """As `evaluate_expression`, for expressions of every type."""
    return _Evaluation(env, defects, saturates).value(e)


class _Evaluation:
    def __init__(
        self, env: Mapping[str, float], defects: list[Mistake] | None, saturates: bool
    ) -> None:
        self._env = env
        self._defects = defects
        self._saturates = saturates

    def _note(self, place: Place, says: str) -> None:
        if self._defects is not None:
            self._defects.append(Mistake(place, says))

    def value(self, e: ty.Expression) -> float:
        match e:
            case ty.Constant():
                return e.real if isinstance(e.type, RealType) else e.value
            case ty.Read():
                return self._env[e.name.casefold()]
            case ty.Unary():
                return self._unary(e, self.value(e.operand))
            case ty.Junction():
                # Every operand is computed: IEC 61131-3 does not promise that any is skipped.
                return self._junction(e, [self.value(operand) for operand in e.operands])
            case ty.Binary():
                return self._binary(e, self.value(e.left), self.value(e.right))
            case _:
                return self._call(e, [self.value(argument) for argument in e.arguments])

    def _unary(self, e: ty.Unary, value: float) -> float:
        if e.op == "-":
            return self._fitted(-value, e.type, e.place)
        return int(not value) if isinstance(e.type, BoolType) else _as_type(~int(value), e.type)

    @staticmethod
    def _junction(e: ty.Junction, values: list[float]) -> float:
        if isinstance(e.type, BoolType):
            return int(all(values) if e.op == "AND" else any(values))
        join = and_ if e.op == "AND" else or_
        return _as_type(reduce(join, map(int, values)), e.type)

    def _binary(self, e: ty.Binary, left: float, right: float) -> float:
        if e.op in _COMPARISONS:
            return int(_COMPARISONS[e.op](left, right))
        if e.op == "XOR":
            return _as_type(int(left) ^ int(right), e.type)
        no_power = e.op == "**" and left == 0 and right < 0
        if no_power or (e.op in ("/", "MOD") and right == 0):
            # IEC 61131-3: m MOD 0 is 0; a division by zero is an error.
            if e.op != "MOD":
                self._note(e.right.place, flaws.DIVISION)
            return 0
        if isinstance(e.type, RealType):
            return self._real(_REALS[e.op](left, right), e.type, e.place)
        return self._fitted(_INTEGERS[e.op](int(left), int(right)), e.type, e.place)

    def _real(self, value: float, type_: RealType, place: Place) -> float:
        if not reals.fits(value, type_.base):
            self._note(place, flaws.NOT_FINITE)
        return 0.0 if math.isnan(value) else reals.rounded(value, type_.base)

    def _fitted(self, value: float, type_: Type, place: Place) -> float:
        """A number as its type holds it."""
        if isinstance(type_, RealType):
            return value + 0.0
        base = type_.base if isinstance(type_, IntType | TimeType) else ""
        number = int(value)
        if not base or LIMITS[base][0] <= number <= LIMITS[base][1]:
            return number
        self._note(place, flaws.misfit(base))
        return fitted(number, base, self._saturates)

    def _call(self, e: ty.Call, values: list[float]) -> float:
        match e.function:
            case "SEL":
                return values[2] if values[0] else values[1]
            case "LIMIT":
                low, value, high = values
                return min(max(value, low), high)
            case "ABS":
                return self._fitted(abs(values[0]), e.type, e.place)
            case "MIN":
                return min(values)
            case "MAX":
                return max(values)
            case "CHOICE" | "VALUE":
                return self._choice(e, int(values[0]), int(values[1]), values[2:])
            case "DEFECT":
                self._note(e.place, says_of(e))
                return 0
            case "NUMBER":
                enum = e.arguments[0].type
                assert isinstance(enum, EnumType)
                return enum.number_at(int(values[0]))
            case name if name in reals.FUNCTIONS and isinstance(e.type, RealType):
                return self._real(reals.function_of(name, values[0]), e.type, e.place)
            case _:
                return self._bit_call(e, values)

    def _bit_call(self, e: ty.Call, values: list[float]) -> float:
        match e.function:
            case "BIT":
                return int(values[0]) >> int(values[1]) & 1
            case "WITH_BIT":
                mask = 1 << int(values[1])
                return _as_type(int(values[0]) & ~mask | (mask if values[2] else 0), e.type)
            case "SHL" | "SHR" | "ROL" | "ROR":
                return _shifted(e.function, int(values[0]), int(values[1]), e.type)
            case _:
                return self._converted(e, values[0])

    def _choice(self, e: ty.Call, index: int, first: int, values: list[float]) -> float:
        last = first + len(values) - 1
        if not first <= index <= last:
            says = flaws.none_at(e.function, e.type, first, last)
            self._note(e.arguments[1].place, says)
            if e.function == "VALUE":
                return values[0]
        return values[min(max(index, first), last) - first]

    def _converted(self, e: ty.Call, value: float) -> float:
        source, target = e.arguments[0].type, e.type
        if isinstance(target, BoolType):
            return int(value != 0)
        if isinstance(target, RealType):
            return self._real(value, target, e.place)
        if isinstance(source, RealType):
            whole = reals.truncated(value) if "TRUNC" in e.function else round(value)
            lo, hi = LIMITS[base_of(target)]
            if not lo <= whole <= hi:
                self._note(e.place, flaws.misfit(base_of(target)))
            return min(max(whole, lo), hi)
        if isinstance(source, BitsType) or isinstance(target, BitsType):
            return _as_type(int(value), target)
        return self._fitted(value, target, e.place)


def says_of(e: ty.Call) -> str:
    """What is wrong where the program comes to ``DEFECT``."""
    text = e.arguments[0]
    assert isinstance(text, ty.Constant)
    return text.text


def fitted(value: int, base: str, saturates: bool) -> int:
    """A whole number as a type holds it: wrapped modulo its size, or the nearest.

    >>> fitted(40000, "INT", False), fitted(40000, "INT", True)
    (-25536, 32767)
    """
    lo, hi = LIMITS[base]
    return min(max(value, lo), hi) if saturates else (value - lo) % (hi - lo + 1) + lo


def _as_type(value: int, type_: Type) -> int:
    """The low bits of `value` as `type_` reads them."""
    if isinstance(type_, BoolType):
        return value & 1
    return fitted(value, base_of(type_), False)


def _shifted(function: str, value: int, places: int, type_: Type) -> int:
    lo, hi = LIMITS[base_of(type_)]
    size = hi - lo + 1
    width = size.bit_length() - 1
    bits = value % size
    places = max(places, 0)
    match function:
        case "SHL":
            bits = bits << places if places < width else 0
        case "SHR":
            bits = bits >> places
        case _:
            left = places % width if function == "ROL" else -places % width
            bits = bits << left | bits >> (width - left)
    return _as_type(bits, type_)


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


def number_of_constant(e: ty.Expression) -> float | None:
    """As `constant_of`, for expressions of every type."""
    return evaluate_number(e, {}) if next(reads_of(e), None) is None else None


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
            return call_as_written(e, [as_written(argument) for argument in e.arguments])


def call_as_written(e: ty.Call, arguments: list[sx.Expression]) -> sx.Expression:
    """The syntax tree of a call, over those of its arguments."""
    match e.function:
        case "NUMBER" | "TO_REAL":
            return arguments[0]
        case "BIT":
            number = e.arguments[1]
            assert isinstance(number, ty.Constant)
            base = arguments[0]
            if isinstance(base, sx.Name):
                return sx.Name(f"{base.text}.{number.value}", e.place)
            return sx.Member(base, str(number.value), e.place)
        case "CHOICE" | "VALUE":
            index, first, *values = arguments
            assert isinstance(e.arguments[1], ty.Constant)
            start = e.arguments[1].value
            shifted = index if start == 0 else sx.Binary("-", index, first, e.place)
            return sx.Call("MUX", (shifted, *values), e.place)
        case _:
            return sx.Call(e.function, tuple(arguments), e.place)


def _constant_as_written(e: ty.Constant) -> sx.Expression:
    match e.type:
        case EnumType():
            name, _, label = e.text.rpartition("#")
            return sx.Qualified(name, label, e.place) if name else sx.Name(e.text, e.place)
        case BoolType():
            return sx.Truth(bool(e.value), e.place)
        case TimeType():
            return sx.Duration(e.value, e.place, e.type.base if e.type.base == "LTIME" else "")
        case RealType():
            return sx.Real(repr(e.real), e.place)
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
