"""REAL inputs: the values of them that a program can tell apart.

Each comparison and each conversion of what is made of an input is looked at over every number of
the input's type within `LIMIT`. What is made of it rises or falls with it between turning points
that are known, since IEEE 754 rounds in order; so halving finds each place where an answer changes,
and between two such places all numbers stand for each other. Where an input meets another, or
itself of another scan, that is no longer so, and the line is refused.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import product

from interlock.base.errors import InputError, Mistake, Place
from interlock.st import typed as ty
from interlock.st.copies import without_copies
from interlock.st.evaluate import evaluate_number, operands_of, reads_of
from interlock.st.left_out import without_unknown
from interlock.st.lower_reals import MOST_VALUES
from interlock.st.reals import rounded
from interlock.st.typed_parts import changed, expressions_in, replaced
from interlock.st.types import EnumType, IntType, RealType, Type, span_of

LIMIT = 1e9
"""Instruments give no number beyond; a program that only fails there is not worth a violation."""

# So many classes of one input, and so many formulas for one variable, are told apart.
_MOST_CLASSES, _MOST_FORMS = 64, 24
_ORDERED = frozenset(("<", "<=", ">", ">="))
_COMPARISONS = _ORDERED | {"=", "<>"}
_KEEPS_ORDER = frozenset(("MIN", "MAX", "LIMIT", "SQRT", "MOVE", "TO_REAL", "ABS"))


def with_classes(program: ty.Program) -> ty.Program:
    """`program` with each REAL input as a choice among values that it can tell apart.

    Raises
    ------
    InputError
        Where there are too many, with the line that needs them.
    """
    plain = without_copies(program)
    inputs = [v for v in program.inputs if isinstance(v.type, RealType)]
    inputs += _scaled(plain)
    if not inputs:
        return program
    program = plain
    found = _Forms(program, inputs)
    mistakes: list[Mistake] = []
    unknown: dict[int, Mistake] = {}
    cuts: dict[str, set[int]] = {v.name.casefold(): set() for v in inputs}
    lines = {v.name.casefold(): _Line(v.type) for v in inputs}
    for seen in _observations(program, found, unknown):
        key = next(reads_of(seen)).name.casefold()
        try:
            cuts[key] |= _cuts(seen, key, lines[key])
        except _TooManyError:
            says = f"more than {_MOST_CLASSES} values of the input '{key}' matter here"
            mistakes.append(Mistake(seen.place, f"{says}; compare it with constants only"))
    if mistakes:
        raise InputError(list(dict.fromkeys(mistakes)))
    left = without_unknown(program, found.endless(), unknown)
    return _replaced(left, inputs, cuts)


class _TooManyError(Exception):
    """More values matter than are told apart."""


class _MixedError(Exception):
    """An input meets something else that varies."""

    def __init__(self, place: Place, name: str) -> None:
        super().__init__()
        self.place = place
        self.says = (
            f"'{name}' holds a REAL input and another number that varies, so every value matters"
        )


class _Forms:
    """What each REAL variable may be: formulas over one input, or numbers.

    An empty list stands for numbers of which nothing is known but that no input is in them; None
    for what an input is in without end.
    """

    def __init__(self, program: ty.Program, inputs: Sequence[ty.Declared]) -> None:
        self.inputs = {v.name.casefold() for v in inputs}
        reals = [v for v in program.variables if isinstance(v.type, RealType)]
        self._known: dict[str, dict[ty.Expression, None] | None] = {}
        for v in reals:
            if v.name.casefold() not in self.inputs:
                first = ty.Constant(0, v.type, "", v.place, v.real)
                self._known[v.name.casefold()] = {first: None}
        self._loose: set[str] = set()
        self._places: dict[str, Mistake] = {}
        self._find([a for a in _assignments(program.body) if isinstance(a.type, RealType)])

    def endless(self) -> dict[str, Mistake]:
        """The variables that an input is in without end, and where they become so."""
        return {name: self._places[name] for name, known in self._known.items() if known is None}

    def _find(self, assignments: Sequence[ty.Assign]) -> None:
        grown = True
        while grown:
            grown = False
            for a in assignments:
                grown |= self._grow(a)

    def _grow(self, a: ty.Assign) -> bool:
        key = a.target.casefold()
        known = self._known[key]
        if known is None:
            return False
        try:
            forms = self.of(a.value)
        except _MixedError as mixed:
            return self._end(a, mixed.says)
        if not forms:
            grown = key not in self._loose
            self._loose.add(key)
            return grown
        before = len(known)
        known.update(dict.fromkeys(forms))
        if len(known) <= _MOST_FORMS:
            return len(known) > before
        if any(map(_input_of, known)):
            return self._end(a, f"the values of '{a.target}' never end")
        self._loose.add(key)
        self._known[key] = {}
        return True

    def _end(self, a: ty.Assign, says: str) -> bool:
        key = a.target.casefold()
        self._known[key] = None
        self._places[key] = Mistake(a.place, says)
        return True

    def is_looked_at(self, e: ty.Expression) -> bool:
        """Whether `e` is a REAL, or one of the whole numbers that are treated like one."""
        is_input = isinstance(e, ty.Read) and e.name.casefold() in self.inputs
        return is_input or isinstance(e.type, RealType)

    def of(self, e: ty.Expression) -> list[ty.Expression]:
        """The formulas that the REAL `e` may be; none where it is another unknown number.

        Raises
        ------
        _MixedError
            Where an input meets what varies as well.
        """
        match e:
            case ty.Constant():
                return [e]
            case ty.Read():
                return self._variable(e)
            case ty.Call(function="SEL", arguments=(_, first, second)):
                return self._either(e, (first, second))
            case ty.Call(function="CHOICE"):
                return self._either(e, e.arguments[2:])
            case _:
                return self._combined(e)

    def _variable(self, e: ty.Read) -> list[ty.Expression]:
        key = e.name.casefold()
        if key in self.inputs:
            return [e]
        known = self._known.get(key, {})
        if known is None or (known and key in self._loose and any(map(_input_of, known))):
            raise _MixedError(e.place, _first_name(e))
        return [] if key in self._loose else list(known)

    def _either(self, e: ty.Expression, parts: Sequence[ty.Expression]) -> list[ty.Expression]:
        forms = [self.of(part) for part in parts]
        flat = list(dict.fromkeys(form for part in forms for form in part))
        if all(forms):
            return flat
        if any(map(_input_of, flat)):
            raise _MixedError(e.place, _first_name(e))
        return []

    def _combined(self, e: ty.Expression) -> list[ty.Expression]:
        parts = operands_of(e)
        forms = [self.of(part) if self.is_looked_at(part) else [part] for part in parts]
        if any(not self.is_looked_at(p) and next(reads_of(p), None) for p in parts):
            # A whole number that varies.
            return []
        varying = [f for part in forms for f in part if _input_of(f)]
        if not varying:
            numbers = (
                [_folded(replaced(e, parts, c)) for c in product(*forms)] if all(forms) else []
            )
            return list(dict.fromkeys(numbers)) if len(numbers) <= _MOST_FORMS else []
        made = [replaced(e, parts, choice) for choice in product(*forms)]
        if not all(forms) or len(made) > _MOST_FORMS or not all(map(_keeps_order, made)):
            raise _MixedError(e.place, _first_name(e))
        return [form if _input_of(form) else _folded(form) for form in made]


def _first_name(e: ty.Expression) -> str:
    read = next((read for read in reads_of(e) if isinstance(read.type, RealType)), None)
    return read.name if read is not None else "this"


def _input_of(form: ty.Expression) -> str:
    read = next(reads_of(form), None)
    return read.name.casefold() if read is not None else ""


def _folded(e: ty.Expression) -> ty.Expression:
    return ty.Constant(0, e.type, "", e.place, evaluate_number(e, {}))


def _keeps_order(e: ty.Expression) -> bool:
    """Whether `e` rises or falls with the one operand that varies, but for turning points."""
    varying = [operand for operand in operands_of(e) if _input_of(operand)]
    if not varying:
        return True
    if len(varying) > 1:
        return False
    match e:
        case ty.Unary():
            return e.op == "-"
        case ty.Binary():
            return e.op in "+-*" or (e.op == "/" and varying[0] is e.left)
        case ty.Call():
            converts = len(e.arguments) == 1 and "TO_" in e.function
            return e.function in _KEEPS_ORDER or converts
        case _:
            return False


# What the program sees of an input


def _observations(
    program: ty.Program, forms: _Forms, unknown: dict[int, Mistake]
) -> Iterator[ty.Expression]:
    """Every comparison and conversion, over an input alone, that the program may compute."""
    for e in expressions_in(program.body):
        reals = [part for part in operands_of(e) if forms.is_looked_at(part)]
        if not reals or (isinstance(e.type, RealType) and not _may_fail(e)):
            continue
        try:
            made = list(_made(e, forms))
        except _MixedError as mixed:
            if isinstance(e.type, RealType):
                continue
            unknown[id(e)] = Mistake(e.place, f"{mixed.says}; compare it with constants only")
            continue
        yield from made


def _may_fail(e: ty.Expression) -> bool:
    return isinstance(e, ty.Binary) or (isinstance(e, ty.Call) and e.function != "SEL")


def _made(e: ty.Expression, forms: _Forms) -> Iterator[ty.Expression]:
    if isinstance(e.type, RealType):
        yield from (form for form in forms.of(e) if _input_of(form))
        return
    parts = operands_of(e)
    found = [forms.of(p) if forms.is_looked_at(p) else [p] for p in parts]
    if not any(_input_of(form) for part in found for form in part):
        return
    if not all(found):
        raise _MixedError(e.place, _first_name(e))
    for choice in product(*found):
        varying = [form for form in choice if _input_of(form)]
        if len(varying) > 1:
            raise _MixedError(e.place, _first_name(e))
        if varying:
            yield replaced(e, parts, choice)


Answer = tuple[object, ...]


def _cuts(seen: ty.Expression, key: str, line: _Line) -> set[int]:
    """The numbers, in order of their type, from which on an answer is another."""

    def answer(at: int) -> Answer:
        failed: list[Mistake] = []
        value = _seen(seen, {key: line.number(at)}, failed)
        return (value, *(mistake.says for mistake in failed))

    found: set[int] = set()
    turns = sorted({line.least, line.greatest, *_turns(seen, key, line)})
    for lo, hi in zip(turns, turns[1:], strict=False):
        found |= _changes(answer, lo, hi)
    return found


def _seen(e: ty.Expression, env: dict[str, float], failed: list[Mistake]) -> float:
    if isinstance(e.type, RealType):
        evaluate_number(e, env, failed)
        return 0
    if isinstance(e, ty.Binary) and e.op in ("=", "<>"):
        # Whether it is equal changes twice; on which side it is changes once each.
        left, right = (evaluate_number(part, env, failed) for part in (e.left, e.right))
        return (left > right) - (left < right)
    return evaluate_number(e, env, failed)


def _turns(e: ty.Expression, key: str, line: _Line) -> set[int]:
    """Where `e` may begin to fall in place of rising: where what ABS is taken of changes sign."""
    found: set[int] = set()
    for part in operands_of(e):
        if _input_of(part):
            found |= _turns(part, key, line)
    if isinstance(e, ty.Call) and e.function == "ABS":
        zero = ty.Constant(0, e.type, "", e.place, 0.0)
        below = ty.Binary("<", e.arguments[0], zero, IntType(0, 1), e.place)
        found |= _cuts(below, key, line)
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


class _Line:
    """The numbers of a type in their order, each by its place: whole numbers count from 0."""

    def __init__(self, type_: Type) -> None:
        self._codes = _CODES[type_.base] if isinstance(type_, RealType) else None
        self.base = type_.base if isinstance(type_, RealType) else ""
        lo, hi = (-LIMIT, LIMIT) if self._codes else span_of(type_)
        self.least, self.greatest = self.place(lo), self.place(hi)

    def place(self, value: float) -> int:
        """Where a number stands."""
        if self._codes is None:
            return int(value)
        real, whole = self._codes
        place = int(struct.unpack(whole, struct.pack(real, abs(value)))[0])
        return -place if value < 0 else place

    def number(self, place: int) -> float:
        """What stands at a place."""
        if self._codes is None:
            return place
        real, whole = self._codes
        value = float(struct.unpack(real, struct.pack(whole, abs(place)))[0])
        return -value if place < 0 else value

    def nearest(self, value: float) -> float:
        """The number of the type that is nearest to `value`."""
        return round(value) if self._codes is None else rounded(value, self.base)

    def text(self, place: int) -> str:
        """The fewest digits that are read as the number at `place`."""
        value = self.number(place)
        if self._codes is None:
            return str(int(value))
        texts = (f"{value:.{digits}g}" for digits in range(1, 18))
        return next(text for text in texts if self.nearest(float(text)) == value)

    def typical(self, lo: int, hi: int) -> float:
        """A number with few digits among those from one place to another."""
        if lo <= 0 <= hi:
            return 0.0
        middle = (self.number(lo) + self.number(hi)) / 2
        for digits in range(1, 18):
            value = self.nearest(float(f"{middle:.{digits}g}"))
            if lo <= self.place(value) <= hi:
                return value
        return self.number(lo)

    def label(self, lo: int, hi: int) -> str:
        """A class in words; a limit is named by the one of two neighbours with fewer digits."""
        if lo == hi:
            return self.text(lo)
        first, last = self.text(lo), self.text(hi)
        low, high = f"from {first}", f"up to {last}"
        if self._codes and len(self.text(lo - 1)) < len(first):
            low = f"above {self.text(lo - 1)}"
        if self._codes and len(self.text(hi + 1)) < len(last):
            high = f"below {self.text(hi + 1)}"
        parts = [low] * (lo > self.least) + [high] * (hi < self.greatest)
        return " ".join(parts) or "any"


_CODES = {"REAL": ("<f", "<i"), "LREAL": ("<d", "<q")}


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


# The program that is left


def _replaced(
    program: ty.Program, inputs: Sequence[ty.Declared], cuts: dict[str, set[int]]
) -> ty.Program:
    chosen: dict[str, tuple[EnumType, tuple[ty.Constant, ...]]] = {}
    declared: dict[str, ty.Declared] = {}
    for v in inputs:
        line = _Line(v.type)
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
        type_ = EnumType(f"{v.name} ({v.type})", labels)
        constants = tuple(_constant(value, v) for value in values)
        chosen[v.name.casefold()] = type_, constants
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
    return replace(program, variables=variables, body=changed(program.body, value))


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
    converted = [_folded(replace(e, arguments=(value,))) for value in values]
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


def _assignments(body: Iterable[ty.Statement]) -> Iterator[ty.Assign]:
    for s in body:
        match s:
            case ty.Assign():
                yield s
            case ty.If() | ty.Case():
                for branch in s.branches:
                    yield from _assignments(branch.body)
                yield from _assignments(s.otherwise)
