"""Values of one type made values of another, by ``X_TO_Y`` and by assignment."""

from __future__ import annotations

from interlock.base.errors import InputError, Place
from interlock.st.direct.arithmetic import Arithmetic, nearest, wrapped
from interlock.st.direct.kinds import BOOL, Family, Kind, Value, integer_kind, refusal

_WHOLE = (Family.INTEGER, Family.BITS, Family.ENUM, Family.BOOL, Family.TIME)


def converted(value: Value, kind: Kind, place: Place, arithmetic: Arithmetic) -> Value:
    """What ``X_TO_Y`` gives.

    Integers wrap with a flaw where they do not fit; to and from bit strings the low bits are kept;
    BOOL is whether it is not zero; a real number is rounded to nearest, ties to even, and becomes
    the nearest value with a flaw where it is outside.
    """
    source = value.kind.family
    if source is Family.TEXT or kind.family is Family.TEXT:
        return _text(value, kind)
    if source is Family.REFERENCE:
        raise refusal(place, "a reference cannot be converted")
    if kind == BOOL:
        return Value(BOOL, int(value.real != 0))
    if kind.family is Family.REAL:
        return Value(kind, arithmetic.finite(value.real, kind, place))
    if source is Family.REAL:
        return Value(kind, clamped(nearest(value.real, _whole(kind)), kind, place, arithmetic))
    if kind.family is Family.BITS:
        return Value(kind, value.number & kind.hi)
    if source is Family.BITS:
        return Value(kind, wrapped(value.number, kind))
    return Value(kind, arithmetic.fit(value.number, kind, place))


def truncated(value: Value, kind: Kind, place: Place, arithmetic: Arithmetic) -> Value:
    """A real number towards zero, as TRUNC gives it."""
    number = value.real
    is_finite = abs(number) < float("inf")
    whole = int(number) if is_finite else nearest(number, kind)
    return Value(kind, clamped(whole, kind, place, arithmetic))


def clamped(number: int, kind: Kind, place: Place, arithmetic: Arithmetic) -> int:
    """`number`, or the nearest value of `kind` with a flaw."""
    bounds = _whole(kind)
    if bounds.lo <= number <= bounds.hi:
        return number
    arithmetic.note(place, f"the result does not fit {kind.name} ({bounds.lo}..{bounds.hi})")
    return bounds.hi if number > bounds.hi else bounds.lo


def _whole(kind: Kind) -> Kind:
    return integer_kind(kind) or kind


def _text(value: Value, kind: Kind) -> Value:
    if kind.name in ("STRING", "WSTRING"):
        content = value.content
        if value.kind == BOOL:
            content = "TRUE" if content else "FALSE"
        return Value(kind, str(content))
    if kind.family is Family.TEXT:
        return Value(kind, value.content)
    try:
        number = (
            float(str(value.content)) if kind.family is Family.REAL else int(str(value.content))
        )
    except ValueError:
        return Value(kind, 0)
    return Value(kind, number)


def assigned(
    value: Value, kind: Kind, place: Place, arithmetic: Arithmetic, target: str
) -> int | float | str | object:
    """What a variable of `kind` holds after it was given `value`.

    Raises
    ------
    InputError
        Where values of this type cannot be assigned to it.
    """
    source = value.kind.family
    if kind.family in (Family.TEXT, Family.REFERENCE):
        if source is not kind.family:
            raise _mismatch(value.kind, kind, place, target)
        return value.content
    if source in (Family.TEXT, Family.REFERENCE):
        raise _mismatch(value.kind, kind, place, target)
    if kind.family is Family.REAL:
        if source in (Family.TIME, Family.BOOL):
            raise _mismatch(value.kind, kind, place, target)
        return arithmetic.finite(value.real, kind, place)
    if source is Family.REAL:
        raise _mismatch(value.kind, kind, place, target)
    return _assigned_whole(value, kind, place, arithmetic, target)


def _assigned_whole(
    value: Value, kind: Kind, place: Place, arithmetic: Arithmetic, target: str
) -> int:
    number, source = value.number, value.kind.family
    match kind.family:
        case Family.BOOL:
            if source is not Family.BOOL and not (value.kind.is_literal and number in (0, 1)):
                raise _mismatch(value.kind, kind, place, target)
            return number
        case Family.TIME:
            if source is not Family.TIME:
                raise _mismatch(value.kind, kind, place, target)
            return arithmetic.fit(number, kind, place, target)
        case Family.BITS:
            if source is Family.TIME:
                raise _mismatch(value.kind, kind, place, target)
            # The bits of a negative number of its own width are all there.
            if not -(kind.hi + 1) // 2 <= number <= kind.hi:
                arithmetic.note(place, f"'{target}' is assigned a value outside 0..{kind.hi}")
            return number & kind.hi
        case Family.ENUM:
            if source in (Family.INTEGER, Family.BITS):
                return _place_with_number(number, kind, place, arithmetic)
            if value.kind != kind:
                raise _mismatch(value.kind, kind, place, target)
            return int(str(value.content))
        case _:
            if source in (Family.BOOL, Family.TIME):
                raise _mismatch(value.kind, kind, place, target)
            return arithmetic.fit(number, kind, place, target)


def _place_with_number(number: int, kind: Kind, place: Place, arithmetic: Arithmetic) -> int:
    """Where the first value with a number stands in the list of an enumeration's values."""
    for at, (_, known) in enumerate(kind.labels):
        if known == number:
            return at
    arithmetic.note(place, f"no value of {kind.name} has this number")
    return 0


def _mismatch(source: Kind, kind: Kind, place: Place, target: str) -> InputError:
    return refusal(place, f"'{target}' is {kind.name} and cannot be given {source.name}")
