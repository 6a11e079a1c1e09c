"""Variables that nothing reads but themselves: operating hours, cycles, numbers for a screen.

They are no part of what is explored: kept, a counter alone would make as many states as it has
values. What only they are needed for is taken out of the program, and told.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.evaluate import reads_of
from interlock.st.inference import is_wide
from interlock.st.typed_parts import expressions_in
from interlock.st.types import RealType


def without_idle(
    program: ty.Program, needed: Collection[str] = (), of_any_type: bool = False
) -> tuple[ty.Program, tuple[sx.Note, ...]]:
    """`program` without its idle variables, and what was left out.

    Only numbers are left out: what has few values costs little and may be worth a look. With
    `of_any_type` that goes, too, and with it what is only needed for it.

    Parameters
    ----------
    program : typed.Program
    needed : collection of str
        Casefolded names that are read from outside.
    of_any_type : bool

    Examples
    --------
    >>> from interlock.st.load import load_program
    >>> text = '''PROGRAM p VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR
    ... VAR hours : UDINT; END_VAR
    ... hours := hours + 1; q := a; END_PROGRAM'''
    >>> sliced, notes = without_idle(load_program(text, "p.st"))
    >>> len(sliced.body), notes[0].says
    (1, "left out: nothing reads 'hours'")
    """
    kinds = ("VAR", "VAR_OUTPUT")
    idle = {
        v.name.casefold()
        for v in program.variables
        if v.kind in kinds and (of_any_type or is_wide(v.type))
    } - set(needed)
    while idle:
        read = {name for name in _reads(program.body, idle) if name in idle}
        if not read:
            break
        idle -= read
    if not idle:
        return program, ()
    kept = tuple(v for v in program.variables if v.name.casefold() not in idle)
    body = tuple(_without(program.body, idle))
    why = "nothing asks for" if of_any_type else "nothing reads"
    notes = tuple(
        sx.Note(v.place, f"left out: {why} '{v.name}'")
        for v in program.variables
        if v.name.casefold() in idle
    )
    elapsed = tuple(place for place in program.elapsed_reads if _stands_in(body, place))
    sliced = replace(program, variables=kept, body=body, elapsed_reads=elapsed)
    return sliced, notes


def without_real_outputs(program: ty.Program) -> ty.Program:
    """`program` with its REAL outputs as variables inside: nothing here reads a REAL output."""
    variables = tuple(
        replace(v, kind="VAR") if v.kind == "VAR_OUTPUT" and isinstance(v.type, RealType) else v
        for v in program.variables
    )
    return replace(program, variables=variables)


def _reads(body: Iterable[ty.Statement], idle: Collection[str]) -> Iterator[str]:
    """What is read for anything but idle variables."""
    for s in body:
        match s:
            case ty.Assign():
                if s.target.casefold() not in idle:
                    yield from _names(s.value)
            case ty.Invoke():
                for _, value in s.inputs:
                    yield from _names(value)
            case ty.If() | ty.Case() if not _is_idle(s, idle):
                for e in _asked(s):
                    yield from _names(e)
                for inner in _bodies(s):
                    yield from _reads(inner, idle)


def _asked(s: ty.If | ty.Case) -> list[ty.Expression]:
    """What decides which of its statements are executed."""
    return [b.condition for b in s.branches] if isinstance(s, ty.If) else [s.selector]


def _names(e: ty.Expression) -> Iterator[str]:
    return (read.name.casefold() for read in reads_of(e))


def _bodies(s: ty.If | ty.Case) -> list[tuple[ty.Statement, ...]]:
    return [*(branch.body for branch in s.branches), s.otherwise]


def _is_idle(s: ty.Statement, idle: Collection[str]) -> bool:
    """Whether a statement does nothing but assign idle variables."""
    match s:
        case ty.Assign():
            return s.target.casefold() in idle
        case ty.If() | ty.Case():
            inner = [part for body in _bodies(s) for part in body]
            # An empty branch is a defect that elaboration has marked.
            return bool(inner) and all(_is_idle(part, idle) for part in inner)
        case _:
            return False


def _without(body: Iterable[ty.Statement], idle: Collection[str]) -> Iterator[ty.Statement]:
    for s in body:
        if _is_idle(s, idle):
            continue
        match s:
            case ty.If():
                branches = tuple(replace(b, body=tuple(_without(b.body, idle))) for b in s.branches)
                otherwise = tuple(_without(s.otherwise, idle))
                yield replace(s, branches=branches, otherwise=otherwise)
            case ty.Case():
                cases = tuple(replace(b, body=tuple(_without(b.body, idle))) for b in s.branches)
                otherwise = tuple(_without(s.otherwise, idle))
                yield replace(s, branches=cases, otherwise=otherwise)
            case ty.Invoke():
                outputs = tuple(o for o in s.outputs if o.target.casefold() not in idle)
                yield replace(s, outputs=outputs)
            case _:
                yield s


def _stands_in(body: Iterable[ty.Statement], place: Place) -> bool:
    """Whether what stands at `place` is still read."""
    return any(
        isinstance(e, ty.Read) and e.place == place for e in expressions_in(body)
    ) or place in _taken_at(body)


def _taken_at(body: Iterable[ty.Statement]) -> Iterator[Place]:
    """Where outputs of blocks are given to variables."""
    for s in body:
        match s:
            case ty.Invoke():
                yield from (taken.place for taken in s.outputs)
            case ty.If() | ty.Case():
                for inner in _bodies(s):
                    yield from _taken_at(inner)
