"""Operators on values that carry their types, and what a variable makes of a value.

What happens where a result does not fit is in "What a model means" of DEVELOPERS.md.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Callable, Sequence

from interlock.base.errors import Place
from interlock.st.direct.kinds import (
    BITS,
    BOOL,
    LITERAL,
    LREAL,
    LTIME,
    REAL,
    REAL_LITERAL,
    SIGNED,
    TIME,
    Family,
    Kind,
    Value,
    integer_kind,
    refusal,
    smallest_kind,
    truth,
    wider,
)

_COMPARISONS: dict[str, Callable[[object, object], bool]] = {
    "=": lambda a, b: a == b,
    "<>": lambda a, b: a != b,
    "<": lambda a, b: a < b,  # type: ignore[operator]
    ">": lambda a, b: a > b,  # type: ignore[operator]
    "<=": lambda a, b: a <= b,  # type: ignore[operator]
    ">=": lambda a, b: a >= b,  # type: ignore[operator]
}


def rounded(number: float, kind: Kind) -> float:
    """`number` as binary32 or binary64 holds it (IEEE 754), to nearest; there is one zero."""
    if kind.bits != REAL.bits:
        return number + 0.0
    try:
        return float(struct.unpack("<f", struct.pack("<f", number))[0]) + 0.0
    except OverflowError:
        return float("inf") if number > 0 else float("-inf")


_GREATEST = {REAL.bits: (2 - 2**-23) * 2.0**127, LREAL.bits: (2 - 2**-52) * 2.0**1023}


def wrapped(number: int, kind: Kind) -> int:
    """`number` modulo 2^n, as `kind` reads these bits."""
    low = number & (1 << kind.bits) - 1
    return low - (1 << kind.bits) if kind.signed and low > kind.hi else low


def quotient(a: int, b: int) -> int:
    """``a / b`` towards zero."""
    return abs(a) // abs(b) * (1 if (a < 0) == (b < 0) else -1)


class Arithmetic:
    """Operators.

    Parameters
    ----------
    note : callable
        Takes the place and the words of a flaw.
    saturates : bool
        Whether what does not fit becomes the nearest value, instead of wrapping.
    """

    def __init__(self, note: Callable[[Place, str], None], saturates: bool) -> None:
        self.note = note
        self._saturates = saturates

    def fit(self, number: int, kind: Kind, place: Place, target: str = "") -> int:
        """`number` as an integer or duration of `kind`; a flaw where it does not fit.

        Parameters
        ----------
        target : str
            The variable that is assigned; empty for the result of an operation.
        """
        if kind.bits == 0 or kind.lo <= number <= kind.hi:
            return number
        limits = f"{kind.lo}..{kind.hi}"
        result = f"the result does not fit {kind.name} ({limits})"
        self.note(place, f"'{target}' is assigned a value outside {limits}" if target else result)
        if self._saturates:
            return kind.hi if number > kind.hi else kind.lo
        return wrapped(number, kind)

    def finite(self, number: float, kind: Kind, place: Place) -> float:
        """`number` as a real number of `kind`; a flaw where it is infinite or none at all."""
        found = rounded(number, kind)
        if math.isfinite(found):
            return found
        self.note(place, "the result is no finite number")
        greatest = _GREATEST.get(kind.bits, _GREATEST[LREAL.bits])
        return 0.0 if math.isnan(found) else math.copysign(greatest, found)

    # Types of operations

    def number(self, value: Value, place: Place) -> Value:
        """`value` as the integer it stands for where it is one; real numbers stay."""
        if value.kind.family in (Family.REAL, Family.TIME):
            return value
        kind = integer_kind(value.kind)
        if kind is None:
            raise refusal(place, f"{value.kind.name} is no number")
        return Value(kind, value.number)

    def common(self, values: Sequence[Value], place: Place) -> tuple[Kind, list[Value]]:
        """The type that numbers are calculated in together, and the numbers in it."""
        numbers = [self.number(value, place) for value in values]
        reals = [v.kind for v in numbers if v.kind.family is Family.REAL]
        if reals:
            kind = self._common_real(reals, [v.kind for v in numbers])
            return kind, [Value(kind, rounded(v.real, kind)) for v in numbers]
        typed = [v.kind for v in numbers if not v.kind.is_literal]
        if not typed:
            return LITERAL, numbers
        kind = typed[0]
        for other in typed[1:]:
            kind = wider(kind, other)
        for value in numbers:
            if value.kind.is_literal and not kind.lo <= value.number <= kind.hi:
                kind = wider(kind, smallest_kind(value.number))
        return kind, [Value(kind, v.number) for v in numbers]

    def _common_real(self, reals: Sequence[Kind], all_: Sequence[Kind]) -> Kind:
        if LREAL in reals:
            return LREAL
        if REAL in reals:
            return REAL
        # A number without a type does not narrow what an integer is made.
        return LREAL if any(not kind.is_literal for kind in all_) else REAL_LITERAL

    # Operators

    def unary(self, op: str, value: Value, place: Place) -> Value:
        """``NOT``, ``-`` or ``+``."""
        if op == "NOT":
            return self._not(value, place)
        found = self.number(value, place)
        if op == "+":
            return found
        if found.kind.family is Family.REAL:
            return Value(found.kind, -found.real + 0.0)
        if not found.kind.signed:
            # An unsigned number is negated in the next larger signed type.
            found = Value(wider(found.kind, SIGNED[0]), found.number)
        return Value(found.kind, self.fit(-found.number, found.kind, place))

    def _not(self, value: Value, place: Place) -> Value:
        kind = value.kind
        if kind is BOOL or kind == BOOL:
            return truth(not value.number)
        if kind.family is Family.BITS:
            return Value(kind, ~value.number & kind.hi)
        if kind.family is Family.INTEGER:
            return Value(kind, ~value.number if kind.signed else ~value.number & kind.hi)
        raise refusal(place, f"NOT is for BOOL, bit strings and integers, not {kind.name}")

    def bitwise(self, op: str, a: Value, b: Value, place: Place) -> Value:
        """``AND``, ``OR`` or ``XOR`` of two values."""
        kind = self._bitwise_kind(a, b, place)
        x, y = a.number, b.number
        if kind.family is Family.BITS:
            x, y = x & kind.hi, y & kind.hi
        found = x & y if op in ("AND", "&") else x | y if op == "OR" else x ^ y
        return Value(kind, found)

    def _bitwise_kind(self, a: Value, b: Value, place: Place) -> Kind:
        families = {a.kind.family, b.kind.family}
        if not families <= {Family.BOOL, Family.BITS, Family.INTEGER}:
            wrong = a.kind if a.kind.family not in (Family.BOOL, Family.BITS) else b.kind
            raise refusal(place, f"AND, OR and XOR are for BOOL and bit strings, not {wrong.name}")
        if Family.BITS in families:
            # Each bit of a literal counts, also where the other operand is narrower.
            bits = max(v.kind.bits or v.number.bit_length() * (v.number > 0) for v in (a, b))
            return next(kind for kind in BITS if kind.bits >= bits)
        if Family.BOOL in families:
            for value in (a, b):
                if value.kind != BOOL and not (value.kind.is_literal and value.number in (0, 1)):
                    raise refusal(place, f"BOOL and {value.kind.name} do not go together")
            return BOOL
        return self.common((a, b), place)[0]

    def compare(self, op: str, a: Value, b: Value, place: Place) -> Value:
        """``= <> < > <= >=`` of two values."""
        families = (a.kind.family, b.kind.family)
        if Family.REFERENCE in families and op in ("=", "<>"):
            return self._compare_with_nothing(op, a, b, place)
        if Family.ENUM in families and (a.kind != b.kind or op not in ("=", "<>")):
            return self.compare(op, self.number(a, place), self.number(b, place), place)
        if Family.REAL in families:
            _, (a, b) = self.common((a, b), place)
        elif families[0] is not families[1]:
            self._check_comparable(a, b, place)
        return truth(_COMPARISONS[op](a.content, b.content))

    def _compare_with_nothing(self, op: str, a: Value, b: Value, place: Place) -> Value:
        pointing, other = (a, b) if a.kind.family is Family.REFERENCE else (b, a)
        if not other.kind.is_literal or other.number != 0:
            raise refusal(place, f"{a.kind.name} and {b.kind.name} cannot be compared")
        return truth((pointing.content is None) is (op == "="))

    def _check_comparable(self, a: Value, b: Value, place: Place) -> None:
        for one, other in ((a, b), (b, a)):
            if one.kind == BOOL and not (other.kind.is_literal and other.number in (0, 1)):
                raise refusal(place, f"BOOL and {other.kind.name} cannot be compared")
            if one.kind.family in (Family.TIME, Family.TEXT, Family.REFERENCE):
                raise refusal(place, f"{a.kind.name} and {b.kind.name} cannot be compared")

    def calculate(
        self, op: str, a: Value, b: Value, place: Place, divisor: Place | None = None
    ) -> Value:
        """``+ - * / MOD **`` of two values; `divisor` is where the second stands."""
        if self._divides_by_zero(op, a, b, place):
            self.note(divisor or place, "division by zero")
            if op == "**":
                return Value(self.common((a, b), place)[0], 0)
        if Family.TIME in (a.kind.family, b.kind.family):
            return self._with_time(op, a, b, place)
        kind, (x, y) = self.common((a, b), place)
        if kind.family is Family.REAL:
            return self._with_reals(op, kind, x.real, y.real, place)
        found = self._whole(op, x.number, y.number)
        return Value(kind, self.fit(found, kind, place))

    def _divides_by_zero(self, op: str, a: Value, b: Value, place: Place) -> bool:
        if op == "**":
            return self.number(a, place).content == 0 and self.number(b, place).real < 0
        return op == "/" and self.number(b, place).content == 0

    def _whole(self, op: str, a: int, b: int) -> int:
        match op:
            case "+":
                return a + b
            case "-":
                return a - b
            case "*":
                return a * b
            case "/":
                return quotient(a, b) if b else 0
            case "MOD":
                return a - b * quotient(a, b) if b else 0
            case _:
                return self._power(a, b)

    def _power(self, a: int, b: int) -> int:
        if b >= 0:
            # Beyond 64 bits only the low ones and the size matter; no program needs more.
            return int(a ** min(b, 200))
        return {1: 1, -1: -1 if b % 2 else 1}.get(a, 0)

    def _with_reals(self, op: str, kind: Kind, a: float, b: float, place: Place) -> Value:
        match op:
            case "+":
                found = a + b
            case "-":
                found = a - b
            case "*":
                found = a * b
            case "/":
                found = a / b if b else 0.0
            case "**":
                found = power(a, b)
            case _:
                raise refusal(place, "MOD is for integers")
        return Value(kind, self.finite(found, kind, place))

    def _with_time(self, op: str, a: Value, b: Value, place: Place) -> Value:
        both = a.kind.family is Family.TIME and b.kind.family is Family.TIME
        kind = LTIME if LTIME in (a.kind, b.kind) else TIME
        if both and op in ("+", "-"):
            found = a.number + b.number if op == "+" else a.number - b.number
            return Value(kind, self.fit(found, kind, place))
        if both or op not in ("*", "/") or (op == "/" and b.kind.family is Family.TIME):
            raise refusal(place, f"{a.kind.name} {op} {b.kind.name} is not defined")
        span, factor = (a, b) if a.kind.family is Family.TIME else (b, a)
        factor = self.number(factor, place)
        if factor.kind.family is Family.REAL:
            scaled = self._with_reals(op, LREAL, span.real, factor.real, place)
            return Value(kind, self.fit(nearest(scaled.real, kind), kind, place))
        found = self._whole(op, span.number, factor.number)
        return Value(kind, self.fit(found, kind, place))


def power(a: float, b: float) -> float:
    """``a ** b`` of real numbers, as IEEE 754 has it where Python raises."""
    try:
        found = a**b
    except OverflowError:
        return float("-inf") if a < 0 and b % 2 == 1 else float("inf")
    return float("nan") if isinstance(found, complex) else float(found)


def nearest(number: float, kind: Kind) -> int:
    """The whole number nearest to `number`, ties to even; what is none is outside `kind`."""
    if number != number:
        return 0
    if number in (float("inf"), float("-inf")):
        return kind.hi + 1 if number > 0 else kind.lo - 1
    return round(number)
