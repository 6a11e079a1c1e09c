"""From a typed program to the kernel: what one scan makes of the memory, as expressions.

The program is executed once with expressions in place of values. Both sides of a branch are
executed; where they meet, each variable becomes an if-then-else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from math import prod

from interlock.base.errors import Place
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import bounds, python_function
from interlock.kernel.expr import FALSE, TRUE, Expr, Op, and_, const, not_, or_, var
from interlock.kernel.system import Domain, Move, MoveKind, Origin, Variable
from interlock.st import flaws as told
from interlock.st import lower_reals as lr
from interlock.st import reals
from interlock.st import typed as ty
from interlock.st.inference import infer_ranges
from interlock.st.layout import (
    PREFIX,
    Layout,
    Settings,
    Timers,
    lay_out,
    position_name,
    top_of,
)
from interlock.st.lower_bits import BitStrings
from interlock.st.lower_blocks import step_block
from interlock.st.lower_terms import Terms, kept_within, lower_expression
from interlock.st.ranges import within
from interlock.st.types import BitsType, IntType, RealType, TimeType, Type, span_of

__all__ = ["Flaw", "Lowered", "lower_expression", "lower_program"]

# Up to so many combinations of values are tried to show that a flaw cannot happen.
_MAX_TRIED = 4096

_State = dict[str, Expr]


@dataclass(frozen=True)
class Flaw:
    """Something a scan must not do: where, what, and the condition under which it does."""

    place: Place
    says: str
    when: Expr


@dataclass(frozen=True)
class Lowered:
    """A program as the kernel sees it.

    Attributes
    ----------
    program : typed.Program
    settings : Settings
    inputs : tuple of Variable
        What a scan latches, named ``input.<name>``. They are not variables of the system: replace
        them by the signals' expressions (``kernel.expr.substitute``).
    variables : tuple of Variable
        Outputs under their own names; local variables and the memory of blocks behind ``plc.``.
    retained : frozenset of str
        Names of the variables that keep their values over a restart.
    updates : dict of str to Expr
        New value of each variable after one scan, over ``input.<name>`` and the variables before
        it. Variables that no scan changes are left out.
    timer_moves : tuple of Move
        The events by which free timers elapse; empty for counted timers.
    presets : mapping of str to Expr
        The preset time of each timer for which it varies, as the last call in a scan gives it, and
        ``NAME.PT`` where there is none: `updates` tells it of a free timer only as far as it is 0.
    flaws : tuple of Flaw
        Assignments out of range, divisions by zero, numbers that do not fit and other defects that
        interval analysis cannot exclude.
    """

    program: ty.Program
    settings: Settings
    inputs: tuple[Variable, ...]
    variables: tuple[Variable, ...]
    retained: frozenset[str]
    updates: dict[str, Expr]
    timer_moves: tuple[Move, ...]
    presets: Mapping[str, Expr]
    flaws: tuple[Flaw, ...]

    @cached_property
    def defects(self) -> Expr:
        """Whether the next scan does any of `flaws`."""
        return or_(*(flaw.when for flaw in self.flaws))

    @property
    def restart(self) -> dict[str, Expr]:
        """Updates that restart the controller: volatile memory takes its initial values."""
        volatile = [v for v in self.variables if v.name not in self.retained]
        return {v.name: const(v.initial) for v in volatile}


def lower_program(program: ty.Program, settings: Settings) -> Lowered:
    """Lower `program`.

    Raises
    ------
    InputError
        Where the program reads the elapsed time of a free timer, or has numbers that are too large
        or too many to compute with.
    """
    layout = lay_out(program, settings)
    run = _Run(program, layout, settings)
    updates = run.scan()
    domains = {v.name: v.domain for v in (*layout.inputs, *layout.variables)}
    flaws = tuple(flaw for flaw in run.flaws if not _is_impossible(flaw.when, domains))
    return Lowered(
        program,
        settings,
        layout.inputs,
        layout.variables,
        layout.retained,
        updates,
        tuple(_elapse_moves(program.instances, settings)),
        run.presets,
        flaws,
    )


def _is_impossible(condition: Expr, domains: Mapping[str, Domain]) -> bool:
    """Whether no values make it true, or those of its parts that speak of the same variables."""
    parts = _parts_of(condition)
    read = {part: frozenset(ex.variables_of([part])) for part in parts}
    groups = dict.fromkeys((frozenset(ex.variables_of([condition])), *read.values()))
    return any(
        _never(and_(*(part for part in parts if read[part] <= names)), sorted(names), domains)
        for names in groups
    )


def _parts_of(condition: Expr) -> list[Expr]:
    """What must all be true for `condition`."""
    if condition.op is not Op.AND:
        return [condition]
    return list(dict.fromkeys(part for arg in condition.args for part in _parts_of(arg)))


def _never(condition: Expr, names: Sequence[str], domains: Mapping[str, Domain]) -> bool:
    if condition is FALSE:
        return True
    if prod(domains[name].size for name in names) > _MAX_TRIED:
        return False
    holds = python_function([condition], {name: n for n, name in enumerate(names)})
    values = [range(domains[name].lo, domains[name].hi + 1) for name in names]
    return not any(holds(state)[0] for state in product(*values))


def _elapse_moves(instances: Iterable[ty.Instance], settings: Settings) -> Iterator[Move]:
    if settings.timers is not Timers.FREE:
        return
    for instance in instances:
        if not instance.preset_ms:
            continue
        elapsed = position_name(instance, settings)
        due = and_(var(f"{PREFIX}{instance.name}.running"), not_(var(elapsed)))
        origin = Origin.elapse(instance.name)
        yield Move(
            origin.move_name,
            MoveKind.TIMER,
            due,
            {elapsed: TRUE},
            fair=due,
            says=f"timer {origin.move_name}",
            origin=origin,
        )


class _Names(Mapping[str, Expr]):
    """What the names of the program stand for in a state."""

    def __init__(self, state: _State, run: _Run) -> None:
        self._state = state
        self._run = run

    def __getitem__(self, name: str) -> Expr:
        value = self._state[self._run.places[name]]
        preset_ms = self._run.elapsed_presets_ms.get(name)
        if preset_ms is None:
            return value
        elapsed_ms = ex.mul(value, const(self._run.settings.scan_ms))
        return ex.minimum(const(preset_ms), elapsed_ms)

    def __iter__(self) -> Iterator[str]:
        return iter(self._run.places)

    def __len__(self) -> int:
        return len(self._run.places)


class _Run:
    """One scan with expressions in place of values."""

    def __init__(self, program: ty.Program, layout: Layout, settings: Settings) -> None:
        self.program = program
        self.layout = layout
        self.settings = settings
        self.instances = {instance.name: instance for instance in program.instances}
        # Where the preset time varies, ET is kept in milliseconds.
        self.elapsed_presets_ms = {
            f"{i.name}.ET".casefold(): i.preset_ms for i in program.instances if not i.varies
        }
        self.flaws: list[Flaw] = []
        self.presets: dict[str, Expr] = {}
        self.places = {**layout.names, **{name: f" {name}" for name in layout.temporaries}}
        self._domains = {
            v.name: (v.domain.lo, v.domain.hi) for v in (*layout.inputs, *layout.variables)
        }
        self._known: dict[Expr, tuple[int, int]] = {}
        self._bits = BitStrings(self.bound)
        self._tables = self._real_tables()

    def _real_tables(self) -> dict[str, tuple[float, ...]]:
        """The values of each REAL, by casefolded name."""
        names = {place: name for name, place in self.layout.names.items()}
        tables = {names[place]: table for place, table in self.layout.tables.items()}
        ever = infer_ranges(self.program).ever
        for name, declared in self.layout.temporaries.items():
            known = ever.get(name)
            if isinstance(declared.type, RealType):
                values = known if isinstance(known, frozenset) else {declared.real}
                tables[name] = tuple(sorted(values))
        return tables

    def bound(self, e: Expr) -> tuple[int, int]:
        """Least and greatest value that `e` can have as far as intervals tell."""
        if e not in self._known:
            self._known |= bounds([e], self._domains, self._known)
        return self._known[e]

    def scan(self) -> dict[str, Expr]:
        variables = self.layout.variables
        state = {v.name: var(v.name) for v in (*self.layout.inputs, *variables)}
        for name, declared in self.layout.temporaries.items():
            table = self._tables.get(name)
            first = declared.initial if table is None else table.index(declared.real)
            state[self.places[name]] = const(first)
        if self.settings.timers is Timers.COUNTED:
            self._pass_time(state)
        varying = {i.name: f"{i.name}.PT" for i in self.program.instances if i.varies}
        state |= {name: var(name) for name in varying.values()}
        self._execute(self.program.body, state, TRUE)
        self.presets = {name: state[given] for name, given in varying.items()}
        changed = [v for v in variables if state[v.name] is not var(v.name)]
        return {v.name: self._within(state[v.name], v.domain) for v in changed}

    def _within(self, e: Expr, domain: Domain) -> Expr:
        """`e`, which lies within `domain`, so that interval arithmetic sees it."""
        lo, hi = self.bound(e)
        if hi > domain.hi:
            e = ex.minimum(e, const(domain.hi))
        return ex.maximum(const(domain.lo), e) if lo < domain.lo else e

    def _pass_time(self, state: _State) -> None:
        # Time passes between scans, not between two calls in one scan.
        for instance in self.program.instances:
            running = f"{PREFIX}{instance.name}.running"
            if running in state:
                place = position_name(instance, self.settings)
                top = const(top_of(instance, self.settings))
                later = ex.minimum(top, ex.add(state[place], const(1)))
                state[place] = ex.ite(state[running], later, state[place])

    def _terms(self, state: _State, path: Expr) -> Terms:
        def note(place: Place, says: str, when: Expr) -> None:
            self._note(place, says, and_(path, when))

        return Terms(
            _Names(state, self), note, self._tables, self.bound, self._bits, self.settings.saturates
        )

    def _value(self, e: ty.Expression, state: _State, path: Expr) -> Expr:
        return self._terms(state, path).whole(e)

    def _note(self, place: Place, says: str, when: Expr) -> None:
        if when is not FALSE:
            self.flaws.append(Flaw(place, says, when))

    def _execute(self, body: Iterable[ty.Statement], state: _State, path: Expr) -> None:
        for s in body:
            match s:
                case ty.Assign() if isinstance(s.type, RealType):
                    self._write_real(s, state, path)
                case ty.Assign():
                    value = self._value(s.value, state, path)
                    self._write(s.target, s.type, value, s.value.type, state, path, s.place)
                case ty.If():
                    self._if(s, state, path)
                case ty.Case():
                    self._case(s, state, path)
                case ty.Invoke():
                    self._invoke(s, state, path)

    def _write_real(self, s: ty.Assign, state: _State, path: Expr) -> None:
        assert isinstance(s.type, RealType)
        base = s.type.base
        value = self._terms(state, path).real(s.value)
        beyond = lr.holds([value], lambda number: not reals.fits(number, base), s.place)
        self._note(s.place, told.outside_real(s.target, base), and_(path, beyond))
        kept = lr.applied([value], lambda number: reals.rounded(number, base), s.place)
        key = s.target.casefold()
        state[self.places[key]] = lr.place_in(kept, self._tables[key])

    def _write(
        self,
        target: str,
        type_: Type,
        value: Expr,
        value_type: Type,
        state: _State,
        path: Expr,
        place: Place,
    ) -> None:
        lo, hi = span_of(type_)
        span = span_of(value_type)
        if isinstance(type_, IntType | TimeType | BitsType) and not within(span, (lo, hi)):
            bound = self.bound(value)
            span = max(bound[0], span[0]), min(bound[1], span[1])

            def tell(when: Expr) -> None:
                self._note(place, told.outside(target, lo, hi), and_(path, when))

            if isinstance(type_, BitsType):
                # A bit string holds the bits of a negative number of its own width, too.
                kept_within(value, span, (-((hi + 1) // 2), hi), True, tell)
                if not within(span, (lo, hi)):
                    value = self._bits.number(self._bits.bits(value, type_.width), False)
            else:
                clamps = isinstance(type_, IntType) and not type_.is_whole
                saturates = clamps or self.settings.saturates
                value = kept_within(value, span, (lo, hi), saturates, tell)
                if clamps:
                    value = ex.clamp(value, lo, hi)
        state[self.places[target.casefold()]] = value

    def _if(self, s: ty.If, state: _State, path: Expr) -> None:
        def condition_of(branch: ty.Branch) -> Callable[[Expr], Expr]:
            return lambda path: self._value(branch.condition, state, path)

        arms = [(condition_of(branch), branch.body) for branch in s.branches]
        self._choose(arms, s.otherwise, state, path)

    def _case(self, s: ty.Case, state: _State, path: Expr) -> None:
        selector = self._value(s.selector, state, path)

        def condition_of(branch: ty.CaseBranch) -> Callable[[Expr], Expr]:
            met = or_(*(_in_span(selector, lo, hi) for lo, hi in branch.ranges))
            return lambda _path: met

        arms = [(condition_of(branch), branch.body) for branch in s.branches]
        self._choose(arms, s.otherwise, state, path)

    def _choose(
        self,
        arms: Sequence[tuple[Callable[[Expr], Expr], tuple[ty.Statement, ...]]],
        otherwise: tuple[ty.Statement, ...],
        state: _State,
        path: Expr,
    ) -> None:
        """Execute every arm, each where its condition is the first to hold, and merge."""
        before = dict(state)
        ends: list[tuple[Expr, _State]] = []
        for condition_on, body in arms:
            condition = condition_on(path)
            if self.bound(condition) == (0, 0):
                continue
            end = dict(before)
            self._execute(body, end, and_(path, condition))
            ends.append((condition, end))
            path = and_(path, not_(condition))
        self._execute(otherwise, state, path)
        for condition, end in reversed(ends):
            for name, value in end.items():
                state[name] = ex.ite(condition, value, state[name])

    def _invoke(self, s: ty.Invoke, state: _State, path: Expr) -> None:
        instance = self.instances[s.instance]
        inputs = {name: self._value(e, state, path) for name, e in s.inputs}
        if instance.varies:
            state[f"{instance.name}.PT"] = inputs["PT"]
        state.update(step_block(instance, inputs, state, self.settings, self.layout.counts))
        names = _Names(state, self)
        for taken in s.outputs:
            value = names[f"{s.instance}.{taken.output}".casefold()]
            self._write(
                taken.target, taken.type, value, taken.source_type, state, path, taken.place
            )


def _in_span(value: Expr, lo: int, hi: int) -> Expr:
    if lo == hi:
        return ex.eq(value, const(lo))
    return and_(ex.le(const(lo), value), ex.le(value, const(hi)))
