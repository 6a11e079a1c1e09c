"""Walking over a typed program, and making another of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace

from interlock.st import typed as ty
from interlock.st.evaluate import operands_of


def expressions_in(body: Iterable[ty.Statement]) -> Iterator[ty.Expression]:
    """Every expression of the statements, with all its parts, the whole before its parts."""
    for s in body:
        match s:
            case ty.Assign():
                yield from _parts(s.value)
            case ty.Invoke():
                for _, value in s.inputs:
                    yield from _parts(value)
            case ty.If():
                for branch in s.branches:
                    yield from _parts(branch.condition)
                    yield from expressions_in(branch.body)
                yield from expressions_in(s.otherwise)
            case ty.Case():
                yield from _parts(s.selector)
                for case in s.branches:
                    yield from expressions_in(case.body)
                yield from expressions_in(s.otherwise)


def _parts(e: ty.Expression) -> Iterator[ty.Expression]:
    yield e
    for operand in operands_of(e):
        yield from _parts(operand)


def replaced(
    e: ty.Expression, before: Sequence[ty.Expression], after: Sequence[ty.Expression]
) -> ty.Expression:
    """`e` over the operands `after`; `before` are those that it has.

    Raises
    ------
    ValueError
        If these are not as many.
    """
    if len(before) != len(after):
        raise ValueError(f"{len(before)} operands cannot become {len(after)}")
    match e:
        case ty.Unary():
            return replace(e, operand=after[0])
        case ty.Junction():
            return replace(e, operands=tuple(after))
        case ty.Binary():
            return replace(e, left=after[0], right=after[1])
        case ty.Call():
            return replace(e, arguments=tuple(after))
        case _:
            return e


def with_reads(
    body: Iterable[ty.Statement], value: Callable[[ty.Read], ty.Expression]
) -> tuple[ty.Statement, ...]:
    """The statements with another expression for each variable that is read."""
    return changed(body, lambda e: value(e) if isinstance(e, ty.Read) else e)


def with_reads_in(e: ty.Expression, value: Callable[[ty.Read], ty.Expression]) -> ty.Expression:
    """`e` with another expression for each variable that it reads."""
    return changed_in(e, lambda part: value(part) if isinstance(part, ty.Read) else part)


def changed_in(e: ty.Expression, change: Callable[[ty.Expression], ty.Expression]) -> ty.Expression:
    """`e` changed, its parts before the whole."""
    parts = operands_of(e)
    new = [changed_in(part, change) for part in parts]
    is_same = all(a is b for a, b in zip(parts, new, strict=True))
    return change(e if is_same else replaced(e, parts, new))


def changed(
    body: Iterable[ty.Statement], change: Callable[[ty.Expression], ty.Expression]
) -> tuple[ty.Statement, ...]:
    """The statements with each expression changed, the parts before the whole."""

    def of(e: ty.Expression) -> ty.Expression:
        return changed_in(e, change)

    def statement(s: ty.Statement) -> ty.Statement:
        match s:
            case ty.Assign():
                value = of(s.value)
                return s if value is s.value else replace(s, value=value)
            case ty.Invoke():
                return replace(s, inputs=tuple((name, of(e)) for name, e in s.inputs))
            case ty.If():
                branches = tuple(
                    replace(b, condition=of(b.condition), body=changed(b.body, change))
                    for b in s.branches
                )
                return replace(s, branches=branches, otherwise=changed(s.otherwise, change))
            case ty.Case():
                cases = tuple(replace(b, body=changed(b.body, change)) for b in s.branches)
                otherwise = changed(s.otherwise, change)
                return replace(s, selector=of(s.selector), branches=cases, otherwise=otherwise)

    return tuple(statement(s) for s in body)


def most_calls(body: Iterable[ty.Statement], instance: str) -> int:
    """How often one execution of the statements calls `instance` at most."""
    n_calls = 0
    for s in body:
        match s:
            case ty.Invoke():
                n_calls += s.instance == instance
            case ty.If() | ty.Case():
                arms = [*(branch.body for branch in s.branches), s.otherwise]
                n_calls += max(most_calls(arm, instance) for arm in arms)
    return n_calls
