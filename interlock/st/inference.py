"""Which values the variables of a program can have, found over all scans.

The program is executed on ranges in place of values, again and again, until the memory that a scan
leaves behind is no more than what it was started with. What grows on is widened to the constants
of the program (Cousot and Cousot, "Abstract interpretation", POPL 1977), then narrowed again.
Inputs have any value of their type in every scan. A range holds at least what occurs.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from interlock.base.errors import Mistake
from interlock.st import ranges
from interlock.st import typed as ty
from interlock.st.abstract import MOST_REALS, Env, Known, Meaning, hull, joined, rounded_all
from interlock.st.evaluate import operands_of
from interlock.st.types import (
    LIMITS,
    BitsType,
    BoolType,
    EnumType,
    IntType,
    RealType,
    TimeType,
    Type,
    span_of,
)

Span = tuple[int, int]

# After so many scans what grows is widened; after more, to the limits of its type.
_PATIENCE, _LAST = 4, 60


@dataclass(frozen=True)
class Ranges:
    """What `infer_ranges` found.

    Attributes
    ----------
    memory : dict of str to tuple or frozenset
        Least and greatest value that each variable has between two scans, of a REAL every value;
        keys are casefolded.
    ever : dict of str to tuple or frozenset
        The same at any moment of a scan, temporary variables included.
    presets : dict of str to (int, int)
        The preset times that the calls of a timer give, in milliseconds.
    mistakes : tuple of Mistake
        Numbers too large to compute with, and REAL variables with too many values.
    """

    memory: dict[str, Known]
    ever: dict[str, Known]
    presets: dict[str, Span]
    mistakes: tuple[Mistake, ...]


def is_wide(type_: Type) -> bool:
    """Whether a variable's range is found here; enumerations and ranges are as declared."""
    whole = isinstance(type_, IntType) and type_.is_whole
    return whole or isinstance(type_, TimeType | BitsType | RealType)


def infer_ranges(program: ty.Program) -> Ranges:
    """The values that the variables of `program` can have.

    Examples
    --------
    >>> from interlock.st.load import load_program
    >>> text = '''PROGRAM p VAR_INPUT up : BOOL; END_VAR VAR n : INT; END_VAR
    ... IF up AND n < 7 THEN n := n + 1; END_IF; END_PROGRAM'''
    >>> infer_ranges(load_program(text, "p.st")).memory
    {'n': (0, 7)}
    """
    for known, found in _recent:
        if known is program:
            return found
    found = _Inference(program).found()
    _recent.append((program, found))
    return found


# A program is laid out several times over: for the interpreter, the lowering and the model.
_recent: deque[tuple[ty.Program, Ranges]] = deque(maxlen=4)


class _Inference:
    def __init__(self, program: ty.Program) -> None:
        self._program = program
        self._declared = {v.name.casefold(): v for v in program.variables}
        tracked = [
            (key, v)
            for key, v in self._declared.items()
            if v.kind != "VAR_INPUT" and not isinstance(v.type, BoolType)
        ]
        self._initial: Env = {key: _initial(v) for key, v in tracked}
        self._kept = [key for key, v in tracked if v.kind != "VAR_TEMP"]
        self._thresholds = sorted(set(_thresholds(program)))

    def found(self) -> Ranges:
        needed = any(is_wide(v.type) for v in self._program.variables)
        if not needed and not any(i.varies for i in self._program.instances):
            return Ranges({}, {}, {}, ())
        memory: Env = {key: self._initial[key] for key in self._kept}
        for n_scans in range(10 * _LAST):
            new = self._joined(memory, self._scan(memory).env)
            if new == memory:
                break
            if n_scans >= _PATIENCE:
                new = self._widened(memory, new, n_scans >= _LAST)
            memory = new
        for _ in range(2):
            start = {key: self._initial[key] for key in self._kept}
            memory = self._joined(start, self._scan(memory).env)
        last = self._scan(memory)
        mistakes = [*last.mistakes, *self._crowded(last.ever)]
        return Ranges(memory, last.ever, last.presets, tuple(dict.fromkeys(mistakes)))

    def _joined(self, memory: Env, end: Env | None) -> Env:
        if end is None:
            return memory
        return {key: hull(known, end[key]) for key, known in memory.items()}

    def _scan(self, memory: Env) -> _Scan:
        scan = _Scan({**self._initial, **memory})
        scan.execute(self._program.body)
        return scan

    def _widened(self, old: Env, new: Env, gives_up: bool) -> Env:
        found = dict(new)
        for key, now in new.items():
            before = old[key]
            if not (isinstance(now, tuple) and isinstance(before, tuple)):
                continue
            lo, hi = span_of(self._declared[key].type)
            marks = [] if gives_up else self._thresholds
            if now[1] > before[1]:
                at = bisect_left(marks, now[1])
                hi = min(marks[at], hi) if at < len(marks) else hi
            else:
                hi = now[1]
            if now[0] < before[0]:
                at = bisect_left(marks, now[0] + 1) - 1
                lo = max(marks[at], lo) if at >= 0 else lo
            else:
                lo = now[0]
            found[key] = (lo, hi)
        return found

    def _crowded(self, ever: Mapping[str, Known]) -> Iterator[Mistake]:
        for key, known in ever.items():
            v = self._declared.get(key)
            if known is None and v is not None:
                yield Mistake(v.place, f"'{v.name}' has more than {MOST_REALS} values")


def _initial(v: ty.Declared) -> Known:
    return frozenset((v.real,)) if isinstance(v.type, RealType) else (v.initial, v.initial)


@dataclass
class _Scan:
    """One scan on ranges; `env` is None where nothing comes."""

    env: Env | None
    ever: dict[str, Known] = field(default_factory=dict)
    presets: dict[str, Span] = field(default_factory=dict)
    mistakes: list[Mistake] = field(default_factory=list)

    def __post_init__(self) -> None:
        assert self.env is not None
        self.ever |= self.env

    def execute(self, body: Iterable[ty.Statement]) -> None:
        for s in body:
            if self.env is None:
                return
            match s:
                case ty.Assign():
                    self._write(s.target, stored(self._value(s.value), s.type))
                case ty.If():
                    arms = [(_holds(b.condition), b.body) for b in s.branches]
                    self._choose(arms, s.otherwise)
                case ty.Case():
                    self._value(s.selector)
                    arms = [(_met(s.selector, b.ranges), b.body) for b in s.branches]
                    self._choose(arms, s.otherwise)
                case ty.Invoke():
                    self._invoke(s)

    def _value(self, e: ty.Expression) -> Known:
        assert self.env is not None
        meaning = Meaning(self.env, self.mistakes)
        return meaning.of(e)

    def _write(self, target: str, known: Known) -> None:
        assert self.env is not None
        key = target.casefold()
        if key in self.env or key in self.ever:
            self.env[key] = known
            self.ever[key] = hull(self.ever[key], known)

    def _choose(
        self,
        arms: list[tuple[Callable[[Meaning, bool], Env | None], tuple[ty.Statement, ...]]],
        otherwise: tuple[ty.Statement, ...],
    ) -> None:
        ends: list[Env] = []
        for condition, body in arms:
            if self.env is None:
                break
            meaning = Meaning(self.env, self.mistakes)
            after = condition(meaning, False)
            self.env = condition(meaning, True)
            if self.env is not None:
                self.execute(body)
            if self.env is not None:
                ends.append(self.env)
            self.env = after
        if self.env is not None:
            self.execute(otherwise)
        if self.env is not None:
            ends.append(self.env)
        self.env = _met_again(ends)

    def _invoke(self, s: ty.Invoke) -> None:
        assert self.env is not None
        for name, value in s.inputs:
            known = self._value(value)
            if name == "PT" and isinstance(known, tuple):
                self.presets[s.instance] = ranges.join([self.presets.get(s.instance, known), known])
        prefix = s.instance.casefold() + "."
        for output in ("cv", "et"):
            self.env.pop(prefix + output, None)
        for taken in s.outputs:
            self._write(taken.target, stored(span_of(taken.source_type), taken.type))


def _holds(condition: ty.Expression) -> Callable[[Meaning, bool], Env | None]:
    return lambda meaning, truth: meaning.assume(condition, truth)


def _met(selector: ty.Expression, spans: tuple[Span, ...]) -> Callable[[Meaning, bool], Env | None]:
    return lambda meaning, truth: meaning.assume_within(selector, spans, truth)


def _met_again(ends: list[Env]) -> Env | None:
    if not ends:
        return None
    first, *others = ends
    for other in others:
        first = joined(first, other)
    return first


def stored(known: Known, target: Type) -> Known:
    """What a variable of type `target` holds when it is assigned such a value."""
    if isinstance(target, RealType):
        return rounded_all(known, target.base)
    if not isinstance(known, tuple) or isinstance(target, BoolType | EnumType):
        return span_of(target) if not isinstance(known, tuple) else known
    lo, hi = span_of(target)
    if ranges.within(known, (lo, hi)):
        return known
    if isinstance(target, IntType) and not target.is_whole:
        return min(max(known[0], lo), hi), min(max(known[1], lo), hi)
    return lo, hi


def _thresholds(program: ty.Program) -> Iterator[int]:
    for lo, hi in LIMITS.values():
        yield from (lo, hi)
    for v in program.variables:
        yield from span_of(v.type)
    for e in _expressions(program.body):
        if isinstance(e, ty.Constant) and not isinstance(e.type, RealType):
            yield from (e.value - 1, e.value, e.value + 1)


def _expressions(body: Iterable[ty.Statement]) -> Iterator[ty.Expression]:
    for s in body:
        match s:
            case ty.Assign():
                yield from _parts(s.value)
            case ty.Invoke():
                for _, value in s.inputs:
                    yield from _parts(value)
            case ty.If():
                for branch in s.branches:
                    yield from _parts(branch.condition)
                    yield from _expressions(branch.body)
                yield from _expressions(s.otherwise)
            case ty.Case():
                yield from _parts(s.selector)
                for case in s.branches:
                    for limit in (limit for span in case.ranges for limit in span):
                        yield ty.Constant(limit, s.selector.type, "", case.place)
                    yield from _expressions(case.body)
                yield from _expressions(s.otherwise)


def _parts(e: ty.Expression) -> Iterator[ty.Expression]:
    stack = [e]
    while stack:
        node = stack.pop()
        yield node
        stack.extend(operands_of(node))
