"""REAL inputs: the values of them that a program can tell apart.

Each comparison and each conversion of what is made of an input is looked at over every number of
the input's type within `LIMIT`. What is made of it rises or falls with it between turning points
that are known, since IEEE 754 rounds in order; so halving finds each place where an answer changes,
and between two such places all numbers stand for each other. Where an input meets another, or
itself of another scan, that is no longer so, and the line is refused.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise, product
from types import MappingProxyType

from interlock.base.errors import InputError, Mistake
from interlock.st import typed as ty
from interlock.st.any_values import AnyValues, ended, innermost
from interlock.st.copies import without_copies
from interlock.st.evaluate import evaluate_number, operands_of, reads_of
from interlock.st.idle import without_idle, without_real_outputs
from interlock.st.inference import infer_ranges
from interlock.st.left_out import without_unknown
from interlock.st.lower_reals import MOST_VALUES
from interlock.st.number_line import Line
from interlock.st.real_forms import Forms, MixedError, first_name, folded, input_of
from interlock.st.typed_parts import changed, expressions_in, replaced
from interlock.st.types import (
    BitsType,
    BoolType,
    EnumType,
    IntType,
    NumberClasses,
    RealType,
    span_of,
)

# So many classes of one input are told apart.
_MOST_CLASSES = 64
_COMPARISONS = frozenset(("<", "<=", ">", ">=", "=", "<>"))


Limits = Mapping[str, Collection[tuple[str, float]]]
"""With what numbers inputs are compared outside of the program, each with the sign; casefolded."""
NO_LIMITS: Limits = MappingProxyType({})


def with_classes(
    program: ty.Program,
    keeps: Collection[str] = (),
    frees_wide: bool = False,
    limits: Limits = NO_LIMITS,
) -> ty.Program:
    """`program` with each REAL input as a choice among values that it can tell apart.

    Parameters
    ----------
    program : typed.Program
    keeps : collection of str
        As for `interlock.st.load.load_files`.
    frees_wide : bool
        Whether what is made a REAL of a whole number with many values is any value in its span.
    limits : mapping
        Numbers that are told apart as well.

    Raises
    ------
    InputError
        Where there are too many, with the line that needs them.
    """
    plain = without_copies(program)
    inputs = [v for v in program.inputs if isinstance(v.type, RealType)]
    inputs += _scaled(plain)
    made, begun = AnyValues(), plain
    if frees_wide and (wide := _made_of_wide(plain, inputs)):
        begun = made.instead_of(plain, (), wide)
        new = begun.variables[len(plain.variables) :]
        inputs += [v for v in new if isinstance(v.type, RealType)]
    if not inputs:
        return program
    program, inputs, any_values = _with_any_values(begun, inputs, keeps, made)
    any_values.keep_flaws(plain, program)
    found = Forms(program, inputs)
    unknown: dict[int, Mistake] = {}
    cuts: dict[str, set[int]] = {v.name.casefold(): set() for v in inputs}
    lines = {key: Line(v.type, any_values.spans.get(key)) for key, v in _by_key(inputs)}
    for key, more in _told_apart(program, found, lines, unknown):
        cuts[key] |= more
    for key, line in lines.items():
        cuts[key] |= {cut for sign, limit in limits.get(key, ()) for cut in line.cuts(sign, limit)}
    left = without_unknown(program, found.endless(), unknown)
    return replace(_replaced(left, inputs, cuts, lines), any_values=tuple(any_values.found))


def _by_key(inputs: Iterable[ty.Declared]) -> Iterator[tuple[str, ty.Declared]]:
    return ((v.name.casefold(), v) for v in inputs)


def _with_any_values(
    program: ty.Program, inputs: list[ty.Declared], keeps: Collection[str], made: AnyValues
) -> tuple[ty.Program, list[ty.Declared], AnyValues]:
    """`program` with any value in place of what no classes can be worked out for.

    Only where outputs that are kept would be left out for that, or all of them.
    """
    before = set[str]()
    while True:
        forms = Forms(program, inputs)
        unknown: dict[int, Mistake] = {}
        lines = {key: Line(v.type, made.spans.get(key)) for key, v in _by_key(inputs)}
        # What is found is of no interest here, only what cannot be.
        deque(_told_apart(program, forms, lines, unknown), 0)
        if not _loses(program, forms.endless(), unknown, keeps):
            return program, inputs, made
        needed = {
            id(e) for e in expressions_in(without_idle(without_real_outputs(program))[0].body)
        }
        assigned = ended(forms, before, program.body)
        before |= {a.target.casefold() for a in assigned}
        read = [a for a in assigned if id(a.value) in needed] or assigned
        asked = [e for e in expressions_in(program.body) if id(e) in unknown and not read]
        if not read and not asked:
            return program, inputs, made
        n_before = len(program.variables)
        program = made.instead_of(program, read, innermost(asked))
        new = program.variables[n_before:]
        inputs = [*inputs, *(v for v in new if isinstance(v.type, RealType))]


def _loses(
    program: ty.Program,
    variables: dict[str, Mistake],
    expressions: dict[int, Mistake],
    keeps: Collection[str],
) -> bool:
    """Whether an output that is kept is left out with these, or too much would be."""
    try:
        left = without_unknown(program, variables, expressions)
    except InputError:
        return True
    return any(one.name.casefold() in keeps for one in left.left_out)


class _TooManyError(Exception):
    """More values matter than are told apart."""


# What the program sees of an input


def _told_apart(
    program: ty.Program, forms: Forms, lines: Mapping[str, Line], unknown: dict[int, Mistake]
) -> Iterator[tuple[str, set[int]]]:
    """Of each input the numbers from which on what asks for it has another answer."""
    for e, seen in _observations(program, forms, unknown):
        key = next(reads_of(seen)).name.casefold()
        try:
            yield key, _cuts(seen, key, lines[key])
        except _TooManyError:
            says = f"more than {_MOST_CLASSES} values of the input '{key}' matter here"
            unknown[id(e)] = Mistake(seen.place, f"{says}; compare it with constants only")


def _observations(
    program: ty.Program, forms: Forms, unknown: dict[int, Mistake]
) -> Iterator[tuple[ty.Expression, ty.Expression]]:
    """Every comparison and conversion, with all that it may be of an input alone."""
    for e in expressions_in(program.body):
        reals = [part for part in operands_of(e) if forms.is_looked_at(part)]
        if not reals or (isinstance(e.type, RealType) and not _may_fail(e)):
            continue
        try:
            made = list(_made(e, forms))
        except MixedError as mixed:
            if isinstance(e.type, RealType):
                continue
            unknown[id(e)] = Mistake(e.place, f"{mixed.says}; compare it with constants only")
            continue
        yield from ((e, seen) for seen in made)


def _may_fail(e: ty.Expression) -> bool:
    return isinstance(e, ty.Binary) or (isinstance(e, ty.Call) and e.function != "SEL")


def _made(e: ty.Expression, forms: Forms) -> Iterator[ty.Expression]:
    if isinstance(e.type, RealType):
        yield from (form for form in forms.of(e) if input_of(form))
        return
    parts = operands_of(e)
    found = [forms.of(p) if forms.is_looked_at(p) else [p] for p in parts]
    if not any(input_of(form) for part in found for form in part):
        return
    if not all(found):
        raise MixedError(e.place, first_name(e))
    for choice in product(*found):
        varying = [form for form in choice if input_of(form)]
        if len(varying) > 1:
            raise MixedError(e.place, first_name(e))
        if varying:
            yield replaced(e, parts, choice)


Answer = tuple[object, ...]


def _cuts(seen: ty.Expression, key: str, line: Line) -> set[int]:
    """The numbers, in order of their type, from which on an answer is another."""

    def answer(at: int) -> Answer:
        failed: list[Mistake] = []
        value = _seen(seen, {key: line.number(at)}, failed)
        return (value, *((mistake.place, mistake.says) for mistake in failed))

    found: set[int] = set()
    turns = sorted({line.least, line.greatest, *_turns(seen, key, line)})
    for lo, hi in pairwise(turns):
        found |= _changes(answer, lo, hi)
    return found


def _seen(e: ty.Expression, env: dict[str, float], failed: list[Mistake]) -> float:
    # Whether it is equal, or fails, may change twice; on which side it is changes once each.
    if isinstance(e, ty.Binary) and e.op in ("=", "<>"):
        left, right = (evaluate_number(part, env, failed) for part in (e.left, e.right))
        return (left > right) - (left < right)
    if isinstance(e, ty.Call) and isinstance(e.type, BoolType) and len(e.arguments) == 1:
        value = evaluate_number(e.arguments[0], env, failed)
        return (value > 0) - (value < 0)
    value = evaluate_number(e, env, failed)
    if isinstance(e.type, RealType):
        return (value > 0) - (value < 0) if failed else 0
    return value


def _turns(e: ty.Expression, key: str, line: Line) -> set[int]:
    """Where `e` may begin to fall in place of rising: where what ABS is taken of changes sign."""
    found: set[int] = set()
    for part in operands_of(e):
        if input_of(part):
            found |= _turns(part, key, line)
    if isinstance(e, ty.Call) and e.function == "ABS":
        zero = ty.Constant(0, e.type, "", e.place, 0.0)
        below = ty.Binary("<", e.arguments[0], zero, IntType(0, 1), e.place)
        # What falls down to its zero may be 0 only in the last number before the change.
        found |= {n for cut in _cuts(below, key, line) for n in (cut - 1, cut)}
    return found


def _changes(answer: Callable[[int], Answer], lo: int, hi: int) -> set[int]:
    """Where an answer that comes in order changes within `lo` and `hi`."""
    found: set[int] = set()
    stack = [(lo, answer(lo), hi, answer(hi))]
    while stack:
        lo, at_lo, hi, at_hi = stack.pop()
        if at_lo == at_hi:
            continue
        if hi - lo == 1:
            found.add(hi)
            if len(found) > _MOST_CLASSES:
                raise _TooManyError
            continue
        middle = (lo + hi) // 2
        at_middle = answer(middle)
        stack += [(lo, at_lo, middle, at_middle), (middle, at_middle, hi, at_hi)]
    return found


def _scaled(program: ty.Program) -> list[ty.Declared]:
    """Wide whole inputs that are only scaled to REAL or compared with constants."""
    wide = {
        v.name.casefold(): v
        for v in program.inputs
        if isinstance(v.type, IntType) and v.type.hi - v.type.lo >= MOST_VALUES
    }
    fitting: set[str] = set()
    for e in expressions_in(program.body):
        parts = operands_of(e)
        direct = {p.name.casefold() for p in parts if isinstance(p, ty.Read)} & wide.keys()
        if isinstance(e, ty.Call) and isinstance(e.type, RealType) and len(parts) == 1:
            fitting |= direct
            continue
        others = [p for p in parts if not isinstance(p, ty.Read)]
        compares = isinstance(e, ty.Binary) and e.op in _COMPARISONS and len(others) == 1
        if not compares or any(next(reads_of(p), None) for p in others):
            for name in direct:
                wide.pop(name)
    # A whole statement may hand an input on.
    whole = [v for s in _statements(program.body) for v in _handed_on(s)]
    return [v for key, v in wide.items() if key in fitting and key not in whole]


def _made_of_wide(program: ty.Program, inputs: Iterable[ty.Declared]) -> list[ty.Expression]:
    """The conversions to REAL of whole numbers that have many values and are no such input."""
    known = {v.name.casefold() for v in inputs}
    ever = infer_ranges(program).ever

    def is_wide(e: ty.Expression) -> bool:
        name = e.name.casefold() if isinstance(e, ty.Read) else ""
        found = ever.get(name)
        lo, hi = found if isinstance(found, tuple) else span_of(e.type)
        return name not in known and next(reads_of(e), None) is not None and hi - lo >= MOST_VALUES

    return [
        e
        for e in expressions_in(program.body)
        if isinstance(e, ty.Call)
        and isinstance(e.type, RealType)
        and len(e.arguments) == 1
        and isinstance(e.arguments[0].type, IntType | BitsType)
        and is_wide(e.arguments[0])
    ]


# The program that is left


def _replaced(
    program: ty.Program,
    inputs: Sequence[ty.Declared],
    cuts: Mapping[str, set[int]],
    lines: Mapping[str, Line],
) -> ty.Program:
    chosen: dict[str, tuple[EnumType, tuple[ty.Constant, ...]]] = {}
    stand_ins: dict[str, tuple[float, ...]] = {}
    declared: dict[str, ty.Declared] = {}
    for v in inputs:
        line = lines[v.name.casefold()]
        starts = [line.least, *sorted(cuts[v.name.casefold()])]
        if len(starts) > _MOST_CLASSES:
            says = f"more than {_MOST_CLASSES} values of the input '{v.name}' matter"
            raise InputError([Mistake(v.place, f"{says}; compare it with fewer constants")])
        spans = list(zip(starts, [*(s - 1 for s in starts[1:]), line.greatest], strict=True))
        labels = tuple(line.label(lo, hi) for lo, hi in spans)
        values = [line.typical(lo, hi) for lo, hi in spans]
        first = line.nearest(v.real) if line.base else v.initial
        at = line.place(first)
        initial = next((n for n, (lo, hi) in enumerate(spans) if lo <= at <= hi), None)
        if initial is not None:
            values[initial] = first
        numbers = tuple((line.number(lo), line.number(hi)) for lo, hi in spans)
        classes = NumberClasses(line.base, numbers)
        type_ = EnumType(f"{v.name} ({v.type})", labels, classes=classes)
        constants = tuple(_constant(value, v) for value in values)
        chosen[v.name.casefold()] = type_, constants
        is_real = isinstance(v.type, RealType)
        stand_ins[v.name.casefold()] = tuple(c.real if is_real else c.value for c in constants)
        declared[v.name.casefold()] = replace(v, type=type_, initial=initial or 0, real=0.0)

    def value(read: ty.Expression) -> ty.Expression:
        if isinstance(read, ty.Call) and isinstance(read.type, RealType):
            return _converted(read)
        if not isinstance(read, ty.Read) or read.name.casefold() not in chosen:
            return read
        type_, constants = chosen[read.name.casefold()]
        span = IntType(0, len(constants) - 1)
        number = ty.Call("NUMBER", (replace(read, type=type_),), span, read.place)
        first = ty.Constant(0, IntType(0, 0), "0", read.place)
        return ty.Call("CHOICE", (number, first, *constants), read.type, read.place)

    variables = tuple(declared.get(v.name.casefold(), v) for v in program.variables)
    body = changed(program.body, value)
    return replace(program, variables=variables, body=body, stand_ins=stand_ins)


def _converted(e: ty.Call) -> ty.Expression:
    """A conversion of a choice as a choice among converted numbers, of which there are few."""
    inner = e.arguments[0]
    is_choice = isinstance(inner, ty.Call) and inner.function == "CHOICE"
    if len(e.arguments) != 1 or not is_choice:
        return e
    assert isinstance(inner, ty.Call)
    index, first, *values = inner.arguments
    if any(not isinstance(value, ty.Constant) for value in values):
        return e
    failed: list[Mistake] = []
    converted = [folded(replace(e, arguments=(value,)), failed) for value in values]
    if failed:
        return e
    return ty.Call("CHOICE", (index, first, *converted), e.type, e.place)


def _constant(value: float, like: ty.Declared) -> ty.Constant:
    if isinstance(like.type, RealType):
        return ty.Constant(0, like.type, "", like.place, value)
    return ty.Constant(int(value), like.type, str(int(value)), like.place)


def _statements(body: Iterable[ty.Statement]) -> Iterator[ty.Statement]:
    for s in body:
        yield s
        if isinstance(s, ty.If | ty.Case):
            for branch in s.branches:
                yield from _statements(branch.body)
            yield from _statements(s.otherwise)


def _handed_on(s: ty.Statement) -> list[str]:
    """The variables that a statement reads as a whole, by casefolded name."""
    match s:
        case ty.Assign():
            whole = [s.value]
        case ty.Invoke():
            whole = [value for _, value in s.inputs]
        case ty.Case():
            whole = [s.selector]
        case ty.If():
            whole = [branch.condition for branch in s.branches]
    return [e.name.casefold() for e in whole if isinstance(e, ty.Read)]
