"""What statements over scalars read and write."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from interlock.st import syntax as sx


def written_by(statements: Iterable[sx.Statement]) -> Iterator[str]:
    """The variables, and the instances of standard blocks, that `statements` may change."""
    for s in statements:
        match s:
            case sx.Assign():
                yield target_of(s.target)
            case sx.Invoke():
                yield s.instance.text
                for taken in s.outputs:
                    yield target_of(taken.target)
            case sx.If():
                for branch in s.branches:
                    yield from written_by(branch.body)
                yield from written_by(s.otherwise)
            case sx.Case():
                for case in s.branches:
                    yield from written_by(case.body)
                yield from written_by(s.otherwise)
            case sx.While():
                yield from written_by(s.body)


def target_of(target: sx.Expression) -> str:
    """The variable that an assignment to `target` changes."""
    while isinstance(target, sx.Member):
        target = target.base
    assert isinstance(target, sx.Name), "targets over scalars are names and bits of them"
    return target.text


def read_by(e: sx.Expression) -> Iterator[str]:
    """The names in an expression over scalars."""
    match e:
        case sx.Name():
            yield e.text
        case sx.Member():
            yield from read_by(e.base)
        case sx.Unary():
            yield from read_by(e.operand)
        case sx.Binary():
            yield from read_by(e.left)
            yield from read_by(e.right)
        case sx.Junction():
            for operand in e.operands:
                yield from read_by(operand)
        case sx.Call():
            for argument in e.arguments:
                yield from read_by(argument)
        case sx.Choice():
            yield from read_by(e.index)
            for value in e.values:
                yield from read_by(value)
        case _:
            pass


def all_read_by(body: Iterable[sx.Statement]) -> Iterator[str]:
    """Every name that statements over scalars read."""
    for s in body:
        match s:
            case sx.Assign():
                yield from read_by(s.value)
            case sx.Invoke():
                for argument in s.inputs:
                    yield from read_by(argument.value)
            case sx.If():
                for branch in s.branches:
                    yield from read_by(branch.condition)
                    yield from all_read_by(branch.body)
                yield from all_read_by(s.otherwise)
            case sx.Case():
                yield from read_by(s.selector)
                for case in s.branches:
                    yield from all_read_by(case.body)
                yield from all_read_by(s.otherwise)


def leaves_of(body: Iterable[sx.Statement], words: frozenset[str]) -> frozenset[str]:
    """Which of EXIT, CONTINUE and RETURN in `words` may leave `body`; those of inner loops stay."""
    found: set[str] = set()
    for s in body:
        match s:
            case sx.Leave():
                found |= {s.word} & words
            case sx.If():
                for branch in s.branches:
                    found |= leaves_of(branch.body, words)
                found |= leaves_of(s.otherwise, words)
            case sx.Case():
                for case in s.branches:
                    found |= leaves_of(case.body, words)
                found |= leaves_of(s.otherwise, words)
            case sx.For() | sx.While() | sx.Repeat():
                found |= leaves_of(s.body, words & {"RETURN"})
    return frozenset(found)
