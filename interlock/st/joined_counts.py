"""Counters that count on without an end: one value for all that nothing tells apart.

A counter written as ``n := n + 1`` has every value of its type, and with a few others more states
than can be explored. What reads it, as in ``n >= 1000``, tells only some of them apart. Here the
values below and above those are joined, each to one. From a joined value the next count leads to
the same, or on to what comes behind it, the other end of the type included, where the number wraps;
which of these is a new free input. So the program does all that it did, and more: it may wrap, say,
after two counts. Its own counting is not judged then; all else is.

Only counters are changed of which every use is understood: compared with what has few values,
asked by CASE, assigned such values, and counted up or down by one.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field, replace

from interlock.base.errors import Mistake
from interlock.kernel.expr import FALSE
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.abstract import Meaning
from interlock.st.evaluate import operands_of
from interlock.st.flaws import misfit
from interlock.st.idle import without_idle
from interlock.st.inference import infer_ranges
from interlock.st.layout import Settings
from interlock.st.lower import lower_program
from interlock.st.types import BOOL, LIMITS, IntType, span_of

_COMPARISONS = frozenset(("=", "<>", "<", ">", "<=", ">="))
# A counter with no more values costs less than what is lost by joining some of them.
_FEW = 256
_MOST_STEPS = 8
# So many times fewer values are worth it.
_WORTH = 4

_Span = tuple[int, int]


@dataclass
class _Counter:
    """A variable that may be such a counter.

    Attributes
    ----------
    marks : set of int
        Each the least value that something tells apart from the one below it.
    n_steps : int
        How many statements count.
    """

    declared: ty.Declared
    span: _Span
    marks: set[int] = field(default_factory=set)
    n_steps: int = 0
    is_understood: bool = True

    def mark(self, span: _Span) -> None:
        """Keep the values of `span` apart from each other and from the rest."""
        self.marks |= {span[0], span[1] + 1}


@dataclass(frozen=True)
class _Ends:
    """The ends of what is kept apart; `low` and `high` each stand for all beyond them as well.

    Where `joins_low` is FALSE nothing lies below `low`, and likewise above `high`.
    """

    low: int
    high: int
    joins_low: bool
    joins_high: bool


def with_less_memory(
    program: ty.Program, needed: Collection[str], settings: Settings
) -> tuple[ty.Program, tuple[sx.Note, ...]]:
    """`program` without what nobody asks for, its counts joined; and what was left out.

    Parameters
    ----------
    program : typed.Program
    needed : collection of str
        As for `with_joined_counts`.
    settings : Settings
        Where numbers stay at the ends of their types no counts are joined.
    """
    less, notes = without_idle(program, needed, of_any_type=True)
    joined = None if settings.saturates else with_joined_counts(less, needed)
    less = joined or less
    judged = _flaws(less, settings)
    unjudged = (flaw for flaw in _flaws(program, settings) if flaw not in judged)
    return replace(less, unjudged=tuple(unjudged)), notes


def _flaws(program: ty.Program, settings: Settings) -> dict[Mistake, None]:
    """What ARITHMETIC asks of a program, in the order of its text."""
    lowered = lower_program(program, settings)
    return {Mistake(f.place, f.says): None for f in lowered.flaws if f.when is not FALSE}


def with_joined_counts(program: ty.Program, needed: Collection[str] = ()) -> ty.Program | None:
    """`program` with the values of its counters joined where nothing tells them apart.

    Numbers are taken to wrap where their type ends, not to saturate.

    Parameters
    ----------
    program : typed.Program
    needed : collection of str
        Casefolded names that are read from outside, whose values are all kept apart.

    Returns
    -------
    Program or None
        None where nothing is joined.

    Examples
    --------
    >>> from interlock.st.load import load_program
    >>> text = '''PROGRAM p VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR
    ... VAR n : UDINT; END_VAR
    ... IF a THEN n := n + 1; END_IF; q := n >= 5; END_PROGRAM'''
    >>> joined = with_joined_counts(load_program(text, "p.st"))
    >>> [v.name for v in joined.inputs], infer_ranges(joined).memory
    (['a', 'n.leaps'], {'n': (0, 5)})
    """
    counters = _Uses(program, needed).found()
    ends = {key: made for key, one in counters.items() if (made := _ends_of(one)) is not None}
    if not ends:
        return None
    new = _New({v.name.casefold() for v in program.variables}, ends)
    body = new.body(program.body)
    return replace(
        program,
        variables=(*program.variables, *new.declared),
        body=body,
        any_values=(*program.any_values, *new.noted),
    )


def _ends_of(counter: _Counter) -> _Ends | None:
    """Where a counter ends; None where its values are not joined."""
    if not counter.is_understood or not 0 < counter.n_steps <= _MOST_STEPS:
        return None
    lo, hi = span_of(counter.declared.type)
    least, most = min(counter.marks), max(counter.marks)
    joins_low, joins_high = least > lo, most <= hi
    ends = _Ends(least - 1 if joins_low else lo, min(most, hi), joins_low, joins_high)
    n_before = counter.span[1] - counter.span[0] + 1
    return ends if (ends.high - ends.low + 1) * _WORTH <= n_before else None


class _Uses:
    """How a program uses its counters."""

    def __init__(self, program: ty.Program, needed: Collection[str]) -> None:
        found = infer_ranges(program)
        self._program = program
        self._meaning = Meaning(dict(found.ever), [])
        self._counters: dict[str, _Counter] = {}
        for v in program.variables:
            key = v.name.casefold()
            span = found.memory.get(key)
            is_kept = v.kind in ("VAR", "VAR_OUTPUT") and key not in needed
            is_number = isinstance(v.type, IntType) and v.type.is_whole
            if is_kept and is_number and isinstance(span, tuple) and span[1] - span[0] >= _FEW:
                self._counters[key] = _Counter(v, span)
                self._counters[key].mark((v.initial, v.initial))

    def found(self) -> dict[str, _Counter]:
        """Each with all that is asked of it."""
        if self._counters:
            self._look(self._program.body)
        return self._counters

    def _look(self, body: Iterable[ty.Statement]) -> None:
        for s in body:
            match s:
                case ty.Assign():
                    self._assigned(s)
                case ty.Invoke():
                    for _, value in s.inputs:
                        self._read(value)
                    for taken in s.outputs:
                        self._give_up(taken.target)
                case ty.If():
                    for branch in s.branches:
                        self._read(branch.condition)
                        self._look(branch.body)
                    self._look(s.otherwise)
                case ty.Case():
                    counter = self._bare(s.selector)
                    if counter is None:
                        self._read(s.selector)
                    else:
                        for span in [span for case in s.branches for span in case.ranges]:
                            counter.mark(span)
                    for case in s.branches:
                        self._look(case.body)
                    self._look(s.otherwise)

    def _assigned(self, s: ty.Assign) -> None:
        counter = self._counters.get(s.target.casefold())
        if counter is not None and step_of(s) != 0:
            counter.n_steps += 1
            return
        self._read(s.value)
        if counter is not None:
            span, limits = self._meaning.span(s.value), span_of(counter.declared.type)
            if limits[0] <= span[0] and span[1] <= limits[1]:
                counter.mark(span)
            else:
                counter.is_understood = False

    def _read(self, e: ty.Expression) -> None:
        """Look at what is read for its value."""
        if self._bare(e) is not None:
            self._give_up(e.name if isinstance(e, ty.Read) else "")
        elif isinstance(e, ty.Binary) and e.op in _COMPARISONS:
            for side, other in ((e.left, e.right), (e.right, e.left)):
                counter = self._bare(side)
                if counter is None:
                    self._read(side)
                else:
                    counter.mark(self._meaning.span(other))
        else:
            for operand in operands_of(e):
                self._read(operand)

    def _bare(self, e: ty.Expression) -> _Counter | None:
        return self._counters.get(e.name.casefold()) if isinstance(e, ty.Read) else None

    def _give_up(self, name: str) -> None:
        if (counter := self._counters.get(name.casefold())) is not None:
            counter.is_understood = False


def step_of(s: ty.Assign) -> int:
    """1 where a statement counts its variable up by one in its own type, -1 down, else 0."""
    e = s.value
    if not isinstance(e, ty.Binary) or e.op not in ("+", "-"):
        return 0
    if not isinstance(e.type, IntType) or e.type.base != _base(s):
        return 0
    for one, other in [(e.left, e.right), (e.right, e.left)][: 2 if e.op == "+" else 1]:
        is_it = isinstance(one, ty.Read) and one.name.casefold() == s.target.casefold()
        if is_it and isinstance(other, ty.Constant) and other.value == 1:
            return 1 if e.op == "+" else -1
    return 0


class _New:
    """Makes the statements of the new program, with an input for each that counts."""

    def __init__(self, taken: set[str], ends: dict[str, _Ends]) -> None:
        self._taken = taken
        self._ends = ends
        self.declared: list[ty.Declared] = []
        self.noted: list[ty.AnyValue] = []

    def body(self, statements: Iterable[ty.Statement]) -> tuple[ty.Statement, ...]:
        return tuple(new for s in statements for new in self._statement(s))

    def _statement(self, s: ty.Statement) -> Iterator[ty.Statement]:
        match s:
            case ty.Assign():
                ends = self._ends.get(s.target.casefold())
                step = step_of(s) if ends is not None else 0
                yield s if ends is None or step == 0 else self._counting(s, step, ends)
            case ty.If():
                branches = tuple(replace(b, body=self.body(b.body)) for b in s.branches)
                yield replace(s, branches=branches, otherwise=self.body(s.otherwise))
            case ty.Case():
                cases = tuple(replace(b, body=self.body(b.body)) for b in s.branches)
                yield replace(s, branches=cases, otherwise=self.body(s.otherwise))
            case _:
                yield s

    def _counting(self, s: ty.Assign, step: int, ends: _Ends) -> ty.If:
        """`s`, which counts by `step`, on joined values."""
        leaps = self._leap(s, ends)
        first, last = (ends.low, ends.high) if step > 0 else (ends.high, ends.low)
        joins_first = ends.joins_low if step > 0 else ends.joins_high
        joins_last = ends.joins_high if step > 0 else ends.joins_low
        branches: list[_Arm] = []
        if joins_last:
            # Past the end of the type it goes on at the other end.
            leap = _if([(leaps, (self._assign(s, first),))], s)
            branches.append((self._is(s, last), (leap,)))
        if joins_first:
            leap = _if([(leaps, (self._assign(s, first + step),))], s)
            branches.append((self._is(s, first), (leap,)))
        if not joins_last:
            # Here the end of the type is kept apart, so that it is known when it is passed.
            passed = ty.defect(misfit(_base(s)), s.place)
            branches.append((self._is(s, last), (passed, self._assign(s, first))))
        return _if(branches, s, s)

    def _leap(self, s: ty.Assign, ends: _Ends) -> ty.Read:
        """A new input that says whether a joined value is left by this statement."""
        number, name = 1, f"{s.target}.leaps"
        while name.casefold() in self._taken:
            number += 1
            name = f"{s.target}.leaps_{number}"
        self._taken.add(name.casefold())
        self.declared.append(ty.Declared(name, BOOL, 0, "VAR_INPUT", False, s.place))
        above = [f"from {ends.high} on"] if ends.joins_high else []
        below = [f"up to {ends.low}"] if ends.joins_low else []
        lo, hi = LIMITS[_base(s)]
        taken = (
            f"since nothing tells its values {' and '.join([*below, *above])} apart, these were "
            f"taken to be one each, from which any count may lead on; past {lo}..{hi} it begins "
            "again at the other end"
        )
        says = f"'{s.target}' counts without an end"
        flaw = Mistake(s.value.place, misfit(_base(s)))
        self.noted.append(ty.AnyValue(name, says, s.place, (flaw,), taken))
        return ty.Read(name, BOOL, s.place)

    def _is(self, s: ty.Assign, value: int) -> ty.Binary:
        return ty.Binary("=", _read(s), _number(s, value), BOOL, s.place)

    def _assign(self, s: ty.Assign, value: int) -> ty.Assign:
        return replace(s, value=_number(s, value))


_Arm = tuple[ty.Expression, tuple[ty.Statement, ...]]


def _if(arms: Iterable[_Arm], s: ty.Assign, *otherwise: ty.Statement) -> ty.If:
    branches = tuple(ty.Branch(when, body, s.place) for when, body in arms)
    return ty.If(branches, otherwise, s.place)


def _base(s: ty.Assign) -> str:
    return s.type.base if isinstance(s.type, IntType) else ""


def _read(s: ty.Assign) -> ty.Read:
    return ty.Read(s.target, s.type, s.place)


def _number(s: ty.Assign, value: int) -> ty.Constant:
    return ty.Constant(value, s.type, str(value), s.place)
