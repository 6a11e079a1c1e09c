"""Which names the code of each unit may assign, as far as the text alone tells."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from interlock.st import syntax as sx
from interlock.st.blocks import FUNCTIONS
from interlock.st.elaborate.addresses import plain_address
from interlock.st.elaborate.project import Project, words_of

_CONVERSION = re.compile(r"(\w+_)?(TO|TRUNC)_\w+")


def assigned_in(unit: sx.Unit) -> set[str]:
    """Casefolded names that `unit`, its actions or its methods may assign.

    A name that is given to a call may be an in-out and counts. Of ``a.b[i].c`` each of a, b and c
    counts, whichever of them is the variable. What a reference is bound to, it may assign.
    """
    found = set(assigned_by(unit.body))
    for declaration in unit.declarations:
        if declaration.initial is not None and declaration.type.name == "REFERENCE":
            found |= set(_given(declaration.initial))
    for action in unit.actions:
        found |= set(assigned_by(action.body))
    for method in unit.methods:
        found |= assigned_in(method)
    if unit.chart is not None:
        found |= {use.name.casefold() for step in unit.chart.steps for use in step.actions}
    return found


def mentioned_by(units: Iterable[sx.Unit], project: Project) -> set[str]:
    """Casefolded names of the units that the text of `units`, or of one found so, names."""
    found: set[str] = set()
    stack: list[object] = list(units)
    while stack:
        for word in words_of(stack.pop()) - found:
            found.add(word)
            if word in project.globals:
                stack.append(project.globals[word][1].type)
            if word in project.types:
                stack.append(project.types[word])
            if word in project.units:
                stack.append(project.units[word])
    return found & project.units.keys()


def assigned_by(body: Iterable[sx.Statement]) -> Iterator[str]:
    """Casefolded names that `body` may assign."""
    for s in body:
        match s:
            case sx.Assign():
                yield from _parts(s.target)
                yield from _given_in(s.value)
            case sx.Invoke():
                for argument in s.inputs:
                    yield from _given(argument.value)
                for output in s.outputs:
                    yield from _parts(output.target)
                # An input assigned from outside, or a call of another's action.
                yield from _parts(s.instance)
            case _:
                yield from _of_parts(s)


def _of_parts(s: sx.Statement) -> Iterator[str]:
    """What the statements within a statement assign, and what its conditions call."""
    match s:
        case sx.If():
            for branch in s.branches:
                yield from _given_in(branch.condition)
                yield from assigned_by(branch.body)
            yield from assigned_by(s.otherwise)
        case sx.Case():
            yield from _given_in(s.selector)
            for case in s.branches:
                yield from assigned_by(case.body)
            yield from assigned_by(s.otherwise)
        case sx.For():
            yield from _parts(s.variable)
            yield from assigned_by(s.body)
        case sx.While():
            yield from _given_in(s.condition)
            yield from assigned_by(s.body)
        case sx.Repeat():
            yield from assigned_by(s.body)
            yield from _given_in(s.until)


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
            yield plain_address(e.address)
        case _:
            pass


def _given(e: sx.Expression) -> Iterator[str]:
    """Names in an argument: those that stand for a variable, and those given further."""
    yield from _parts(e)
    yield from _given_in(e)


def _given_in(e: sx.Expression) -> Iterator[str]:
    """Names that calls within `e` are given."""
    match e:
        case sx.Call():
            yield from _given_to(e)
        case sx.Unary():
            yield from _given_in(e.operand)
        case sx.Binary():
            yield from _given_in(e.left)
            yield from _given_in(e.right)
        case sx.Junction():
            for operand in e.operands:
                yield from _given_in(operand)
        case sx.Element():
            for index in e.indexes:
                yield from _given_in(index)
        case _:
            pass


def _given_to(e: sx.Call) -> Iterator[str]:
    # What a standard function is given it does not assign, but for its outputs.
    name = e.function.upper()
    is_standard = name in FUNCTIONS or _CONVERSION.fullmatch(name) is not None
    for argument in (*e.arguments, *(a.value for a in e.named)):
        yield from _given_in(argument) if is_standard else _given(argument)
    for output in e.outputs:
        yield from _parts(output.target)
