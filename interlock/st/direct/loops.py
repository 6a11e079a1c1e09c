"""How often a loop may run: what the text tells of the passes of a FOR."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from typing import Any

from interlock.st import syntax as sx
from interlock.st.blocks import FUNCTIONS
from interlock.st.direct.kinds import ELEMENTARY, Family

MOST_TOLD = 1000
"""Passes of a FOR with limits that the text tells."""
MOST_OPEN = 32
"""Passes of any other loop; to need one more is a flaw."""

_CONVERSION = re.compile(r"(\w+_)?(TO|TRUNC)_\w+", re.IGNORECASE)


def most_passes(
    s: sx.For, is_known: Callable[[sx.Name], bool], unit: Callable[[str], sx.Unit | None]
) -> int:
    """How many passes of `s` are executed.

    Parameters
    ----------
    s : syntax.For
    is_known : callable
        Whether a name is that of a constant, or of the variable of a loop around whose passes the
        text tells.
    unit : callable
        The unit of a name.
    """
    limits = (s.first, s.last, *(() if s.step is None else (s.step,)))
    is_told = all(_is_told(limit, is_known) for limit in limits)
    is_left_alone = not set(s.variable.text.casefold().split(".")) & set(_touched(s.body, unit))
    return MOST_TOLD if is_told and is_left_alone else MOST_OPEN


def _is_told(e: sx.Expression, is_known: Callable[[sx.Name], bool]) -> bool:
    match e:
        case sx.Number():
            return True
        case sx.Name():
            return is_known(e)
        case sx.Unary(op="+" | "-"):
            return _is_told(e.operand, is_known)
        case sx.Binary(op="+" | "-" | "*" | "/" | "MOD"):
            return _is_told(e.left, is_known) and _is_told(e.right, is_known)
        case sx.Call():
            # Which array it is the text tells, wherever it is called.
            return e.function.upper() in ("LOWER_BOUND", "UPPER_BOUND")
        case _:
            return False


def _touched(node: Any, unit: Callable[[str], sx.Unit | None]) -> Iterator[str]:
    """Casefolded names that what is executed may assign: targets, and what calls are given."""
    match node:
        case sx.Assign():
            yield from _parts(node.target)
        case sx.For():
            yield from _parts(node.variable)
        case sx.Invoke():
            yield from _parts(node.instance)
            yield from (part for a in node.inputs for part in _parts(a.value))
        case sx.Call() if not _is_standard(node.function) and not _is_of_values(
            unit(node.function)
        ):
            given = (*node.arguments, *(a.value for a in node.named))
            yield from (part for value in given for part in _parts(value))
        case sx.OutputArgument():
            yield from _parts(node.target)
    inner = node if isinstance(node, tuple) else ()
    if is_dataclass(node):
        inner = tuple(getattr(node, each.name) for each in fields(node))
    for part in inner:
        yield from _touched(part, unit)


def _is_of_values(unit: sx.Unit | None) -> bool:
    """Whether `unit` is a function that only takes values, so that it assigns nothing given."""
    if unit is None or unit.kind != "FUNCTION":
        return False
    for declaration in unit.declarations:
        kind = ELEMENTARY.get(declaration.type.name.upper())
        is_value = kind is not None and kind.family is not Family.TEXT
        if declaration.kind in ("VAR_IN_OUT", "VAR_OUTPUT"):
            return False
        if declaration.kind == "VAR_INPUT" and not is_value:
            return False
    return True


def _is_standard(function: str) -> bool:
    return function.upper() in FUNCTIONS or _CONVERSION.fullmatch(function) is not None


def _parts(e: sx.Expression) -> Iterator[str]:
    match e:
        case sx.Name():
            yield from e.text.casefold().split(".")
        case sx.Element() | sx.Pointed():
            yield from _parts(e.base)
        case sx.Member():
            yield e.name.casefold()
            yield from _parts(e.base)
        case sx.Direct():
            yield e.address.casefold()
