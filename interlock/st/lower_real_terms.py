"""From typed trees of real numbers to guarded numbers and the kernel's expressions."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from interlock.base.errors import Place
from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, and_, const
from interlock.st import flaws as told
from interlock.st import lower_reals as lr
from interlock.st import reals
from interlock.st import typed as ty
from interlock.st.lower_reals import NoteFlaw, Real
from interlock.st.types import LIMITS, BoolType, RealType, base_of, span_of

_COMPARISONS: dict[str, Callable[[float, float], bool]] = {
    "=": float.__eq__,
    "<>": float.__ne__,
    "<": float.__lt__,
    ">": float.__gt__,
    "<=": float.__le__,
    ">=": float.__ge__,
}


class Terms(Protocol):
    """Lowers operands and receives flaws; ``lower_terms.Terms`` does."""

    note: NoteFlaw

    def whole(self, e: ty.Expression) -> Expr:
        """The expression for `e`, which is no REAL."""

    def real(self, e: ty.Expression) -> Real:
        """The number that `e`, a REAL, is."""

    def span(self, e: Expr, by_type: tuple[int, int]) -> tuple[int, int]:
        """Least and greatest value of `e`, which its type limits, too."""

    def first_of(self, e: ty.Call, index: Expr, n_values: int) -> int:
        """The index of the first value; an index outside is noted."""


class RealTerms:
    """Lowers what has to do with real numbers.

    Parameters
    ----------
    terms : Terms
        Lowers the operands and receives flaws.
    """

    def __init__(self, terms: Terms) -> None:
        self._terms = terms

    def binary(self, e: ty.Binary) -> Expr | Real:
        """An operation on two real numbers, or their comparison."""
        pair = [self._terms.real(e.left), self._terms.real(e.right)]
        if e.op in _COMPARISONS:
            return lr.holds(pair, _COMPARISONS[e.op], e.place)
        assert isinstance(e.type, RealType)
        base, op = e.type.base, e.op
        if op == "/" or op == "**":
            zero = lr.holds(pair, lambda a, b: _is_undefined(op, a, b), e.place)
            self._terms.note(e.right.place, told.DIVISION, zero)

        def exact(a: float, b: float) -> float:
            match op:
                case "+":
                    return a + b
                case "-":
                    return a - b
                case "*":
                    return a * b
                case _ if _is_undefined(op, a, b):
                    return 0.0
                case "/":
                    return a / b
                case _:
                    return reals.power(a, b)

        return self._rounded(pair, exact, base, e.place)

    def _rounded(
        self, operands: Sequence[Real], exact: Callable[..., float], base: str, place: Place
    ) -> Real:
        def kept(*values: float) -> float:
            value = exact(*values)
            return reals.rounded(value, base) if value == value else 0.0

        def wrong(*values: float) -> str:
            return "" if reals.fits(exact(*values), base) else told.NOT_FINITE

        return lr.applied(operands, kept, place, wrong, self._terms.note)

    def call(self, e: ty.Call) -> Expr | Real:
        """A function of real numbers, or a conversion to or from them."""
        match e.function:
            case "SEL":
                where = self._terms.whole(e.arguments[0])
                choices = [(ex.not_(where), e.arguments[1]), (where, e.arguments[2])]
                return self._either(choices, e.place)
            case "CHOICE":
                index = self._terms.whole(e.arguments[0])
                first = self._terms.first_of(e, index, len(e.arguments) - 2)
                last = first + len(e.arguments) - 3
                choices = []
                for number, value in enumerate(e.arguments[2:], first):
                    from_lo = ex.TRUE if number == first else ex.le(const(number), index)
                    to_hi = ex.TRUE if number == last else ex.le(index, const(number))
                    choices.append((and_(from_lo, to_hi), value))
                return self._either(choices, e.place)
            case "MIN" | "MAX" | "ABS" | "LIMIT":
                functions: dict[str, Callable[..., float]] = {
                    "MIN": min,
                    "MAX": max,
                    "ABS": abs,
                    "LIMIT": lambda low, value, high: min(max(low, value), high),
                }
                operands = [self._terms.real(argument) for argument in e.arguments]
                return lr.applied(operands, functions[e.function], e.place)
            case name if name in reals.FUNCTIONS and isinstance(e.type, RealType):
                operand = self._terms.real(e.arguments[0])
                function = reals.function_of
                return self._rounded([operand], lambda v: function(name, v), e.type.base, e.place)
            case _:
                return self._conversion(e)

    def _either(self, choices: Sequence[tuple[Expr, ty.Expression]], place: Place) -> Real:
        found: list[tuple[Expr, float]] = []
        for where, value in choices:
            found += [
                (and_(where, guard), number) for guard, number in self._terms.real(value).guarded()
            ]
        return lr.merged([pair for pair in found if pair[0] is not ex.FALSE], place)

    def _conversion(self, e: ty.Call) -> Expr | Real:
        source = e.arguments[0]
        if isinstance(e.type, RealType):
            base = e.type.base
            if isinstance(source.type, RealType):
                return self._rounded([self._terms.real(source)], lambda value: value, base, e.place)
            value = self._terms.whole(source)
            span = self._terms.span(value, span_of(source.type))
            return lr.of_integer(value, span, lambda n: reals.rounded(float(n), base), e.place)
        real = self._terms.real(source)
        if isinstance(e.type, BoolType):
            return lr.holds([real], lambda value: value != 0, e.place)
        lo, hi = LIMITS[base_of(e.type)]
        nearest = reals.truncated if "TRUNC" in e.function else reals.nearest_integer
        beyond = lr.holds([real], lambda value: not lo <= nearest(value) <= hi, e.place)
        self._terms.note(e.place, told.misfit(base_of(e.type)), beyond)
        return lr.whole_number(real, lambda value: min(max(nearest(value), lo), hi))


def _is_undefined(op: str, a: float, b: float) -> bool:
    return b == 0 if op == "/" else op == "**" and a == 0 and b < 0
