"""The checker of expressions: names, types and ranges."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from interlock.base.errors import Mistake, Place
from interlock.st import ranges
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.calls import Calls
from interlock.st.class_comparisons import with_classes
from interlock.st.evaluate import constant_of, reads_of
from interlock.st.names import Names
from interlock.st.types import (
    BOOL,
    GREATEST,
    INT_MAX,
    INT_MIN,
    LIMITS,
    LTIME,
    TIME,
    BitsType,
    BoolType,
    EnumType,
    IntType,
    RealType,
    Scope,
    TimeType,
    Type,
    elementary,
    span_of,
)
from interlock.st.unify import (
    adapted,
    agree,
    common_type,
    logical_type,
    whole,
    with_number,
)
from interlock.st.write import write_expression

_ORDER = frozenset(("<", ">", "<=", ">="))
_EQUALITY = frozenset(("=", "<>"))


class ExpressionChecker:
    """Types expressions in a scope; mistakes are collected, never raised.

    A method that finds a mistake in an expression returns None for it.

    Parameters
    ----------
    scope : Scope
    mistakes : list of Mistake
        Receives the mistakes.
    is_excused : callable, optional
        Whether a name that is not in the scope needs no message, because its declaration has one.
    divides_surely : bool
        Whether a divisor with zero in its range is a mistake; no operator is skipped, so what
        stands before it does not keep it from zero.
    is_program : bool
        Whether the expression stands in a program, where what does not fit its type wraps and is
        told as a flaw. Elsewhere nothing could tell it, so it is a mistake.
    """

    def __init__(
        self,
        scope: Scope,
        mistakes: list[Mistake],
        is_excused: Callable[[str], bool] = lambda _name: False,
        divides_surely: bool = False,
        is_program: bool = False,
    ) -> None:
        self.scope = scope
        self.mistakes = mistakes
        self.is_program = is_program
        self._divides_surely = divides_surely
        self._calls = Calls(self)
        self._names = Names(self, is_excused)

    @property
    def elapsed_reads(self) -> list[Place]:
        """Where the elapsed time of a timer is read."""
        return self._names.elapsed_reads

    def refuse(self, place: Place, says: str) -> None:
        """Note a mistake."""
        self.mistakes.append(Mistake(place, says))

    def check(self, e: sx.Expression, expected: Type | None) -> ty.Expression | None:
        """`e` typed, of the type `expected` if one is given; a number may have any range."""
        return self._fitted(e, self.infer(e, expected), expected)

    def given(self, e: sx.Expression, expected: Type | None, place: Place) -> ty.Expression | None:
        """As `check`, for what a variable is given at `place`: a value of an enumeration by its
        number, too.
        """
        found = self.infer(e, expected)
        if found is not None and isinstance(expected, EnumType):
            found = with_number(found, expected, place)
        return self._fitted(e, found, expected)

    def _fitted(
        self, e: sx.Expression, found: ty.Expression | None, expected: Type | None
    ) -> ty.Expression | None:
        if found is None or expected is None:
            return found
        found = adapted(found, expected, self.is_program)
        if agree(found.type, expected, self.is_program):
            return found
        self.refuse(
            e.place,
            f"{write_expression(e)[:60]} is of type {found.type}; expected {expected}"
            + self._hint(e, found.type, expected),
        )
        return None

    @staticmethod
    def _hint(e: sx.Expression, found: Type, expected: Type) -> str:
        if isinstance(found, IntType) and isinstance(expected, EnumType) and found.lo == found.hi:
            return f"; no value of it has the number {found.lo}"
        if isinstance(found, IntType) and isinstance(expected, BoolType):
            return "; compare it, or write TRUE or FALSE"
        if isinstance(e, sx.Name) and isinstance(found, EnumType) and expected == BOOL:
            return f"; compare it, as in {e.text} = {found.labels[0]}"
        return ""

    def infer(self, e: sx.Expression, expected: Type | None) -> ty.Expression | None:
        """`e` typed; what may mean several things is taken as `expected` where that is given."""
        match e:
            case sx.Number():
                return self._number(e)
            case sx.Real():
                type_ = elementary(e.prefix or "LREAL")
                assert type_ is not None
                # Without a prefix the number takes the type of what it meets.
                type_ = type_ if e.prefix else RealType("")
                return ty.Constant(0, type_, e.text, e.place, float(e.text))
            case sx.Truth():
                return ty.Constant(int(e.value), BOOL, write_expression(e), e.place)
            case sx.Duration():
                type_ = replace(LTIME if e.prefix == "LTIME" else TIME, lo=e.ms, hi=e.ms)
                return ty.Constant(e.ms, type_, write_expression(e), e.place)
            case sx.Name() | sx.Member() | sx.Element():
                return self._names.name(e, expected)
            case sx.Qualified():
                return self._names.qualified(e)
            case sx.Unary() | sx.Junction() | sx.Binary():
                return self._operator(e, expected)
            case sx.Choice():
                return self._calls.choice(e, expected)
            case sx.Call():
                return self._calls.check(e, expected)
            case _:
                self.refuse(e.place, f"{_what(e)} is not supported here")
                return None

    def _number(self, e: sx.Number) -> ty.Expression | None:
        type_ = elementary(e.prefix) if e.prefix else IntType(e.value, e.value, "")
        if isinstance(type_, RealType):
            return ty.Constant(0, type_, str(e.value), e.place, float(e.value))
        if type_ is None or isinstance(type_, BoolType | TimeType):
            self.refuse(e.place, f"{e.prefix}# is no type of integers")
            return None
        lo, hi = LIMITS.get(e.prefix.upper(), (e.value, e.value))
        if not lo <= e.value <= hi:
            self.refuse(e.place, f"{e.value} is outside {type_} ({lo}..{hi})")
            return None
        if isinstance(type_, IntType):
            type_ = IntType(e.value, e.value, type_.base)
        return ty.Constant(e.value, type_, write_expression(e), e.place)

    # Operators

    def _operator(
        self, e: sx.Unary | sx.Junction | sx.Binary, expected: Type | None
    ) -> ty.Expression | None:
        match e:
            case sx.Unary(op="NOT"):
                found = self._logical([e.operand], expected)
                return found and ty.Unary("NOT", found[0][0], found[1], e.place)
            case sx.Unary():
                return self._signed(e)
            case sx.Junction():
                found = self._logical(e.operands, expected)
                return found and ty.Junction(e.op, tuple(found[0]), found[1], e.place)
            case _ if e.op == "XOR":
                found = self._logical([e.left, e.right], expected)
                return found and ty.Binary("XOR", found[0][0], found[0][1], found[1], e.place)
            case _ if e.op in _EQUALITY or e.op in _ORDER:
                return self.comparison(e)
            case _:
                a, b = self.number(e.left, e.op), self.number(e.right, e.op)
                return self.arithmetic(e, a, b) if a and b else None

    def _logical(
        self, operands: Sequence[sx.Expression], expected: Type | None
    ) -> tuple[list[ty.Expression], Type] | None:
        """Operands and type of AND, OR, XOR or NOT: all BOOL, or all bit strings and integers."""
        found = [self.infer(operand, expected) for operand in operands]
        if any(one is None for one in found):
            return None
        known = [one for one in found if one is not None]
        types = [one.type for one in known]
        if len(types) > 1 and expected is not None and all(map(_is_bare_number, types)):
            # Literals alone have the type of what they are for.
            types.append(expected)
        if self.is_program and expected != BOOL and _are_bits(types):
            return known, logical_type(types)
        checked: list[ty.Expression] = []
        for operand, one in zip(operands, known, strict=True):
            one = adapted(one, BOOL, self.is_program)
            if one.type != BOOL:
                self.refuse(
                    operand.place,
                    f"{write_expression(operand)[:60]} is of type {one.type}; expected BOOL"
                    + self._hint(operand, one.type, BOOL),
                )
            checked.append(one)
        return (checked, BOOL) if all(one.type == BOOL for one in checked) else None

    def _signed(self, e: sx.Unary) -> ty.Expression | None:
        if e.op == "+":
            return self.number(e.operand, "+")
        if isinstance(e.operand, sx.Number) and not e.operand.prefix:
            # -32768 is an INT although 32768 is not.
            return self._number(sx.Number(-e.operand.value, e.place))
        if isinstance(e.operand, sx.Real):
            return self.infer(replace(e.operand, text=f"-{e.operand.text}"), None)
        value = self.number(e.operand, "-")
        if value is None:
            return None
        if isinstance(value.type, RealType):
            return ty.Unary("-", value, value.type, e.place)
        span = ranges.negated(span_of(whole(value.type) or value.type))
        if isinstance(value.type, TimeType):
            return self.fitted(ty.Unary("-", value, value.type, e.place), span, e)
        base = (whole(value.type) or IntType(0, 0)).base
        # An unsigned number is negated in the next larger signed type.
        base = base if not base or LIMITS[base][0] < 0 else ranges.common_base(base, "SINT")
        return self.fitted(ty.Unary("-", value, IntType(*span, base), e.place), span, e)

    def number(self, e: sx.Expression, operator: str) -> ty.Expression | None:
        """`e`, which must be a number or, in a program, a duration."""
        found = self.infer(e, None)
        if found is None:
            return None
        if self.is_program and isinstance(found.type, EnumType):
            found = adapted(found, IntType(0, 0), True)
        is_number = isinstance(found.type, IntType | RealType)
        if is_number or (self.is_program and isinstance(found.type, TimeType | BitsType)):
            return found
        if isinstance(found.type, BitsType):
            return found
        self.refuse(
            e.place,
            f"{write_expression(e)[:60]} is of type {found.type}; {operator} needs INT",
        )
        return None

    def arithmetic(self, e: sx.Binary, a: ty.Expression, b: ty.Expression) -> ty.Expression | None:
        """``a op b`` of two numbers, or of durations as the operator allows."""
        type_ = self._arithmetic_type(e, a.type, b.type)
        if type_ is None:
            return None
        if isinstance(type_, RealType):
            a, b = adapted(a, type_, True), adapted(b, type_, True)
            return ty.Binary(e.op, a, b, type_, e.place)
        divisor = span_of(b.type)
        if e.op == "/" and (divisor == (0, 0) or constant_of(b) == 0):
            self.refuse(e.right.place, "division by zero")
            return None
        if e.op == "/" and self._divides_surely and divisor[0] <= 0 <= divisor[1]:
            text = write_expression(e.right)[:60]
            sure = f"; MAX({text}, 1) is never 0" if divisor[0] == 0 else ""
            says = f"may divide by zero: {text} may be {divisor[0]}..{divisor[1]}{sure}"
            self.refuse(e.right.place, says)
            return None
        span = ranges.ARITHMETIC[e.op](span_of(a.type), divisor)
        return self.fitted(ty.Binary(e.op, a, b, type_, e.place), span, e)

    def _arithmetic_type(self, e: sx.Binary, a: Type, b: Type) -> Type | None:
        whole_a, whole_b = whole(a), whole(b)
        if whole_a and whole_b:
            return common_type([whole_a, whole_b])
        if isinstance(a, TimeType) and isinstance(b, TimeType) and e.op in ("+", "-"):
            return common_type([a, b])
        if isinstance(a, TimeType) and whole_b and e.op in ("*", "/"):
            return a
        if whole_a and isinstance(b, TimeType) and e.op == "*":
            return b
        timeless = not (isinstance(a, TimeType) or isinstance(b, TimeType))
        if timeless and e.op != "MOD":
            return common_type([a, b])
        self.refuse(e.place, f"{e.op} cannot combine {a} and {b}")
        return None

    def fitted(
        self, found: ty.Expression, span: ranges.Span, e: sx.Expression
    ) -> ty.Expression | None:
        """`found` with its range; in a program what leaves the type wraps, elsewhere is refused."""
        type_ = found.type
        assert isinstance(type_, IntType | TimeType)
        limits = LIMITS.get(type_.base, (-GREATEST, GREATEST))
        if ranges.within(span, limits):
            return replace(found, type=replace(type_, lo=span[0], hi=span[1]))
        if self.is_program and type_.base:
            return replace(found, type=replace(type_, lo=limits[0], hi=limits[1]))
        says = f"is {span[0]}" if span[0] == span[1] else f"may be {span[0]}..{span[1]}"
        counts = [read.name for read in reads_of(found) if read.name.endswith(".CV")]
        self.refuse(
            e.place,
            f"{write_expression(e)[:60]} {says}, outside {type_.base} ({limits[0]}..{limits[1]})"
            + (f"; limit the count, as in MIN({counts[0]}, 9)" if counts else ""),
        )
        return None

    def comparison(self, e: sx.Binary) -> ty.Expression | None:
        """``a = b`` and its like."""
        asked = None if self.is_program else with_classes(e, self.scope)
        if isinstance(asked, str):
            self.refuse(e.place, asked)
            return None
        if asked is not None:
            return asked
        pair = self.pair(e.left, e.right)
        if pair is None:
            return None
        left, right = pair
        if e.op in _ORDER and self.is_program and isinstance(left.type, EnumType):
            # In a program an enumeration's value is its number where order is asked for.
            left, right = (adapted(one, IntType(0, 0), True) for one in pair)
        if e.op in _ORDER and isinstance(left.type, BoolType | EnumType):
            self.refuse(
                e.place,
                f"{e.op} cannot order values of type {left.type}; only = and <> can",
            )
            return None
        return ty.Binary(e.op, left, right, BOOL, e.place)

    def pair(
        self, left: sx.Expression, right: sx.Expression
    ) -> tuple[ty.Expression, ty.Expression] | None:
        """Two operands of one type; a value of an enumeration follows the other operand."""
        if self._is_bare_label(left) and not self._is_bare_label(right):
            b = self.infer(right, None)
            a = self._like(left, b) if b else None
        else:
            a = self.infer(left, None)
            # Without a type to go by, a label would be reported as ambiguous or undeclared.
            lost = a is None and self._is_bare_label(right)
            if lost:
                return None
            b = self._like(right, a) if a else self.infer(right, None)
        if a is None or b is None:
            return None
        a = adapted(a, b.type, self.is_program)
        if isinstance(a.type, RealType):
            # A literal is rounded to the type of what it meets, on either side.
            b = adapted(b, a.type, self.is_program)
        return (a, b) if self._may_meet(a, b) and self._may_meet(b, a) else None

    def _like(self, e: sx.Expression, other: ty.Expression) -> ty.Expression | None:
        """`e` of the type of `other`, or of one that can be brought together with it."""
        found = self.infer(e, other.type)
        if found is None or agree(adapted(other, found.type, self.is_program).type, found.type):
            return found
        if self.is_program and isinstance(found.type, EnumType) and whole(other.type):
            return adapted(found, other.type, True)
        found = adapted(found, other.type, self.is_program)
        if agree(found.type, other.type):
            return found
        self.refuse(
            e.place,
            f"{write_expression(e)[:60]} is of type {found.type}; expected {other.type}"
            + self._hint(e, found.type, other.type),
        )
        return None

    def _may_meet(self, a: ty.Expression, b: ty.Expression) -> bool:
        """Whether a literal fits what it meets; in a program it may be of a larger type."""
        if self.is_program or not (isinstance(a.type, IntType) and isinstance(b.type, IntType)):
            return True
        lo, hi = b.type.limits if b.type.base else (INT_MIN, INT_MAX)
        if a.type.base or ranges.within(span_of(a.type), (lo, hi)):
            return True
        self.refuse(a.place, f"{a.type.lo} is outside {b.type.base or 'INT'} ({lo}..{hi})")
        return False

    def _is_bare_label(self, e: sx.Expression) -> bool:
        return isinstance(e, sx.Name) and self.scope.find(e.text) is None


def _is_bare_number(type_: Type) -> bool:
    return isinstance(type_, IntType) and not type_.base and type_.lo >= 0


def _are_bits(types: Sequence[Type]) -> bool:
    """Whether a logical operator works bit by bit: no BOOL among bit strings and integers."""
    named = [t for t in types if isinstance(t, BitsType | IntType) and t.base]
    return bool(named) and all(whole(t) is not None for t in types)


_KINDS = {
    sx.Opaque: "a string or a date",
    sx.Direct: "a direct address",
    sx.Pointed: "a pointer",
    sx.ArrayValue: "the value of an array",
    sx.StructValue: "the value of a structure",
}


def _what(e: sx.Expression) -> str:
    return _KINDS.get(type(e), "this")
