"""Defects of a program: in one expression, in one statement, or in the order of two."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

from interlock.base.errors import Place
from interlock.commands.challenge.expression_defects import (
    DefectKind,
    ExpressionDefect,
    constant_defects,
    expression_defects,
    text_of,
    truth,
    whole_text,
)
from interlock.st import typed as ty
from interlock.st.evaluate import reads_of

Body = tuple[ty.Statement, ...]
# The input that resets a bistable block.
_RESETS = {"SR": "R", "RS": "R1"}


@dataclass(frozen=True)
class ProgramDefect:
    """A changed program: where, in which statement, what sort of mistake, in words, the program.

    ``within`` is the whole statement as written, behind what it stands in.
    """

    place: Place
    at: str
    within: str
    kind: DefectKind
    says: str
    program: ty.Program


@dataclass(frozen=True)
class _Changed:
    place: Place
    at: str
    within: str
    kind: DefectKind
    says: str
    body: Body


def program_defects(program: ty.Program) -> Iterator[ProgramDefect]:
    """Every defect of `program`, in the order of its statements; exchanged outputs come last."""
    seeder = _Seeder(program)
    for changed in seeder.body(program.body):
        c, changed_program = changed, replace(program, body=changed.body)
        yield ProgramDefect(c.place, c.at, c.within, c.kind, c.says, changed_program)
    yield from _exchanged_outputs(program)


def neighbours_of(program: ty.Program) -> dict[str, str]:
    """For each variable the next declared one of its kind and type, which it may be mistaken for.

    The last of a kind and type has the one before it.
    """
    found: dict[str, str] = {}
    groups: dict[tuple[str, str], list[str]] = {}
    for variable in program.variables:
        groups.setdefault((variable.kind, str(variable.type)), []).append(variable.name)
    for names in groups.values():
        found |= dict(pairwise(names))
        if len(names) > 1:
            found[names[-1]] = names[-2]
    return found


class _Seeder:
    def __init__(self, program: ty.Program) -> None:
        self.blocks = {instance.name: instance.block for instance in program.instances}
        self.neighbours: Mapping[str, str] = neighbours_of(program)

    def body(self, body: Body) -> Iterator[_Changed]:
        for number, statement in enumerate(body):
            for changed in self._statement(statement):
                whole = (*body[:number], *changed.body, *body[number + 1 :])
                yield replace(changed, body=whole)
            if number + 1 < len(body) and _depend(statement, body[number + 1]):
                after = body[number + 1]
                whole = (*body[:number], after, statement, *body[number + 2 :])
                says = f"{_title(after)} before {_title(statement)}"
                both = f"{written(after)}; {written(statement)}"
                yield _Changed(after.place, name_of(after), both, DefectKind.REORDERED, says, whole)

    def _statement(self, s: ty.Statement) -> Iterator[_Changed]:
        match s:
            case ty.Assign():
                yield from self._assign(s)
            case ty.If():
                yield from self._if(s)
            case ty.Case():
                yield from self._case(s)
            case ty.Invoke():
                yield from self._invoke(s)

    def _expression(self, e: ty.Expression) -> Iterator[ExpressionDefect]:
        yield from constant_defects(e)
        yield from expression_defects(e, self.neighbours)

    def _assign(self, s: ty.Assign) -> Iterator[_Changed]:
        yield from _missing_reset(s)
        for defect in self._expression(s.value):
            yield _changed(defect, s, replace(s, value=defect.tree))

    def _if(self, s: ty.If) -> Iterator[_Changed]:
        for number, branch in enumerate(s.branches):
            conditions = [
                (defect, replace(branch, condition=defect.tree))
                for defect in self._expression(branch.condition)
            ]
            for defect, other in conditions:
                yield _changed(defect, s, _with_branch(s, number, other))
            under = _conditions(s, number)
            for inner in (*_lost_resets(branch.body), *self.body(branch.body)):
                other = replace(branch, body=inner.body)
                yield _inside(under, inner, _with_branch(s, number, other))
        for inner in self.body(s.otherwise):
            under = f"{_conditions(s, len(s.branches) - 1)} ELSE"
            yield _inside(under, inner, replace(s, otherwise=inner.body))

    def _case(self, s: ty.Case) -> Iterator[_Changed]:
        for defect in expression_defects(s.selector, self.neighbours):
            yield _changed(defect, s, replace(s, selector=defect.tree))
        case = f"CASE {whole_text(s.selector)} OF"
        for number, branch in enumerate(s.branches):
            for inner in self.body(branch.body):
                other = replace(branch, body=inner.body)
                branches = (*s.branches[:number], other, *s.branches[number + 1 :])
                under = f"{case} {_ranges(branch)}:"
                yield _inside(under, inner, replace(s, branches=branches))
        for inner in self.body(s.otherwise):
            yield _inside(f"{case} ELSE", inner, replace(s, otherwise=inner.body))

    def _invoke(self, s: ty.Invoke) -> Iterator[_Changed]:
        reset = _RESETS.get(self.blocks[s.instance])
        for number, (name, value) in enumerate(s.inputs):
            if name == reset and not isinstance(value, ty.Constant):
                lost = _with_input(s, number, truth(False, value.place))
                says = f"drop reset {text_of(value)} of {s.instance}"
                reset_kind = DefectKind.RESET
                yield _Changed(value.place, s.instance, written(s), reset_kind, says, (lost,))
            for defect in self._expression(value):
                yield _changed(defect, s, _with_input(s, number, defect.tree))


def _changed(defect: ExpressionDefect, given: ty.Statement, other: ty.Statement) -> _Changed:
    """The defect in the statement `given`, of which it makes the `other`."""
    at, within = name_of(given), written(given)
    return _Changed(defect.place, at, within, defect.kind, defect.says, (other,))


def _inside(under: str, inner: _Changed, whole: ty.Statement) -> _Changed:
    """The defect of an inner statement, in the statement `whole` that holds it."""
    return replace(inner, within=f"{under} {inner.within}", body=(whole,))


def _with_branch(s: ty.If, number: int, branch: ty.Branch) -> ty.If:
    return replace(s, branches=(*s.branches[:number], branch, *s.branches[number + 1 :]))


def _with_input(s: ty.Invoke, number: int, value: ty.Expression) -> ty.Invoke:
    given = (s.inputs[number][0], value)
    return replace(s, inputs=(*s.inputs[:number], given, *s.inputs[number + 1 :]))


def _missing_reset(s: ty.Assign) -> Iterator[_Changed]:
    """``x := (set OR x) AND a AND b`` that keeps only what holds it on."""
    value = s.value
    if not isinstance(value, ty.Junction) or value.op != "AND":
        return
    for operand in value.operands:
        if isinstance(operand, ty.Junction) and any(r.name == s.target for r in reads_of(operand)):
            says = f"drop every reset of {s.target}"
            kept = (replace(s, value=operand),)
            yield _Changed(value.place, s.target, written(s), DefectKind.RESET, says, kept)


def _lost_resets(body: Body) -> Iterator[_Changed]:
    """A branch without its ``x := FALSE``."""
    for number, s in enumerate(body):
        if isinstance(s, ty.Assign) and isinstance(s.value, ty.Constant) and not s.value.value:
            rest = (*body[:number], *body[number + 1 :])
            says = f"drop {_title(s)}"
            yield _Changed(s.place, s.target, written(s), DefectKind.RESET, says, rest)


def _title(s: ty.Statement) -> str:
    if isinstance(s, ty.Assign) and isinstance(s.value, ty.Constant):
        return f"{s.target} := {text_of(s.value)}"
    return name_of(s)


def name_of(s: ty.Statement) -> str:
    """What a person calls a statement by: what it assigns or calls, or its condition."""
    match s:
        case ty.Assign():
            return s.target
        case ty.Invoke():
            return s.instance
        case ty.If():
            return f"IF {text_of(s.branches[0].condition)}"
        case _:
            return f"CASE {text_of(s.selector)}"


def written(s: ty.Statement) -> str:
    """A statement on one line, as a person would write it."""
    match s:
        case ty.Assign():
            return f"{s.target} := {whole_text(s.value)}"
        case ty.Invoke():
            given = [f"{name} := {whole_text(value)}" for name, value in s.inputs]
            taken = [f"{taken.output} => {taken.target}" for taken in s.outputs]
            return f"{s.instance}({', '.join(given + taken)})"
        case ty.If():
            parts = []
            for word, branch in zip(_ifs(s), s.branches, strict=False):
                parts += [f"{word} {whole_text(branch.condition)} THEN", *map(written, branch.body)]
            end = "END_IF"
        case ty.Case():
            parts = [f"CASE {whole_text(s.selector)} OF"]
            for choice in s.branches:
                parts += [f"{_ranges(choice)}:", *map(written, choice.body)]
            end = "END_CASE"
    parts += ["ELSE", *map(written, s.otherwise)] if s.otherwise else []
    return " ".join([*parts, end])


def _ifs(s: ty.If) -> list[str]:
    return ["IF", *["ELSIF"] * (len(s.branches) - 1)]


def _conditions(s: ty.If, last: int) -> str:
    """What leads to a branch of an IF: the conditions up to its own."""
    pairs = zip(_ifs(s), s.branches[: last + 1], strict=False)
    return " ".join(f"{word} {whole_text(b.condition)} THEN" for word, b in pairs)


def _ranges(branch: ty.CaseBranch) -> str:
    return ", ".join(str(lo) if lo == hi else f"{lo}..{hi}" for lo, hi in branch.ranges)


def _depend(a: ty.Statement, b: ty.Statement) -> bool:
    """Whether the order of two statements can matter."""
    writes_a, writes_b = _writes(a), _writes(b)
    return bool(writes_a & (_reads(b) | writes_b) or _reads(a) & writes_b)


def _writes(s: ty.Statement) -> set[str]:
    match s:
        case ty.Assign():
            return {s.target.casefold()}
        case ty.Invoke():
            return {s.instance.casefold(), *(taken.target.casefold() for taken in s.outputs)}
        case _:
            return {name for inner in _inner(s) for name in _writes(inner)}


def _reads(s: ty.Statement) -> set[str]:
    match s:
        case ty.Assign():
            return _names(s.value)
        case ty.Invoke():
            inputs = {name for _, value in s.inputs for name in _names(value)}
            return inputs | {s.instance.casefold()}
        case ty.If():
            conditions = [branch.condition for branch in s.branches]
        case ty.Case():
            conditions = [s.selector]
    own = {name for condition in conditions for name in _names(condition)}
    return own.union(*(_reads(inner) for inner in _inner(s)))


def _inner(s: ty.If | ty.Case) -> Iterator[ty.Statement]:
    for branch in s.branches:
        yield from branch.body
    yield from s.otherwise


def _names(e: ty.Expression) -> set[str]:
    """Variables that `e` reads; reading ``t1.Q`` reads the instance."""
    names = {read.name.casefold() for read in reads_of(e)}
    return names | {name.rpartition(".")[0] for name in names if "." in name}


def _exchanged_outputs(program: ty.Program) -> Iterator[ProgramDefect]:
    outputs = [v for v in program.variables if v.kind == "VAR_OUTPUT"]
    for a, b in pairwise(outputs):
        if a.type == b.type:
            names = {a.name: b.name, b.name: a.name}
            body = _renamed(program.body, names)
            place = next(_assignments(program.body, set(names)), a.place)
            says = f"exchange outputs {a.name} and {b.name}"
            changed = replace(program, body=body)
            yield ProgramDefect(place, a.name, "", DefectKind.EXCHANGED, says, changed)


def _assignments(body: Body, names: set[str]) -> Iterator[Place]:
    for s in body:
        match s:
            case ty.Assign():
                if s.target in names:
                    yield s.place
            case ty.Invoke():
                yield from (taken.place for taken in s.outputs if taken.target in names)
            case _:
                yield from _assignments(tuple(_inner(s)), names)


def _renamed(body: Body, names: Mapping[str, str]) -> Body:
    """`body` with the targets of assignments renamed; what is read stays."""
    return tuple(_renamed_statement(s, names) for s in body)


def _renamed_statement(s: ty.Statement, names: Mapping[str, str]) -> ty.Statement:
    match s:
        case ty.Assign():
            return replace(s, target=names.get(s.target, s.target))
        case ty.Invoke():
            outputs = [replace(o, target=names.get(o.target, o.target)) for o in s.outputs]
            return replace(s, outputs=tuple(outputs))
        case ty.If():
            branches = [replace(b, body=_renamed(b.body, names)) for b in s.branches]
            return replace(s, branches=tuple(branches), otherwise=_renamed(s.otherwise, names))
        case _:
            cases = [replace(b, body=_renamed(b.body, names)) for b in s.branches]
            return replace(s, branches=tuple(cases), otherwise=_renamed(s.otherwise, names))
