"""What is computed of several inputs, or of an input and its own past: any value in each scan.

Of such a number no classes of values can be worked out. A new input takes its place, which is free:
the program then does all that it did, and more. So what holds of every run of it holds of the
program, while what it is seen to do may be no run of the program. How far the number goes, and
which flaws its arithmetic may come to, is worked out from the spans of what it is computed of.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace

from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.evaluate import operands_of, reads_of
from interlock.st.idle import without_idle, without_real_outputs
from interlock.st.real_forms import Forms, assignments
from interlock.st.real_spans import Span, Spans
from interlock.st.typed_parts import changed, expressions_in
from interlock.st.types import RealType

_MOST_TOLD = 3


class AnyValues:
    """Puts new inputs in place of expressions of a program, and keeps what is known of them.

    Attributes
    ----------
    spans : dict of str to (float, float)
        Between which numbers each new REAL input stays, by its casefolded name.
    found : list of AnyValue
    """

    def __init__(self) -> None:
        self.spans: dict[str, Span] = {}
        self.found: list[ty.AnyValue] = []

    def instead_of(
        self, program: ty.Program, assigned: Collection[ty.Assign], asked: Collection[ty.Expression]
    ) -> ty.Program:
        """`program` with a new input as what is assigned, and as each expression that is asked."""
        spans = Spans(program, self.spans)
        taken = {v.name.casefold() for v in program.variables}
        new: list[ty.Declared] = []
        named = {id(a.value): (f"'{a.target}'", a.target) for a in assigned}
        named |= {id(e): (_said(e), _first_name(e)) for e in asked}

        def value(e: ty.Expression) -> ty.Expression:
            # One for each place: at another the same expression may have another value.
            if id(e) not in named:
                return e
            says, about = named[id(e)]
            name = _unused(f"{about}.any", taken)
            span, flaws = spans.of(e)
            new.append(ty.Declared(name, e.type, 0, "VAR_INPUT", False, e.place))
            if isinstance(e.type, RealType):
                self.spans[name.casefold()] = span
            told = f"{says} is computed of several inputs, or of one and its own past"
            self.found.append(ty.AnyValue(name, told, e.place, tuple(flaws)))
            return ty.Read(name, e.type, e.place)

        body = changed(program.body, value)
        return replace(program, variables=(*program.variables, *new), body=body)

    def keep_flaws(self, before: ty.Program, after: ty.Program) -> None:
        """Note the flaws of what only these inputs made idle, so that nobody judges it."""
        if not self.found:
            return
        kept = {id(e) for e in expressions_in(_needed(after))}
        kept |= {id(e) for e in expressions_in(before.body)} - {
            id(e) for e in expressions_in(_needed(before))
        }
        spans = Spans(after, self.spans)
        gone = [e for e in expressions_in(after.body) if id(e) not in kept]
        flaws = [flaw for e in gone for flaw in spans.of(e)[1]]
        first = self.found[0]
        self.found[0] = replace(first, flaws=tuple(dict.fromkeys([*first.flaws, *flaws])))


def _needed(program: ty.Program) -> tuple[ty.Statement, ...]:
    return without_idle(without_real_outputs(program))[0].body


def _unused(name: str, taken: set[str]) -> str:
    number, free = 1, name
    while free.casefold() in taken:
        number += 1
        free = f"{name}_{number}"
    taken.add(free.casefold())
    return free


def _first_name(e: ty.Expression) -> str:
    reads = list(reads_of(e))
    real = [read.name for read in reads if isinstance(read.type, RealType)]
    return next(iter((*real, *(read.name for read in reads))), "this")


def _said(e: ty.Expression) -> str:
    """An expression that is no variable, by what it reads."""
    names = list(dict.fromkeys(f"'{read.name}'" for read in reads_of(e)))
    shown = " and ".join(names[:_MOST_TOLD]) + (" and others" if len(names) > _MOST_TOLD else "")
    return f"what is asked of {shown} here"


def innermost(asked: Collection[ty.Expression]) -> list[ty.Expression]:
    """Those expressions that no other of them is a part of."""
    wanted = {id(e) for e in asked}

    def holds_another(e: ty.Expression) -> bool:
        return any(id(part) in wanted or holds_another(part) for part in operands_of(e))

    return [e for e in asked if not holds_another(e)]


def ended(forms: Forms, before: Collection[str], body: Iterable[ty.Statement]) -> list[ty.Assign]:
    """The assignments where inputs are mixed, each of which computes something.

    Of a variable that was among those `before` it is every one: nothing tells its values apart by
    where they are written.
    """
    again = {a.target.casefold() for a in forms.ends} & set(before)
    found = [*forms.ends, *(a for a in assignments(body) if a.target.casefold() in again)]
    return [a for a in found if not isinstance(a.value, ty.Read | ty.Constant)]


def without_unread(program: ty.Program) -> ty.Program:
    """`program` without those of these inputs that nothing reads any more."""
    read = {r.name for e in expressions_in(program.body) for r in reads_of(e)}
    gone = {one.input for one in program.any_values if one.says} - read
    # A flaw that may be reached is told, whatever became of the number.
    told = tuple(one for one in program.any_values if one.input not in gone or one.flaws)
    if not gone:
        return program
    return replace(
        program,
        variables=tuple(v for v in program.variables if v.name not in gone),
        any_values=told,
    )


def notes_of(program: ty.Program) -> Iterator[sx.Note]:
    """What was taken as any value, and what nobody judges because of that."""
    for one in program.any_values:
        if not one.says:
            continue
        says = f"{one.says}, and was taken as any value in each scan"
        says += "; a violation, or that a premise is met, may come of that alone"
        flaws = list(
            dict.fromkeys(f"{m.says} ({m.place.line}:{m.place.column})" for m in one.flaws)
        )
        says += f"; its arithmetic is not judged: {'; '.join(flaws[:_MOST_TOLD])}" if flaws else ""
        yield sx.Note(one.place, says)
