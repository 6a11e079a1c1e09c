"""What a model compares with a number though the program knows classes of numbers only."""

from __future__ import annotations

import operator
from collections.abc import Callable, Mapping

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.reals import rounded
from interlock.st.types import BOOL, EnumType, NumberClasses, Scope

_TURNED = {"<": ">", "<=": ">=", ">": "<", ">=": "<="}
_SAYS: Mapping[str, Callable[[float, float], bool]] = {
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
    "=": operator.eq,
    "<>": operator.ne,
}
_MOST_SHOWN = 6


def with_classes(e: sx.Binary, scope: Scope) -> ty.Expression | str | None:
    """A comparison of an input that has classes with a number, asked of its classes.

    Parameters
    ----------
    e : syntax.Binary
    scope : Scope

    Returns
    -------
    typed.Expression or str or None
        A text says why it cannot be asked; None where `e` is no such comparison.
    """
    for name, other, op in ((e.left, e.right, e.op), (e.right, e.left, _TURNED.get(e.op, e.op))):
        if not isinstance(name, sx.Name) or op not in _SAYS:
            continue
        variable, number = scope.find(name.text), _number(other)
        if variable is None or number is None or not isinstance(variable.type, EnumType):
            continue
        classes = variable.type.classes
        if classes is not None:
            read = ty.Read(variable.name, variable.type, name.place)
            return _asked(read, classes, op, number, e.place)
    return None


def _number(e: sx.Expression) -> float | None:
    match e:
        case sx.Unary(op="-"):
            inner = _number(e.operand)
            return None if inner is None else -inner
        case sx.Real():
            return float(e.text)
        case sx.Number():
            return e.value
        case _:
            return None


def _asked(
    read: ty.Read, classes: NumberClasses, op: str, number: float, place: Place
) -> ty.Expression | str:
    if classes.base:
        number = rounded(number, classes.base)
    says = _SAYS[op]
    if (
        classes.is_passed
        and op in ("=", "<>")
        and classes.spans[0][1] < number < classes.spans[-1][0]
    ):
        return (
            f"'{read.name}' passes {number:g} in no time; ask whether it is above or below, or "
            "within what range"
        )
    held: list[ty.Expression] = []
    for value, (lo, hi) in enumerate(classes.spans):
        is_split = lo <= number <= hi and lo < hi if op in ("=", "<>") else False
        if is_split or says(lo, number) != says(hi, number):
            return _says_where(read, classes, number)
        if says(lo, number):
            assert isinstance(read.type, EnumType)
            label = ty.Constant(value, read.type, read.type.labels[value], read.place)
            held.append(ty.Binary("=", read, label, BOOL, place))
    if not held or len(held) == len(classes.spans):
        return ty.Constant(int(bool(held)), BOOL, "TRUE" if held else "FALSE", place)
    return held[0] if len(held) == 1 else ty.Junction("OR", tuple(held), BOOL, place)


def _says_where(read: ty.Read, classes: NumberClasses, number: float) -> str:
    assert isinstance(read.type, EnumType)
    if classes.is_passed:
        return f"no step of '{read.name}' is at {number:g}; give it one: 'steps: [{number:g}]'"
    shown = "; ".join(f"'{label}'" for label in read.type.labels[:_MOST_SHOWN])
    more = "; …" if len(read.type.labels) > _MOST_SHOWN else ""
    return (
        f"the program does not tell apart what '{read.name}' is on either side of {number:g}, only "
        f"{shown}{more}; compare it in the program and name the result here"
    )
