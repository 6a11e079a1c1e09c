"""What is computed of several inputs, or of an input and its own past: any value in each scan.

Of such a number no classes of values can be worked out. A new input takes its place, which is free:
the program then does all that it did, and more. So what holds of every run of it holds of the
program, while what it is seen to do may be no run of the program. How far the number goes, and
which flaws its arithmetic may come to, is worked out from the spans of what it is computed of.

What is computed of inputs alone is the same wherever it stands in a scan, and so is how two such
numbers compare: there one new input does for all places.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace

from interlock.base.errors import Mistake, Place
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.copies import written_in
from interlock.st.evaluate import operands_of, reads_of
from interlock.st.idle import without_idle, without_real_outputs
from interlock.st.real_forms import Forms, assignments
from interlock.st.real_spans import Span, Spans
from interlock.st.typed_parts import changed, expressions_in
from interlock.st.types import BOOL, LIMITS, IntType, RealType, Type

_MOST_TOLD = 3
_ORDER = IntType(-1, 1)
_TURNED = {"<": ">", "<=": ">=", ">": "<", ">=": "<=", "=": "=", "<>": "<>"}


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
        new = _New(self, program)
        named = {id(a.value): (f"'{a.target}'", a.target) for a in assigned}
        named |= {id(e): (_said(e), _first_name(e)) for e in asked}

        def value(e: ty.Expression) -> ty.Expression:
            return new.in_place_of(e, *named[id(e)]) if id(e) in named else e

        body = changed(program.body, value)
        return replace(program, variables=(*program.variables, *new.declared), body=body)

    def kept(self, before: ty.Program, after: ty.Program) -> ty.Program:
        """`after` with all that is known of what became of `before`."""
        self.keep_flaws(before, after)
        return replace(after, any_values=(*before.any_values, *self.found))

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


class _New:
    """Declares new inputs of a program; each is noted among the `AnyValues`."""

    def __init__(self, noted: AnyValues, program: ty.Program) -> None:
        self._noted = noted
        self._spans = Spans(program, noted.spans)
        self._taken = {v.name.casefold() for v in program.variables}
        written = set(written_in(program.body))
        self._same = {v.name.casefold() for v in program.inputs} - written
        self._shared: dict[tuple[ty.Expression, ...], ty.Read] = {}
        self.declared: list[ty.Declared] = []

    def in_place_of(self, e: ty.Expression, says: str, about: str) -> ty.Expression:
        """What takes the place of `e`, which `says` what in words, and is called after `about`."""
        if any(read.name.casefold() not in self._same for read in reads_of(e)):
            # At another place it may have another value.
            return self._read(e, e.type, says, about)
        if not isinstance(e, ty.Binary) or e.op not in _TURNED:
            return self._once((e,), e, e.type, says, about)
        sides, op = (e.left, e.right), e.op
        if sides[::-1] in self._shared:
            sides, op = sides[::-1], _TURNED[op]
        order = self._once(sides, e, _ORDER, says, about)
        zero = ty.Constant(0, IntType(0, 0), "0", e.place)
        return ty.Binary(op, order, zero, BOOL, e.place)

    def _once(
        self, key: tuple[ty.Expression, ...], e: ty.Expression, type_: Type, says: str, about: str
    ) -> ty.Read:
        if key not in self._shared:
            self._shared[key] = self._read(e, type_, says, about)
            return self._shared[key]
        self._note(self._shared[key].name, says, e.place, self._spans.of(e)[1])
        return replace(self._shared[key], place=e.place)

    def _read(self, e: ty.Expression, type_: Type, says: str, about: str) -> ty.Read:
        name = _unused(f"{about}.any", self._taken)
        span, flaws = self._spans.of(e)
        if isinstance(type_, IntType) and type_ is not _ORDER:
            type_ = _within(type_, span)
        first = min(max(type_.lo, 0), type_.hi) if isinstance(type_, IntType) else 0
        self.declared.append(ty.Declared(name, type_, first, "VAR_INPUT", False, e.place))
        if isinstance(type_, RealType):
            self._noted.spans[name.casefold()] = span
        self._note(name, says, e.place, flaws)
        return ty.Read(name, type_, e.place)

    def _note(self, name: str, says: str, place: Place, flaws: Sequence[Mistake]) -> None:
        told = f"{says} is computed of several inputs, of one and its past, or of too many values"
        self._noted.found.append(ty.AnyValue(name, told, place, tuple(flaws)))


def _within(type_: IntType, span: Span) -> IntType:
    """The whole numbers of a span; all of the type where it goes beyond them."""
    limits = LIMITS.get(type_.base, span)
    fits = limits[0] <= span[0] and span[1] <= limits[1]
    lo, hi = span if fits else limits
    return IntType(int(lo), int(hi), type_.base)


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
        says = f"{one.says}; {one.taken}"
        says += "; a violation, or that a premise is met, may come of that alone"
        flaws = list(
            dict.fromkeys(f"{m.says} ({m.place.line}:{m.place.column})" for m in one.flaws)
        )
        says += f"; its arithmetic is not judged: {'; '.join(flaws[:_MOST_TOLD])}" if flaws else ""
        yield sx.Note(one.place, says)
