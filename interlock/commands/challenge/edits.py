"""Changes of a program at several of its places at once."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from interlock.commands.challenge.expression_defects import with_child
from interlock.st import typed as ty
from interlock.st.evaluate import operands_of

Body = tuple[ty.Statement, ...]


@dataclass(frozen=True)
class Edit:
    """What stands at one place of a body, and what is to stand there.

    Attributes
    ----------
    path : tuple of int
        By turns the number of a statement and of a part of it: of an IF its conditions and their
        statements one after the other, then ELSE; of a CASE its selector, then its branches, then
        ELSE; of a call its inputs; of an assignment its value. In an expression the numbers of
        operands follow.
    new : typed.Expression or tuple of typed.Statement
    n_statements : int
        So many statements are replaced; 0 where an expression is.
    """

    path: tuple[int, ...]
    new: ty.Expression | Body
    n_statements: int = 0

    def within(self, *steps: int) -> Edit:
        """The same change, seen from further outside."""
        return replace(self, path=(*steps, *self.path))

    def after_step(self) -> Edit:
        """The same change, seen from one step further inside."""
        return replace(self, path=self.path[1:])


def edited(body: Body, edits: Iterable[Edit]) -> Body:
    """`body` with all `edits`; of two that would replace one statement the last is made."""
    found = list(body)
    first_replaced = len(body)
    for number, inner in _by_step(edits):
        whole = [edit for edit in inner if len(edit.path) == 1]
        if not whole:
            found[number] = _statement(body[number], [edit.after_step() for edit in inner])
        elif number + whole[0].n_statements <= first_replaced:
            new = whole[0].new
            assert isinstance(new, tuple)
            found[number : number + whole[0].n_statements] = new
            first_replaced = number
    return tuple(found)


def _by_step(edits: Iterable[Edit]) -> list[tuple[int, list[Edit]]]:
    """Edits by their first step, the last first, so that numbers stay what they are."""
    groups: dict[int, list[Edit]] = {}
    for edit in edits:
        groups.setdefault(edit.path[0], []).append(edit)
    return sorted(groups.items(), key=lambda pair: -pair[0])


def _statement(s: ty.Statement, edits: Sequence[Edit]) -> ty.Statement:
    for part, inner in _by_step(edits):
        rest = [edit.after_step() for edit in inner]
        match s:
            case ty.Assign():
                s = replace(s, value=_expression(s.value, rest))
            case ty.Invoke():
                name, value = s.inputs[part]
                given = (name, _expression(value, rest))
                s = replace(s, inputs=(*s.inputs[:part], given, *s.inputs[part + 1 :]))
            case ty.If():
                s = _if(s, part, rest)
            case ty.Case():
                s = _case(s, part, rest)
    return s


def _if(s: ty.If, part: int, edits: Sequence[Edit]) -> ty.If:
    number = part // 2
    if number == len(s.branches):
        return replace(s, otherwise=edited(s.otherwise, edits))
    branch = s.branches[number]
    if part % 2:
        branch = replace(branch, body=edited(branch.body, edits))
    else:
        branch = replace(branch, condition=_expression(branch.condition, edits))
    return replace(s, branches=(*s.branches[:number], branch, *s.branches[number + 1 :]))


def _case(s: ty.Case, part: int, edits: Sequence[Edit]) -> ty.Case:
    if part == 0:
        return replace(s, selector=_expression(s.selector, edits))
    number = part - 1
    if number == len(s.branches):
        return replace(s, otherwise=edited(s.otherwise, edits))
    branch = replace(s.branches[number], body=edited(s.branches[number].body, edits))
    return replace(s, branches=(*s.branches[:number], branch, *s.branches[number + 1 :]))


def _expression(e: ty.Expression, edits: Sequence[Edit]) -> ty.Expression:
    here = next((edit.new for edit in edits if not edit.path), None)
    if here is not None:
        assert not isinstance(here, tuple)
        return here
    operands = operands_of(e)
    for number, inner in _by_step(edits):
        child = _expression(operands[number], [edit.after_step() for edit in inner])
        e = with_child(e, number, child)
    return e
