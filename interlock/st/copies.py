"""Temporaries that only hand an input on, as those of functions: read as the input itself."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace

from interlock.st import typed as ty
from interlock.st.evaluate import reads_of
from interlock.st.typed_parts import expressions_in, with_reads

Body = tuple[ty.Statement, ...]


def without_copies(program: ty.Program) -> ty.Program:
    """`program` with an input in place of each temporary that was assigned it just before."""
    inputs = {v.name.casefold(): v for v in program.inputs}
    temporaries = {v.name.casefold(): v for v in program.variables if v.kind == "VAR_TEMP"}

    def copied(s: ty.Statement) -> ty.Read | None:
        if not isinstance(s, ty.Assign) or not isinstance(s.value, ty.Read):
            return None
        source = inputs.get(s.value.name.casefold())
        target = temporaries.get(s.target.casefold())
        same = source is not None and target is not None and source.type == target.type
        return s.value if same else None

    def of(body: Iterable[ty.Statement]) -> tuple[ty.Statement, ...]:
        found: list[ty.Statement] = []
        rest = list(body)
        while rest:
            s = rest.pop(0)
            source = copied(s)
            if source is not None:
                assert isinstance(s, ty.Assign)
                reach = _reach(s.target.casefold(), rest)
                rest[:reach] = with_reads(rest[:reach], _reading(s.target, source))
            found.append(_within(s, of))
        return tuple(found)

    body = of(program.body)
    read = {r.name.casefold() for e in expressions_in(body) for r in reads_of(e)}
    handed = {s.target.casefold() for s in _assigned(body) if copied(s) is not None}
    other = {s.target.casefold() for s in _assigned(body) if not _is_plain(s.value)}
    gone = handed - read - other - set(_taken(body))
    kept = tuple(v for v in program.variables if v.name.casefold() not in gone)
    return replace(program, variables=kept, body=tuple(_without(body, gone)))


def _is_plain(e: ty.Expression) -> bool:
    return isinstance(e, ty.Constant | ty.Read)


def _reach(name: str, rest: Sequence[ty.Statement]) -> int:
    """How many of the statements come before the variable is assigned anew."""
    for number, s in enumerate(rest):
        if name in written_in([s]):
            return number
    return len(rest)


def _reading(name: str, source: ty.Read) -> Callable[[ty.Read], ty.Expression]:
    key = name.casefold()
    return lambda read: replace(source, place=read.place) if read.name.casefold() == key else read


def _within(s: ty.Statement, of: Callable[[Iterable[ty.Statement]], Body]) -> ty.Statement:
    match s:
        case ty.If():
            branches = tuple(replace(b, body=of(b.body)) for b in s.branches)
            return replace(s, branches=branches, otherwise=of(s.otherwise))
        case ty.Case():
            cases = tuple(replace(b, body=of(b.body)) for b in s.branches)
            return replace(s, branches=cases, otherwise=of(s.otherwise))
        case _:
            return s


def _without(body: Iterable[ty.Statement], gone: set[str]) -> Iterator[ty.Statement]:
    for s in body:
        if not (isinstance(s, ty.Assign) and s.target.casefold() in gone):
            yield _within(s, lambda inner: tuple(_without(inner, gone)))


def _assigned(body: Iterable[ty.Statement]) -> Iterator[ty.Assign]:
    for s in body:
        if isinstance(s, ty.Assign):
            yield s
        elif isinstance(s, ty.If | ty.Case):
            for branch in s.branches:
                yield from _assigned(branch.body)
            yield from _assigned(s.otherwise)


def _taken(body: Iterable[ty.Statement]) -> Iterator[str]:
    written, assigned = (
        Counter(written_in(body)),
        Counter(s.target.casefold() for s in _assigned(body)),
    )
    yield from written - assigned


def written_in(body: Iterable[ty.Statement]) -> Iterator[str]:
    """The variables that statements write, by casefolded name, each as often as it is written."""
    for s in body:
        match s:
            case ty.Assign():
                yield s.target.casefold()
            case ty.Invoke():
                yield from (taken.target.casefold() for taken in s.outputs)
            case ty.If() | ty.Case():
                for branch in s.branches:
                    yield from written_in(branch.body)
                yield from written_in(s.otherwise)
