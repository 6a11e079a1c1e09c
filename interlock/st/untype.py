"""Typed trees back to syntax trees, so that what two texts mean can be compared as text.

Comments, layout, the case of letters, brackets without need and nested brackets of the same
AND or OR are gone; names are spelled as declared, constants as the trade writes them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.blocks import BLOCKS
from interlock.st.evaluate import call_as_written
from interlock.st.types import EnumType, RealType, TimeType, Type
from interlock.st.write import write_expression

_NOWHERE = Place("", 0, 0)


_OUTPUTS = frozenset(output for block in BLOCKS.values() for output in block.outputs)


def expression_text(expression: ty.Expression, renamed: Mapping[str, str] | None = None) -> str:
    """The canonical text of `expression`.

    Parameters
    ----------
    expression : typed.Expression
    renamed : mapping of str to str, optional
        Other spellings for names, by casefolded name; of ``t1.Q`` the part before the last dot.
    """
    return write_expression(untyped(expression, renamed or {}))


def constant_text(value: int, type_: Type) -> str:
    """A value of `type_` as it is written in a program."""
    return write_expression(_constant(value, type_))


def untyped(e: ty.Expression, renamed: Mapping[str, str]) -> sx.Expression:
    """The syntax tree of a typed expression."""
    match e:
        case ty.Constant():
            return sx.Real(repr(e.real), _NOWHERE) if e.real else _constant(e.value, e.type)
        case ty.Read():
            return sx.Name(spelled(e.name, renamed), _NOWHERE)
        case ty.Unary():
            return sx.Unary(e.op, untyped(e.operand, renamed), _NOWHERE)
        case ty.Binary():
            left, right = untyped(e.left, renamed), untyped(e.right, renamed)
            return sx.Binary(e.op, left, right, _NOWHERE)
        case ty.Junction():
            operands = _flat(e.op, (untyped(operand, renamed) for operand in e.operands))
            return sx.Junction(e.op, tuple(operands), _NOWHERE)
        case _:
            arguments = [untyped(argument, renamed) for argument in e.arguments]
            return call_as_written(e, arguments)


def spelled(name: str, renamed: Mapping[str, str]) -> str:
    """`name` with its new spelling, where it has one."""
    whole = renamed.get(name.casefold())
    if whole is not None:
        return whole
    owner, dot, member = name.rpartition(".")
    if not dot:
        return name
    is_output = member.upper() in _OUTPUTS
    return renamed.get(owner.casefold(), owner) + dot + (member.upper() if is_output else member)


def _flat(op: str, operands: Iterable[sx.Expression]) -> Iterable[sx.Expression]:
    for operand in operands:
        if isinstance(operand, sx.Junction) and operand.op == op:
            yield from operand.operands
        else:
            yield operand


def _constant(value: int, type_: Type) -> sx.Expression:
    match type_:
        case EnumType():
            return sx.Name(type_.labels[value], _NOWHERE)
        case TimeType():
            return sx.Duration(value, _NOWHERE, type_.base if type_.base != "TIME" else "")
        case RealType():
            return sx.Real(repr(type_.table[value]), _NOWHERE)
        case _ if str(type_) == "BOOL":
            return sx.Truth(bool(value), _NOWHERE)
        case _ if value < 0:
            return sx.Unary("-", sx.Number(-value, _NOWHERE), _NOWHERE)
        case _:
            return sx.Number(value, _NOWHERE)
