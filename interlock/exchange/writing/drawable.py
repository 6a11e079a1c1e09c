"""What may be drawn: which expressions and statements have the same meaning as a network."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from interlock.base.errors import Place
from interlock.exchange.known_types import Scope
from interlock.exchange.making import names_in, parts_of
from interlock.st import syntax as sx
from interlock.st.blocks import FUNCTIONS, OPERATORS

BLOCK_OF = {op: name for name, op in OPERATORS.items()}
"""The block that does what an operator does."""
_NEVER_FAIL = frozenset(("SEL", "MIN", "MAX", "AND", "OR", "XOR", "NOT", "MOVE"))
_ARITHMETIC = frozenset(("+", "-", "*", "/", "MOD", "**"))
_LOCAL = frozenset(("VAR", "VAR_OUTPUT", "VAR_TEMP"))


class CannotDrawError(Exception):
    """Something has no drawing with the same meaning.

    Attributes
    ----------
    says : str
        What it is.
    place : Place
    """

    def __init__(self, says: str, place: Place) -> None:
        super().__init__(says)
        self.says, self.place = says, place


@dataclass(frozen=True)
class Known:
    """What is known of the unit that is drawn.

    Attributes
    ----------
    scope : Scope
    declarations : tuple of syntax.Declaration
    actions : frozenset of str
        Casefolded.
    """

    scope: Scope
    declarations: tuple[sx.Declaration, ...]
    actions: frozenset[str]

    def is_truth(self, e: sx.Expression) -> bool:
        """Whether an expression surely is a BOOL."""
        if isinstance(e, sx.Truth):
            return True
        if isinstance(e, sx.Unary | sx.Junction):
            inner = (e.operand,) if isinstance(e, sx.Unary) else e.operands
            return all(self.is_truth(one) for one in inner)
        if isinstance(e, sx.Binary) and e.op == "XOR":
            return self.is_truth(e.left) and self.is_truth(e.right)
        found = self.scope.type_of(e)
        return found is not None and found.name.upper() == "BOOL" and found.of is None

    def may_fail(self, e: sx.Expression) -> bool:
        """Whether evaluating an expression may do or be more than to give a value.

        A division by zero, an overflow, an index outside, code of the project.
        """
        return any(map(_may_fail, parts_of(e)))

    def is_undisturbed(self, e: sx.Expression, body: Iterable[sx.Statement]) -> bool:
        """Whether an expression surely has the same value behind the statements of a body."""
        local = {
            name.text.casefold()
            for d in self.declarations
            if d.kind in _LOCAL and not d.address
            for name in d.names
        }
        read = names_in(e)
        for s in body:
            if not isinstance(s, sx.Assign) or not isinstance(s.target, sx.Name):
                return False
            name = s.target.text.casefold().partition(".")[0]
            if name not in local or name in read:
                return False
        return not self.may_fail(e)


def _may_fail(e: sx.Expression) -> bool:
    match e:
        case sx.Binary():
            return e.op in _ARITHMETIC
        case sx.Unary():
            return e.op == "-" and not isinstance(e.operand, sx.Number | sx.Real)
        case sx.Element():
            return not all(isinstance(index, sx.Number) for index in e.indexes)
        case sx.Call():
            return e.function.upper() not in _NEVER_FAIL or e.on is not None or bool(e.outputs)
        case _:
            return isinstance(e, sx.Pointed | sx.Choice)


def arguments_of(e: sx.Call) -> list[tuple[str, sx.Expression]] | None:
    """The arguments of a function of the standard with their names; None where it is none."""
    function = FUNCTIONS.get(e.function.upper())
    if function is None or e.on is not None or e.outputs:
        return None
    if e.named:
        named = [(a.name, a.value) for a in e.named]
        known = all(name and function.place_of(name) is not None for name, _ in named)
        return named if known and not e.arguments else None
    names = list(function.names)
    stem = names[-1].rstrip("0123456789")
    while len(names) < len(e.arguments):
        names.append(f"{stem}{int(names[-1][len(stem) :]) + 1}")
    return list(zip(names, e.arguments, strict=False))


def leaves(body: Iterable[sx.Statement]) -> bool:
    """Whether statements hold a RETURN."""
    for s in body:
        match s:
            case sx.Leave():
                if s.word == "RETURN":
                    return True
            case sx.If() | sx.Case():
                if any(leaves(b.body) for b in s.branches) or leaves(s.otherwise):
                    return True
            case sx.For() | sx.While() | sx.Repeat():
                if leaves(s.body):
                    return True
            case _:
                pass
    return False
