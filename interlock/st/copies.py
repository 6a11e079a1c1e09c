"""Variables that only hand an input on, as those of functions and blocks: read as the input."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace

from interlock.st import typed as ty
from interlock.st.evaluate import reads_of
from interlock.st.typed_parts import expressions_in, with_reads, with_reads_in

Body = tuple[ty.Statement, ...]


def without_copies(program: ty.Program) -> ty.Program:
    """`program` with an input in place of each variable that was assigned it just before.

    Inputs stay what they are within a scan. What then nothing reads any more is taken out: a
    temporary, and an input of an instance, which hands on what it is given in every scan.
    """
    inputs = {v.name.casefold(): v for v in program.inputs}
    kinds = ("VAR_TEMP", "VAR")
    temporaries = {v.name.casefold(): v for v in program.variables if v.kind in kinds}

    def copied(s: ty.Statement) -> ty.Read | None:
        if not isinstance(s, ty.Assign) or not isinstance(s.value, ty.Read):
            return None
        source = inputs.get(s.value.name.casefold())
        target = temporaries.get(s.target.casefold())
        same = source is not None and target is not None and source.type == target.type
        return s.value if same else None

    def of(body: Iterable[ty.Statement], handed_on: Mapping[str, ty.Read]) -> Body:
        # What each temporary holds that was assigned an input and nothing else since.
        known = dict(handed_on)
        found: list[ty.Statement] = []
        for s in body:
            for name in set(written_in([s])) & known.keys():
                del known[name]
            s = _with_known(s, known, of)
            source = copied(s)
            if source is not None:
                assert isinstance(s, ty.Assign)
                known[s.target.casefold()] = source
            found.append(s)
        return tuple(found)

    body = of(program.body, {})
    read = {r.name.casefold() for e in expressions_in(body) for r in reads_of(e)}
    handed = {s.target.casefold() for s in _assigned(body) if copied(s) is not None}
    other = {s.target.casefold() for s in _assigned(body) if not _is_plain(s.value)}
    gone = handed - read - other - set(_taken(body))
    kept = tuple(v for v in program.variables if v.name.casefold() not in gone)
    return replace(program, variables=kept, body=tuple(_without(body, gone)))


def _is_plain(e: ty.Expression) -> bool:
    return isinstance(e, ty.Constant | ty.Read)


def _with_known(
    s: ty.Statement,
    known: Mapping[str, ty.Read],
    of: Callable[[Iterable[ty.Statement], Mapping[str, ty.Read]], Body],
) -> ty.Statement:
    """`s` with the inputs that temporaries hold in place of these."""

    def value(read: ty.Read) -> ty.Expression:
        source = known.get(read.name.casefold())
        return read if source is None else replace(source, place=read.place)

    match s:
        case ty.If():
            conditions = [_read_otherwise(b.condition, known, value) for b in s.branches]
            branches = tuple(
                replace(b, condition=condition, body=of(b.body, known))
                for b, condition in zip(s.branches, conditions, strict=True)
            )
            return replace(s, branches=branches, otherwise=of(s.otherwise, known))
        case ty.Case():
            selector = _read_otherwise(s.selector, known, value)
            cases = tuple(replace(b, body=of(b.body, known)) for b in s.branches)
            return replace(s, selector=selector, branches=cases, otherwise=of(s.otherwise, known))
        case _:
            return with_reads([s], value)[0] if known else s


def _read_otherwise(
    e: ty.Expression, known: Mapping[str, ty.Read], value: Callable[[ty.Read], ty.Expression]
) -> ty.Expression:
    return with_reads_in(e, value) if known else e


def _without(body: Iterable[ty.Statement], gone: set[str]) -> Iterator[ty.Statement]:
    for s in body:
        match s:
            case ty.Assign() if s.target.casefold() in gone:
                continue
            case ty.If() | ty.Case():
                branches = tuple(replace(b, body=tuple(_without(b.body, gone))) for b in s.branches)
                otherwise = tuple(_without(s.otherwise, gone))
                yield replace(s, branches=branches, otherwise=otherwise)  # type: ignore[arg-type]
            case _:
                yield s


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
