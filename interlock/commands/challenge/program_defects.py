"""Defects of a program: in one expression, in one statement, or in the order of two."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

from interlock.base.errors import Place
from interlock.commands.challenge.edits import Body, Edit, edited
from interlock.commands.challenge.expression_defects import (
    DefectKind,
    ExpressionDefect,
    constant_defects,
    expression_defects,
    text_of,
    truth,
    whole_text,
)
from interlock.commands.challenge.places import Change, by_place
from interlock.st import typed as ty
from interlock.st.evaluate import reads_of

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


def program_defects(program: ty.Program) -> Iterator[ProgramDefect]:
    """Every defect of `program`, in the order of its statements; exchanged outputs come last.

    What stands at one place of the text is changed in all its copies.
    """
    for change in by_place(_Seeder(program).body(program.body)):
        c, changed = change.first, replace(program, body=edited(program.body, change.edits))
        yield ProgramDefect(c.place, c.at, c.within, c.kind, change.says, changed)
    yield from _exchanged_outputs(program)


def neighbours_of(program: ty.Program) -> dict[str, str]:
    """For each variable the next declared one of its kind and type, which it may be mistaken for.

    It is one of the same instance where that has another. The last has the one before it.
    """
    found: dict[str, str] = {}
    groups: dict[tuple[str, ...], list[str]] = {}
    for variable in program.variables:
        key = (variable.kind, str(variable.type))
        instance = variable.name.rpartition(".")[0]
        groups.setdefault(key, []).append(variable.name)
        groups.setdefault((*key, instance), []).append(variable.name)
    for names in sorted(groups.values(), key=len, reverse=True):
        found |= dict(pairwise(names))
        if len(names) > 1:
            found[names[-1]] = names[-2]
    return found


class _Seeder:
    def __init__(self, program: ty.Program) -> None:
        self.blocks = {instance.name: instance.block for instance in program.instances}
        self.neighbours: Mapping[str, str] = neighbours_of(program)

    def body(self, body: Body) -> Iterator[Change]:
        for number, statement in enumerate(body):
            for change in self._statement(statement):
                yield change.within_statement("", number)
            if number + 1 < len(body) and _may_swap(statement, body[number + 1]):
                after = body[number + 1]
                says = f"{_title(after)} before {_title(statement)}"
                both = f"{written(after)}; {written(statement)}"
                edit = Edit((number,), (after, statement), 2)
                at, kind = name_of(after), DefectKind.REORDERED
                yield Change(after.place, statement.place, at, both, kind, says, edit)

    def _statement(self, s: ty.Statement) -> Iterator[Change]:
        match s:
            case ty.Assign():
                yield from _missing_reset(s)
                yield from self._part(s, 0, s.value)
            case ty.If():
                yield from self._if(s)
            case ty.Case():
                yield from self._case(s)
            case ty.Invoke():
                yield from self._invoke(s)

    def _part(self, s: ty.Statement, part: int, e: ty.Expression) -> Iterator[Change]:
        """Defects of an expression that is a part of `s`."""
        if not (isinstance(s, ty.Case) and part == 0):
            yield from (_changed(defect, s, part) for defect in constant_defects(e))
        yield from (_changed(defect, s, part) for defect in expression_defects(e, self.neighbours))

    def _if(self, s: ty.If) -> Iterator[Change]:
        for number, branch in enumerate(s.branches):
            yield from self._part(s, 2 * number, branch.condition)
            under = _conditions(s, number)
            for inner in (*_lost_resets(branch.body), *self.body(branch.body)):
                yield inner.within_statement(under, 2 * number + 1)
        for inner in self.body(s.otherwise):
            under = f"{_conditions(s, len(s.branches) - 1)} ELSE"
            yield inner.within_statement(under, 2 * len(s.branches))

    def _case(self, s: ty.Case) -> Iterator[Change]:
        yield from self._part(s, 0, s.selector)
        case = f"CASE {whole_text(s.selector)} OF"
        for number, branch in enumerate(s.branches):
            for inner in self.body(branch.body):
                yield inner.within_statement(f"{case} {_ranges(branch)}:", number + 1)
        for inner in self.body(s.otherwise):
            yield inner.within_statement(f"{case} ELSE", len(s.branches) + 1)

    def _invoke(self, s: ty.Invoke) -> Iterator[Change]:
        reset = _RESETS.get(self.blocks[s.instance])
        for number, (name, value) in enumerate(s.inputs):
            if name == reset and not isinstance(value, ty.Constant):
                tree = truth(False, value.place)
                says = f"drop reset {text_of(value)} of {s.instance}"
                yield _changed(
                    ExpressionDefect(value.place, DefectKind.RESET, says, tree), s, number
                )
            yield from self._part(s, number, value)


def _changed(defect: ExpressionDefect, s: ty.Statement, part: int) -> Change:
    """The defect in a part of the statement `s`, seen from it."""
    edit = Edit((part, *defect.path), defect.changed)
    at, kind, n_inside = name_of(s), defect.kind, len(edit.path)
    return Change(defect.place, s.place, at, written(s), kind, defect.says, edit, n_inside)


def _missing_reset(s: ty.Assign) -> Iterator[Change]:
    """``x := (set OR x) AND a AND b`` that keeps only what holds it on."""
    value = s.value
    if not isinstance(value, ty.Junction) or value.op != "AND":
        return
    for operand in value.operands:
        if isinstance(operand, ty.Junction) and any(r.name == s.target for r in reads_of(operand)):
            says = f"drop every reset of {s.target}"
            yield _changed(ExpressionDefect(value.place, DefectKind.RESET, says, operand), s, 0)


def _lost_resets(body: Body) -> Iterator[Change]:
    """A branch without its ``x := FALSE``."""
    for number, s in enumerate(body):
        if isinstance(s, ty.Assign) and isinstance(s.value, ty.Constant) and not s.value.value:
            says = f"drop {_title(s)}"
            edit = Edit((number,), (), 1)
            yield Change(s.place, s.place, s.target, written(s), DefectKind.RESET, says, edit)


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


def _may_swap(a: ty.Statement, b: ty.Statement) -> bool:
    """Whether two statements stand in this order in the text, and the order can matter."""
    in_order = a.place.file != b.place.file or a.place < b.place
    return in_order and _depend(a, b)


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
