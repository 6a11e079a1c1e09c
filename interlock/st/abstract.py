"""Expressions on ranges: between which values the result lies, and what a condition tells.

A range is the least and the greatest value; of a REAL it is the set of its values, or None where
there are too many to keep apart.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import product

from interlock.base.errors import Mistake
from interlock.st import ranges, reals
from interlock.st import typed as ty
from interlock.st.evaluate import evaluate_number, operands_of
from interlock.st.types import (
    BIT_STRINGS,
    GREATEST,
    LIMITS,
    BitsType,
    BoolType,
    EnumType,
    IntType,
    RealType,
    TimeType,
    Type,
    base_of,
    span_of,
)

Span = tuple[int, int]
Known = Span | frozenset[float] | None
Env = dict[str, Known]

MOST_REALS = 512
"""So many values of a REAL are kept apart."""

_MOST_COMBINED = 1 << 16
_OPPOSITE = {"=": "<>", "<>": "=", "<": ">=", ">=": "<", ">": "<=", "<=": ">"}
_MIRRORED = {"=": "=", "<>": "<>", "<": ">", ">": "<", "<=": ">=", ">=": "<="}


def hull(a: Known, b: Known) -> Known:
    """The least range around both."""
    if isinstance(a, tuple) and isinstance(b, tuple):
        return min(a[0], b[0]), max(a[1], b[1])
    if isinstance(a, frozenset) and isinstance(b, frozenset):
        return few(a | b)
    return None


def joined(a: Env, b: Env) -> Env:
    """What is known where either may be so; of a name that one lacks, nothing."""
    # An arm changes little: all else is the very same in both.
    return {
        key: known if b[key] is known else hull(known, b[key])
        for key, known in a.items()
        if key in b
    }


def few(values: Iterable[float]) -> Known:
    """The values, or None where they are too many."""
    found = frozenset(values)
    return found if len(found) <= MOST_REALS else None


def rounded_all(known: Known, base: str) -> Known:
    """Real numbers as a variable of type `base` holds them."""
    if not isinstance(known, frozenset):
        return None
    return few(reals.rounded(value, base) for value in known)


class Meaning:
    """Expressions where the variables are as `env` says.

    Parameters
    ----------
    env : dict of str to tuple or frozenset
        Keys are casefolded; a name that it does not have has any value of its type.
    mistakes : list of Mistake
        Receives the results that are too large for the engines.
    """

    def __init__(self, env: Env, mistakes: list[Mistake]) -> None:
        self.env = env
        self._mistakes = mistakes

    def span(self, e: ty.Expression) -> Span:
        """The range of `e`, which is no REAL."""
        known = self.of(e)
        return known if isinstance(known, tuple) else span_of(e.type)

    def of(self, e: ty.Expression) -> Known:
        """The range of `e`."""
        match e:
            case ty.Constant():
                if isinstance(e.type, RealType):
                    return frozenset((e.real,))
                return e.value, e.value
            case ty.Read():
                key = e.name.casefold()
                if key in self.env:
                    return self.env[key]
                return None if isinstance(e.type, RealType) else span_of(e.type)
            case _:
                operands = [self.of(operand) for operand in operands_of(e)]
                types = [operand.type for operand in operands_of(e)]
                if any(isinstance(t, RealType) for t in (e.type, *types)):
                    return self._real(e, operands)
                spans = [known for known in operands if isinstance(known, tuple)]
                return self._whole(e, spans)

    # Real numbers

    def _real(self, e: ty.Expression, operands: list[Known]) -> Known:
        """By trying every combination of the operands' values."""
        choices = [_values(known) for known in operands]
        n_combined = 1
        for choice in choices:
            n_combined *= _MOST_COMBINED + 1 if choice is None else len(choice)
        if n_combined > _MOST_COMBINED:
            if isinstance(e, ty.Call) and e.function in ("SEL", "CHOICE"):
                return None
            if isinstance(e.type, RealType) and None not in operands:
                self._mistakes.append(Mistake(e.place, _TOO_MANY))
            return None if isinstance(e.type, RealType) else span_of(e.type)
        if isinstance(e, ty.Call) and e.function in ("SEL", "CHOICE"):
            first = 1 if e.function == "SEL" else 2
            return few(value for choice in choices[first:] for value in choice or ())
        names = [f"{number}" for number in range(len(choices))]
        flat = _with_operands(e, names)
        results = [
            evaluate_number(flat, dict(zip(names, combined, strict=True)))
            for combined in product(*(choice or () for choice in choices))
        ]
        if isinstance(e.type, RealType):
            return few(results)
        return int(min(results)), int(max(results))

    # Whole numbers, bit strings and truth values

    def _whole(self, e: ty.Expression, spans: list[Span]) -> Span:
        match e:
            case ty.Unary(op="-"):
                return self._fitted(ranges.negated(spans[0]), e)
            case ty.Unary():
                lo, hi = spans[0]
                if isinstance(e.type, BoolType):
                    return 1 - hi, 1 - lo
                ones = LIMITS[e.type.base][1] if isinstance(e.type, BitsType) else -1
                return _within_type((ones - hi, ones - lo), e.type)
            case ty.Junction():
                if not isinstance(e.type, BoolType):
                    return _bitwise(e.op, spans, e.type)
                join = min if e.op == "AND" else max
                return join(s[0] for s in spans), join(s[1] for s in spans)
            case ty.Binary(op="XOR"):
                if isinstance(e.type, BoolType):
                    sure = all(lo == hi for lo, hi in spans)
                    odd = int(spans[0][0] != spans[1][0])
                    return (odd, odd) if sure else (0, 1)
                return _bitwise(e.op, spans, e.type)
            case ty.Binary() if e.op in ranges.ARITHMETIC:
                return self._fitted(ranges.ARITHMETIC[e.op](*spans), e)
            case ty.Binary():
                return _compared(e.op, *spans)
            case ty.Call():
                return self._called(e, spans)
            case _:
                return span_of(e.type)

    def _fitted(self, span: Span, e: ty.Expression) -> Span:
        if not ranges.within(span, (-GREATEST, GREATEST)):
            self._mistakes.append(Mistake(e.place, _TOO_LARGE))
        return _within_type(span, e.type)

    def _called(self, e: ty.Call, spans: list[Span]) -> Span:
        match e.function:
            case "SEL":
                return ranges.join(spans[1 + spans[0][0] : 2 + spans[0][1]])
            case "CHOICE" | "VALUE":
                return ranges.join(spans[2:])
            case "MIN" | "MAX" | "LIMIT" | "ABS":
                return self._fitted(ranges.called(e.function, spans), e)
            case "BIT":
                place = spans[1][0]
                sure = spans[0][0] == spans[0][1]
                bit = spans[0][0] >> place & 1
                return (bit, bit) if sure else (0, 1)
            case "WITH_BIT":
                size = max(spans[0][1].bit_length(), spans[1][0] + 1)
                # A bit taken from a negative number makes it less.
                least = LIMITS[base_of(e.type)][0] if spans[0][0] < 0 else 0
                return _within_type((least, (1 << size) - 1), e.type)
            case "DEFECT":
                return 0, 0
            case "NUMBER":
                enum = e.arguments[0].type
                assert isinstance(enum, EnumType)
                numbers = [enum.number_at(v) for v in range(spans[0][0], spans[0][1] + 1)]
                return min(numbers), max(numbers)
            case "SHL" | "SHR" | "ROL" | "ROR":
                return _shifted(e.function, spans[0], spans[1], e.type)
            case _:
                if isinstance(e.type, BoolType):
                    return _compared("<>", spans[0], (0, 0))
                return self._fitted(spans[0], e)

    # Conditions

    def assume(self, e: ty.Expression, truth: bool) -> Env | None:
        """The variables where `e` holds, or does not; None where that cannot be."""
        match e:
            case ty.Unary(op="NOT"):
                return self.assume(e.operand, not truth)
            case ty.Junction() if isinstance(e.type, BoolType):
                if (e.op == "AND") is truth:
                    found: Env | None = self.env
                    for operand in e.operands:
                        if found is None:
                            return None
                        found = Meaning(found, self._mistakes).assume(operand, truth)
                    return found
                return self._any_of(e.operands, truth)
            case ty.Binary() if e.op in _OPPOSITE and not isinstance(e.left.type, BoolType):
                return self._compare(e.left, e.op if truth else _OPPOSITE[e.op], e.right)
            case _:
                known = self.of(e)
                sure = known in ((0, 0), (1, 1))
                return None if sure and known != (int(truth), int(truth)) else dict(self.env)

    def _any_of(self, operands: Iterable[ty.Expression], truth: bool) -> Env | None:
        ends = [self.assume(operand, truth) for operand in operands]
        found: Env | None = None
        for end in ends:
            if end is not None:
                found = end if found is None else joined(found, end)
        return found

    def _compare(self, left: ty.Expression, op: str, right: ty.Expression) -> Env | None:
        a, b = self.of(left), self.of(right)
        env: Env = dict(self.env)
        for e, own, sign, other in ((left, a, op, b), (right, b, _MIRRORED[op], a)):
            kept = _limited(own, sign, other)
            if kept is not None and not _is_possible(kept):
                return None
            if isinstance(e, ty.Read) and kept is not None:
                env[e.name.casefold()] = kept
        return env

    def assume_within(self, e: ty.Expression, spans: tuple[Span, ...], truth: bool) -> Env | None:
        """The variables where `e` lies in one of `spans`, or in none."""
        known = self.span(e)
        if truth:
            met = [(max(lo, known[0]), min(hi, known[1])) for lo, hi in spans]
            met = [(lo, hi) for lo, hi in met if lo <= hi]
            if not met:
                return None
            kept = ranges.join(met)
        else:
            kept = known
            for lo, hi in sorted(spans):
                kept = (hi + 1, kept[1]) if lo <= kept[0] <= hi else kept
            for lo, hi in sorted(spans, reverse=True):
                kept = (kept[0], lo - 1) if lo <= kept[1] <= hi else kept
            if kept[0] > kept[1]:
                return None
        env: Env = dict(self.env)
        if isinstance(e, ty.Read):
            env[e.name.casefold()] = kept
        return env


_TOO_LARGE = "the result may be beyond 2^62, too large to compute with; limit what it is made of"
_TOO_MANY = "this REAL has too many values to keep apart; limit what it is made of"


def _values(known: Known) -> list[float] | None:
    if isinstance(known, tuple):
        return list(range(known[0], known[1] + 1)) if known[1] - known[0] < MOST_REALS else None
    return None if known is None else sorted(known)


def _with_operands(e: ty.Expression, names: list[str]) -> ty.Expression:
    """`e` with variables called `names` in place of its operands."""
    reads = tuple(
        ty.Read(name, operand.type, e.place)
        for name, operand in zip(names, operands_of(e), strict=True)
    )
    match e:
        case ty.Unary():
            return ty.Unary(e.op, reads[0], e.type, e.place)
        case ty.Binary():
            return ty.Binary(e.op, reads[0], reads[1], e.type, e.place)
        case ty.Call():
            return ty.Call(e.function, reads, e.type, e.place)
        case _:
            return e


def _within_type(span: Span, type_: Type) -> Span:
    if isinstance(type_, IntType | TimeType | BitsType) and type_.base:
        return span if ranges.within(span, LIMITS[type_.base]) else LIMITS[type_.base]
    return span


def _bitwise(op: str, spans: list[Span], type_: Type) -> Span:
    if any(lo < 0 for lo, _ in spans):
        return LIMITS[type_.base] if isinstance(type_, IntType | BitsType) else span_of(type_)
    if op == "AND":
        return 0, min(hi for _, hi in spans)
    size = max(hi.bit_length() for _, hi in spans)
    least = max(lo for lo, _ in spans) if op == "OR" else 0
    return _within_type((least, (1 << size) - 1), type_)


def _shifted(function: str, span: Span, places: Span, type_: Type) -> Span:
    whole = LIMITS[type_.base] if isinstance(type_, IntType | BitsType) else span_of(type_)
    if span[0] < 0 or function in ("ROL", "ROR"):
        return whole
    least, most = max(places[0], 0), max(places[1], 0)
    if function == "SHR":
        return span[0] >> min(most, 64), span[1] >> min(least, 64)
    if most >= max(BIT_STRINGS.values()):
        return whole
    moved = 0 if most else span[0], span[1] << most
    return moved if ranges.within(moved, whole) else whole


def _compared(op: str, a: Span, b: Span) -> Span:
    below, above = a[1] < b[0], a[0] > b[1]
    same = a == b and a[0] == a[1]
    verdicts: dict[str, tuple[bool, bool]] = {
        "=": (same, below or above),
        "<": (below, a[0] >= b[1]),
        "<=": (a[1] <= b[0], above),
    }
    if op in verdicts:
        yes, no = verdicts[op]
    else:
        no, yes = verdicts[_OPPOSITE[op]]
    return (1, 1) if yes else (0, 0) if no else (0, 1)


_KEEPS: dict[str, Callable[[float, frozenset[float]], bool]] = {
    "=": lambda a, others: a in others,
    "<>": lambda a, others: len(others) > 1 or a not in others,
    "<": lambda a, others: a < max(others),
    "<=": lambda a, others: a <= max(others),
    ">": lambda a, others: a > min(others),
    ">=": lambda a, others: a >= min(others),
}


def _limited(own: Known, op: str, other: Known) -> Known:
    """What is left of `own` where it is compared so with a value of `other`."""
    if isinstance(own, frozenset) and isinstance(other, frozenset):
        return frozenset(a for a in own if _KEEPS[op](a, other))
    if not (isinstance(own, tuple) and isinstance(other, tuple)):
        return own
    lo, hi = own
    match op:
        case "=":
            return max(lo, other[0]), min(hi, other[1])
        case "<":
            return lo, min(hi, other[1] - 1)
        case "<=":
            return lo, min(hi, other[1])
        case ">":
            return max(lo, other[0] + 1), hi
        case ">=":
            return max(lo, other[0]), hi
        case _:
            if other[0] == other[1]:
                lo, hi = lo + (lo == other[0]), hi - (hi == other[0])
            return lo, hi


def _is_possible(known: Known) -> bool:
    if isinstance(known, tuple):
        return known[0] <= known[1]
    return known is None or bool(known)
