"""How types come together: what may stand for what, and the type of several values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from interlock.base.errors import Place
from interlock.st import ranges
from interlock.st import typed as ty
from interlock.st.reals import rounded
from interlock.st.types import (
    BIT_STRINGS,
    BOOL,
    LIMITS,
    UNSIGNED,
    BitsType,
    BoolType,
    EnumType,
    IntType,
    RealType,
    TimeType,
    Type,
    elementary,
    span_of,
)

_UNSIGNED_OF = {width: name for name, width in UNSIGNED.items()}


def whole(type_: Type) -> IntType | None:
    """The integer type that a value counts as in arithmetic, or None where it is no integer.

    A bit string counts as the unsigned integer of its width.
    """
    if isinstance(type_, IntType):
        return type_
    if isinstance(type_, BitsType):
        return IntType(*LIMITS[type_.base], _UNSIGNED_OF[type_.width])
    return None


def agree(found: Type, expected: Type, is_program: bool = True) -> bool:
    """Whether a value of one type may be given where the other is wanted."""
    both_whole = whole(found) is not None and whole(expected) is not None
    both_times = isinstance(found, TimeType) and isinstance(expected, TimeType)
    both_real = isinstance(found, RealType) and isinstance(expected, RealType)
    return found == expected or both_whole or (is_program and both_times) or both_real


def adapted(e: ty.Expression, expected: Type, is_program: bool) -> ty.Expression:
    """`e` as a value of `expected` where the language does so by itself, else as it is.

    0 and 1 are truth values, a literal is of the type wanted, an integer a real number; in a
    program an enumeration's value is its number where an integer is wanted.
    """
    type_ = e.type
    if isinstance(expected, BoolType) and isinstance(e, ty.Constant):
        is_digit = isinstance(type_, IntType) and not type_.base and e.value in (0, 1)
        return replace(e, type=BOOL) if is_digit and is_program else e
    if isinstance(expected, RealType) and not isinstance(type_, BoolType):
        return _as_real(e, expected)
    if is_program and isinstance(type_, EnumType) and whole(expected) is not None:
        numbers = [type_.number_at(value) for value in range(len(type_.labels))]
        result = IntType(min(numbers), max(numbers), type_.base)
        if isinstance(e, ty.Constant):
            number = numbers[e.value]
            return ty.Constant(number, replace(result, lo=number, hi=number), e.text, e.place)
        return ty.Call("NUMBER", (e,), result, e.place)
    return e


def with_number(e: ty.Expression, enum: EnumType, place: Place) -> ty.Expression:
    """The value of an enumeration that has the number `e`, else the first; `e` if it is no number.

    A constant that is the number of none stays as it is. That none has it is a flaw at `place`.
    """
    if whole(e.type) is None or enum.classes is not None:
        return e
    numbers = [enum.number_at(value) for value in range(len(enum.labels))]
    values = [ty.Constant(n, enum, label, e.place) for n, label in enumerate(enum.labels)]
    if isinstance(e, ty.Constant):
        return values[numbers.index(e.value)] if e.value in numbers else e
    hi = span_of(e.type)[1]
    index: ty.Expression
    if numbers == list(range(numbers[0], numbers[0] + len(numbers))):
        first = _whole_constant(numbers[0], place)
        below = _whole_constant(numbers[0] - 1, place)
        last = _whole_constant(numbers[-1], place)
        beyond = ty.Binary(">", e, last, BOOL, place)
        type_ = common_type([e.type, below.type])
        index = ty.Call("SEL", (beyond, e, below), type_, place) if hi > numbers[-1] else e
    else:
        first, index = _whole_constant(0, place), _whole_constant(-1, place)
        for n, number in enumerate(numbers):
            has_it = ty.Binary("=", e, _whole_constant(number, place), BOOL, place)
            at = _whole_constant(n, place)
            index = ty.Call("SEL", (has_it, index, at), IntType(-1, n), place)
    return ty.Call("VALUE", (index, first, *values), enum, place)


def _whole_constant(value: int, place: Place) -> ty.Constant:
    return ty.Constant(value, IntType(value, value, ""), str(value), place)


def _as_real(e: ty.Expression, expected: RealType) -> ty.Expression:
    type_ = e.type
    plain = RealType(expected.base or "LREAL")
    if isinstance(type_, RealType):
        if type_.base or not isinstance(e, ty.Constant) or not expected.base:
            return e
        return replace(e, type=plain, real=rounded(e.real, plain.base))
    if whole(type_) is None:
        return e
    if isinstance(e, ty.Constant):
        return ty.Constant(0, plain, e.text, e.place, rounded(float(e.value), plain.base))
    return ty.Call("TO_REAL", (e,), plain, e.place)


def common_type(types: Sequence[Type]) -> Type:
    """The type of a value that may be of any of `types`, which belong together.

    >>> str(common_type([IntType(0, 3), IntType(5, 9, "")])), str(common_type([BOOL, BOOL]))
    ('INT (0..9)', 'BOOL')
    """
    if any(isinstance(t, RealType) for t in types):
        bases = {t.base for t in types if isinstance(t, RealType) and t.base}
        return RealType("LREAL" if "LREAL" in bases or not bases else "REAL")
    first = types[0]
    if isinstance(first, TimeType):
        lo, hi = ranges.join([span_of(t) for t in types])
        is_long = any(isinstance(t, TimeType) and t.base == "LTIME" for t in types)
        return TimeType("LTIME" if is_long else "TIME", lo, hi)
    if all(t == first for t in types) and not isinstance(first, IntType):
        return first
    integers = [whole(t) for t in types]
    found = [t for t in integers if t is not None]
    if not found:
        return first
    lo, hi = ranges.join([(t.lo, t.hi) for t in found])
    return IntType(lo, hi, _common_base(found))


def _common_base(types: Sequence[IntType]) -> str:
    """The elementary type of an operation; a literal takes that of the others if it fits."""
    bases = [t.base for t in types if t.base]
    if not bases:
        return ""
    base = bases[0]
    for other in bases[1:]:
        base = ranges.common_base(base, other)
    for literal in types:
        span = (literal.lo, literal.hi)
        if not literal.base and not ranges.within(span, LIMITS[base]):
            base = ranges.common_base(base, ranges.least_base(span))
    return base


def logical_type(types: Sequence[Type]) -> Type:
    """The type of AND, OR or XOR of bit strings and integers: the widest of them.

    A literal is as wide as it needs, so that no bit of it is lost where the others are narrower.
    """
    widths = [t.width for t in types if isinstance(t, BitsType)]
    if not widths:
        common = common_type(types)
        base = common.base if isinstance(common, IntType) else "INT"
        return elementary(base) or common
    for type_ in types:
        if isinstance(type_, IntType):
            least, most = LIMITS[type_.base] if type_.base else (0, type_.hi)
            widths.append((most - least).bit_length() if most > least else 0)
    return BitsType(next(name for name, n in BIT_STRINGS.items() if n >= max(widths)))


def constant_at(type_: Type, value: float, text: str, place: Place) -> ty.Constant:
    """A constant of `type_`; what is known of it is its value."""
    if isinstance(type_, RealType):
        return ty.Constant(0, type_, text, place, float(value))
    number = int(value)
    if isinstance(type_, IntType | TimeType):
        return ty.Constant(number, replace(type_, lo=number, hi=number), text, place)
    return ty.Constant(number, type_, text, place)
