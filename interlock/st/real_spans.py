"""Between which numbers an expression stays, and which flaws it may come to.

The program is executed on spans in place of numbers, scan after scan, until memory grows no more;
what grows on is taken to have every number of its type (Cousot and Cousot, "Abstract
interpretation", POPL 1977). What rises or falls with each operand is computed at the ends of their
spans, rounded as the program rounds: IEEE 754 rounds in order, so nothing lies beyond.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import product

from interlock.base.errors import Mistake, Place
from interlock.st import typed as ty
from interlock.st.copies import written_in
from interlock.st.evaluate import evaluate_number, operands_of, says_of
from interlock.st.inference import infer_ranges
from interlock.st.number_line import LIMIT
from interlock.st.reals import GREATEST
from interlock.st.typed_parts import replaced
from interlock.st.types import BoolType, IntType, RealType, TimeType, Type, span_of

Span = tuple[float, float]

# After so many scans what still grows is taken to have every number of its type.
_PATIENCE = 4
_IN_ORDER = frozenset(("MIN", "MAX", "LIMIT", "MOVE"))


def whole_span(type_: Type) -> Span:
    """The least and the greatest number of a type."""
    if isinstance(type_, RealType):
        greatest = GREATEST[type_.base or "LREAL"]
        return -greatest, greatest
    return span_of(type_)


class Spans:
    """Of each expression of a program: its span where it is computed, and the flaws it may have.

    Parameters
    ----------
    program : typed.Program
    inputs : mapping of str to (float, float)
        Casefolded inputs whose numbers lie within other ends than those of instruments.
    """

    def __init__(self, program: ty.Program, inputs: Mapping[str, Span]) -> None:
        self._inputs = inputs
        ever = infer_ranges(program).ever
        self._whole = {k: span for k, span in ever.items() if isinstance(span, tuple)}
        self._found: dict[int, tuple[Span, dict[Mistake, None]]] = {}
        first = {v.name.casefold(): self._first(v) for v in program.variables if _is_real(v.type)}
        lasting = {v.name.casefold() for v in program.variables if v.kind != "VAR_TEMP"}
        self._types = types = {v.name.casefold(): v.type for v in program.variables}
        memory = dict(first)
        for n_scans in range(_PATIENCE * 3):
            reals = {k: span if k in lasting else first[k] for k, span in memory.items()}
            self._env = {**self._whole, **reals}
            self._execute(program.body)
            grown = {k: _hull(span, self._env[k]) for k, span in memory.items()}
            if grown == memory:
                break
            if n_scans >= _PATIENCE:
                grown = {
                    k: span if span == memory[k] else whole_span(types[k])
                    for k, span in grown.items()
                }
            memory = grown
        else:
            self._env = {**self._whole, **{k: whole_span(types[k]) for k in first}}
            self._execute(program.body)

    def of(self, e: ty.Expression) -> tuple[Span, list[Mistake]]:
        """The span and the flaws of an expression of the program."""
        span, flaws = self._found.get(id(e), (whole_span(e.type), {}))
        return span, list(flaws)

    def _first(self, v: ty.Declared) -> Span:
        if v.kind == "VAR_INPUT":
            return self._inputs.get(v.name.casefold(), (-LIMIT, LIMIT))
        return v.real, v.real

    def _execute(self, body: Iterable[ty.Statement]) -> None:
        for s in body:
            match s:
                case ty.Assign():
                    span = self._value(s.value)
                    self._assign(s.target.casefold(), span)
                case ty.Invoke():
                    for _, value in s.inputs:
                        self._value(value)
                    for taken in s.outputs:
                        self._assign(taken.target.casefold(), whole_span(taken.type))
                case ty.If() | ty.Case():
                    self._choose(s)

    def _assign(self, name: str, span: Span) -> None:
        """From here on a variable has a value within `span`, as far as its type holds that."""
        if name in self._whole:
            ever, (lo, hi) = self._whole[name], whole_span(self._types[name])
            here = max(span[0], ever[0]), min(span[1], ever[1])
            # What does not fit wraps, or is clamped; what is never executed has no value.
            is_known = lo <= span[0] and span[1] <= hi and here[0] <= here[1]
            self._env[name] = here if is_known else ever
        elif name in self._env:
            self._env[name] = span

    def _choose(self, s: ty.If | ty.Case) -> None:
        asked = [b.condition for b in s.branches] if isinstance(s, ty.If) else [s.selector]
        for e in asked:
            self._value(e)
        before, ends = dict(self._env), []
        for body in (*(branch.body for branch in s.branches), s.otherwise):
            self._env = dict(before)
            self._execute(body)
            ends.append(self._env)
        names = {name for name in written_in([s]) if name in before}
        joined = {name: _hull(*(end[name] for end in ends)) for name in names}
        self._env = {**before, **joined}

    def _value(self, e: ty.Expression) -> Span:
        """The span of `e` here, which is noted with that of all its parts."""
        parts = operands_of(e)
        spans = [self._value(part) for part in parts]
        flaws: list[Mistake] = []
        span = self._computed(e, parts, spans, flaws)
        known = self._found.get(id(e))
        noted = dict.fromkeys([m for p in parts for m in self._found[id(p)][1]] + flaws)
        if known is not None:
            # Executed before, in an earlier scan or as part of something else.
            self._found[id(e)] = _hull(known[0], span), {**known[1], **noted}
        else:
            self._found[id(e)] = span, noted
        return span

    def _computed(
        self,
        e: ty.Expression,
        parts: tuple[ty.Expression, ...] | list[ty.Expression],
        spans: list[Span],
        flaws: list[Mistake],
    ) -> Span:
        match e:
            case ty.Constant():
                value = e.real if _is_real(e.type) else e.value
                return value, value
            case ty.Read():
                key = e.name.casefold()
                return self._env.get(key) or whole_span(e.type)
            case ty.Call(function="SEL"):
                return _hull(*spans[1:])
            case ty.Call(function="CHOICE"):
                (lo, hi), (first, _) = spans[:2]
                if lo < first or hi > first + len(spans) - 3:
                    flaws.append(Mistake(e.place, "the index may be outside the array"))
                return _hull(*spans[2:])
            case ty.Call() if e.function == "DEFECT":
                flaws.append(Mistake(e.place, says_of(e)))
                return whole_span(e.type)
            case _ if not _is_number(e.type):
                if not isinstance(e.type, BoolType) and any(_is_real(p.type) for p in parts):
                    flaws.append(Mistake(e.place, _says(e)))
                return whole_span(e.type)
            case ty.Binary(op="MOD"):
                return whole_span(e.type)
        if all(lo == hi for lo, hi in spans) or _is_in_order(e, parts, spans):
            return _at_ends(e, parts, spans, flaws)
        flaws.append(Mistake(e.place, _says(e)))
        return whole_span(e.type)


def _is_in_order(
    e: ty.Expression, parts: tuple[ty.Expression, ...] | list[ty.Expression], spans: list[Span]
) -> bool:
    """Whether `e` rises or falls with each of its operands, with the others as they are."""
    if not all(_is_number(part.type) for part in parts):
        return False
    match e:
        case ty.Unary():
            return e.op == "-"
        case ty.Binary():
            return e.op in "+-*" or (e.op == "/" and not spans[1][0] <= 0 <= spans[1][1])
        case ty.Call(function="ABS"):
            return True
        case ty.Call(function="SQRT"):
            return spans[0][0] >= 0
        case ty.Call():
            converts = len(parts) == 1 and ("TO_" in e.function or "TRUNC" in e.function)
            return e.function in _IN_ORDER or converts
        case _:
            return False


def _at_ends(
    e: ty.Expression,
    parts: tuple[ty.Expression, ...] | list[ty.Expression],
    spans: list[Span],
    flaws: list[Mistake],
) -> Span:
    failed: list[Mistake] = []
    found = []
    for ends in product(*(dict.fromkeys(span) for span in spans)):
        constants = [
            _constant(v, part.type, part.place) for v, part in zip(ends, parts, strict=True)
        ]
        found.append(evaluate_number(replaced(e, parts, constants), {}, failed))
    if isinstance(e, ty.Call) and e.function == "ABS" and spans[0][0] <= 0 <= spans[0][1]:
        found.append(0)
    flaws += [Mistake(e.place, f"it may be that {m.says}") for m in failed[:1]]
    return whole_span(e.type) if failed else (min(found), max(found))


def _constant(value: float, type_: Type, place: Place) -> ty.Constant:
    if isinstance(type_, RealType):
        return ty.Constant(0, type_, "", place, value)
    return ty.Constant(int(value), type_, "", place)


def _says(e: ty.Expression) -> str:
    if isinstance(e, ty.Binary) and e.op == "/":
        return "the divisor may be 0"
    what = e.function if isinstance(e, ty.Call) else getattr(e, "op", "this")
    return f"{what} may have no value, or one too large"


def _is_real(type_: Type) -> bool:
    return isinstance(type_, RealType)


def _is_number(type_: Type) -> bool:
    return isinstance(type_, RealType | IntType | TimeType)


def _hull(*spans: Span) -> Span:
    return min(lo for lo, _ in spans), max(hi for _, hi in spans)
