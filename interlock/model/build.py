"""From a model to a kernel system.

The state holds the plant's machines and the controls under their own names, the program's
outputs under theirs, its memory as ``plc.…``, and `PHASE`. Sensors and terms are no state: they
are expressions over it, and the scan reads them as they are at its start.

**A step.** Moves of the plant or of people, as many as `between_scans` allows, then a scan.
Power-up is the state in which no scan has run yet: the first scan comes before the first move. A
scan may come at any time, also when nothing moved. What faults, free timers, free inputs and late
signals do takes no turn: it may happen at any moment (`interlock.model.turns`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, TRUE, Expr, and_, eq, not_
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.requirement import Pattern, Requirement, Scope
from interlock.kernel.system import (
    BOOL,
    Move,
    MoveKind,
    Origin,
    Role,
    System,
    Variable,
    enumeration,
)
from interlock.model.clocks import clocked, going_on, may_stand_still, periods_of, stays_of
from interlock.model.controller import SCAN as SCAN
from interlock.model.controller import STILL
from interlock.model.delayed_outputs import EFFECT, DelayedOutputs
from interlock.model.fault import Effect, Fault
from interlock.model.fault_kinds import Site
from interlock.model.inside import variables_inside
from interlock.model.lowered import LoweredController, lower_controllers
from interlock.model.model import Formula, Machine, Model, ModelMove, Statement
from interlock.model.old_values import OldValues
from interlock.model.reading import names_read, premises_of
from interlock.model.turns import noting_who_scans, turns_of, who_scanned
from interlock.st.lower import lower_expression

ARITHMETIC = "ARITHMETIC"
TIME = "TIME"
GENERATED = (ARITHMETIC, TIME)
"""Requirements that every other verdict rests on, and that no model states."""


@dataclass(frozen=True)
class RunClass:
    """Which faults and which human errors may happen in a run.

    Attributes
    ----------
    faults : tuple of str
        The faults that may happen at all.
    at_most : int or None
        How many of them in one run; None for any number.
    human : bool
        Whether declared human errors may happen.
    apart : tuple of tuple of str
        Groups of faults of which no two have faults that strike in one run.
    """

    faults: tuple[str, ...] = ()
    at_most: int | None = 0
    human: bool = False
    apart: tuple[tuple[str, ...], ...] = ()

    @property
    def says(self) -> str:
        """The class in words."""
        if not self.faults or self.at_most == 0:
            words = "no component fault"
        elif self.at_most is None:
            words = "any number of component faults"
        elif self.at_most == 1:
            words = "any one component fault"
        else:
            words = f"up to {self.at_most} component faults"
        return words + (", with human errors" if self.human else "")


FAULT_FREE = RunClass()


@dataclass(frozen=True)
class Built:
    """A model as a system.

    Attributes
    ----------
    model : Model
    run_class : RunClass
    system : System
    requirements : mapping of str to Requirement
    signals : mapping of str to Expr
        What the sensor of each input gives, faults included, by casefolded name.
    read : mapping of str to Expr
        What a scan reads of it: what it gave before where the signal is late.
    truth : mapping of str to Expr
        What each name in a requirement stands for, by casefolded name.
    given : mapping of str to Expr
        What each output gives, faults included, whatever of it has taken effect.
    """

    model: Model
    run_class: RunClass
    system: System
    requirements: Mapping[str, Requirement]
    signals: Mapping[str, Expr]
    read: Mapping[str, Expr]
    truth: Mapping[str, Expr]
    given: Mapping[str, Expr]

    def lower(self, formula: Formula) -> Expr:
        """A source-level formula over the truth as an expression over the system."""
        return lower_expression(formula.tree, self.truth)


def build(model: Model, run_class: RunClass = FAULT_FREE, with_all_memory: bool = False) -> Built:
    """Build the system of `model` for a run class.

    Parameters
    ----------
    model : Model
    run_class : RunClass
    with_all_memory : bool
        Whether to keep what outputs depend on only where a signal says what no state makes it
        say, as where somebody holds it at a terminal.
    """
    return _Builder(model, run_class).build(with_all_memory)


def fault_flag(fault: str) -> str:
    """Name of the variable that tells whether a fault has struck."""
    return f"fault.{fault}"


class _Builder:
    def __init__(self, model: Model, run_class: RunClass) -> None:
        self.model = model
        self.run_class = run_class
        chosen = [] if run_class.at_most == 0 else [model.faults[f] for f in run_class.faults]
        self.live = [fault for fault in chosen if fault.excluded is None]
        self.lowered = lower_controllers(model.controllers)
        self.given = self._given()
        self.truth = self._truth()
        initial = {v.name: v.initial for one in self.lowered for v in one.lowered.variables}
        self.effects = DelayedOutputs(model, self.given, initial)
        self.signals = self._signals()
        self.old = OldValues(model, self.signals)
        self.read = self.old.read()

    def _flags(self) -> dict[str, Expr]:
        live = {fault.id for fault in self.live}
        return {id_: ex.var(fault_flag(id_)) if id_ in live else FALSE for id_ in self.model.faults}

    def _given(self) -> dict[str, Expr]:
        """What each output gives, faults included, by casefolded name."""
        flags = self._flags()
        return {
            name.casefold(): self._overridden(ex.var(name), Site.OUTPUT, name, flags)
            for name in self.model.outputs
        }

    def _truth(self) -> dict[str, Expr]:
        env = {name.casefold(): ex.var(name) for name in self.model.machines}
        env |= {name.casefold(): flag for name, flag in self._flags().items()}
        env |= self.given
        env |= {o.name.casefold(): ex.var(EFFECT + o.name) for o in self.model.delayed_outputs}
        env |= {path: ex.var(kept) for path, kept in variables_inside(self.model).items()}
        waiting = dict(self.model.terms)
        while waiting:  # terms may be written in any order; circles were refused on loading
            for name, formula in list(waiting.items()):
                if names_read(formula.tree) <= env.keys():
                    env[name.casefold()] = lower_expression(formula.tree, env)
                    del waiting[name]
        return env

    def _signals(self) -> dict[str, Expr]:
        flags = self._flags()
        found = {}
        for name, sensor in self.model.sensors.items():
            reads = lower_expression(sensor.reads.tree, self.truth)
            found[name.casefold()] = self._overridden(reads, Site.SIGNAL, name, flags)
        return found

    def _overridden(self, value: Expr, site: Site, name: str, flags: Mapping[str, Expr]) -> Expr:
        """`value` as the faults let it through; of several, the last declared wins."""
        for fault, effect in self._effects():
            if effect.site is site and effect.name == name and effect.kind.shows is not None:
                given = ex.var(held_value(fault.id, name)) if effect.kind.holds else value
                off, on = map(ex.const, effect.kind.shows)
                value = ex.ite(flags[fault.id], ex.ite(given, on, off), value)
        return value

    def _effects(self) -> Iterator[tuple[Fault, Effect]]:
        return ((fault, effect) for fault in self.live for effect in fault.effects)

    def build(self, with_all_memory: bool) -> Built:
        variables = [_variable(machine) for machine in self.model.machines.values()]
        variables += [v for one in self.lowered for v in one.lowered.variables]
        for fault in self.live:
            names = [fault_flag(fault.id)]
            names += [held_value(fault.id, e.name) for e in fault.effects if e.kind.holds]
            if fault.intermittent:
                names.append(counted_flag(fault))
            variables += [Variable(name, BOOL, 0, Role.FAULT) for name in names]
        variables += [*self.effects.variables(), *self.old.variables()]
        turns, events = turns_of(self.model, self._may_scan()), self._events()
        has_time = self.model.timing is not None
        counts = turns.variables(has_events=bool(events) or has_time)
        variables += [*counts, *who_scanned(self.model)]
        moves = [turns.taking_one(*move) for move in self._moves(takes_turn=True)]
        moves += [turns.taking_none(event) for event in events]
        moves += [self._scan(one, [count.name for count in counts]) for one in self.lowered]
        moves = [*map(self.effects.noting, noting_who_scans(self.model, moves))]
        moves = [*map(self.old.noting, moves)]
        time_goes_on = None
        if self.model.timing is not None:
            periods, stays = periods_of(self.model), stays_of(self.model)
            scans = [one.scan for one in self.model.controllers]
            clocks, moves = clocked(
                self.model.timing, moves, periods, scans, stays, going_on(self.model)
            )
            (moves[-1],) = noting_who_scans(self.model, moves[-1:])
            moves[-1] = self.old.noting(self.effects.kept_by(moves[-1]))
            if may_stand_still(self.model, periods):
                time_goes_on = moves[-1].guard
            moves[-1] = turns.taking_none(moves[-1])
            variables += clocks
        truth = {v.name.casefold(): ex.var(v.name) for v in variables} | self.truth
        requirements = {id_: self.requirement(s) for id_, s in self.model.statements.items()}
        if time_goes_on is not None:
            says = "Time can always go on: no moves follow each other for ever in no time"
            requirements[TIME] = Requirement(TIME, Pattern.CAN_STILL, time_goes_on, says=says)
        # Asked in every class alike, also where only faults can bring a defect about.
        programs = [one.program for one in self.model.controllers]
        unjudged = any(p.unjudged or any(v.flaws for v in p.any_values) for p in programs)
        if unjudged or any(one.lowered.defects is not FALSE for one in self.lowered):
            requirements[ARITHMETIC] = Requirement(
                ARITHMETIC,
                # 'Always not' and no 'never': it has no premise, whatever the defects consist of.
                Pattern.ALWAYS,
                not_(self._defects()),
                says="The program never leaves a range, divides by zero or loops too often",
            )
        observed = [e for r in requirements.values() for e in (r.judged, *r.predicates)]
        observed += [ex.var(name) for name in (*self.model.machines, *self.model.outputs)]
        # How a fault shows an output may be asked even where the model itself does not read it.
        observed += [self.truth[name.casefold()] for name in self.model.outputs]
        observed += self.signals.values()
        # Who asks which faults made a run reads what has struck.
        observed += [ex.var(counted_flag(fault)) for fault in self.live]
        whole = System(tuple(variables), tuple(moves), self.model.title)
        system = whole.narrowed(observed)
        if with_all_memory:
            kept = {variable.name for variable in system.variables}
            system = whole.narrowed([*observed, *map(ex.var, self._memory_behind(kept))])
        seen = self.signals, self.read
        return Built(self.model, self.run_class, system, requirements, *seen, truth, self.given)

    def _memory_behind(self, names: set[str]) -> set[str]:
        """What the programs remember that variables with `names` depend on."""
        return set().union(*(one.memory_behind(names) for one in self.lowered))

    def _may_scan(self) -> Expr:
        """Whether any controller scans at all."""
        return ex.or_(*map(self._scans, self.lowered))

    def _scans(self, one: LoweredController) -> Expr:
        """Whether a controller scans at all, now."""
        tree = one.controller.scans_while
        return TRUE if tree is None else lower_expression(tree, self.truth)

    def _defects(self) -> Expr:
        """Whether the next scan of some controller does what none should."""
        each = [(one, one.reading(one.lowered.defects, self.read)) for one in self.lowered]
        return ex.or_(*(and_(self._scans(one), defects) for one, defects in each))

    def _moves(self, takes_turn: bool) -> list[tuple[Move, str]]:
        """The moves that may ever be made, each with the machine that makes it."""
        moves = [
            (self._move(move), move.machine)
            for move in self.model.moves
            if self.model.takes_turn(move) is takes_turn
            and (move.kind is not MoveKind.HUMAN or self.run_class.human)
        ]
        return [(move, machine) for move, machine in moves if move.guard is not FALSE]

    def _events(self) -> list[Move]:
        """What may happen at any moment: free inputs, free timers' ends, faults, late signals."""
        events = [move for move, _ in self._moves(takes_turn=False)]
        events += [move for one in self.lowered for move in one.lowered.timer_moves]
        events += [*self.effects.events(), *self.old.events()]
        events += [self._strike(fault) for fault in self.live]
        events += [_clear(fault) for fault in self.live if fault.intermittent]
        events.append(Move(STILL, MoveKind.PLANT, not_(self._may_scan()), {}, says=STILL))
        return [event for event in events if event.guard is not FALSE]

    def _move(self, move: ModelMove) -> Move:
        machine = ex.var(move.machine)
        target = ex.const(move.target)
        at = eq(machine, ex.const(move.source)) if move.source is not None else TRUE
        if move.source is None:
            at = not_(eq(machine, target))
        when = lower_expression(move.when.tree, self.truth) if move.when else TRUE
        when = and_(when, not_(self._jammed(move.machine)))
        updates = {name: self._carried(name, f) for name, f in move.also.items()}
        updates[move.machine] = target
        guard = and_(at, when)
        fair = guard if move.kind is MoveKind.PLANT and not move.may else None
        return Move(move.name, move.kind, guard, updates, fair, move.says, is_chance=move.may)

    def _carried(self, machine: str, formula: Formula) -> Expr:
        """What another machine's move makes of `machine`, which a jam keeps where it is."""
        return ex.ite(
            self._jammed(machine), ex.var(machine), lower_expression(formula.tree, self.truth)
        )

    def _jammed(self, machine: str) -> Expr:
        """Whether a fault keeps `machine` where it is."""
        blocked = []
        for fault, effect in self._effects():
            if effect.kind.blocks and effect.name == machine:
                at = [eq(ex.var(machine), ex.const(state)) for state in effect.states]
                blocked.append(and_(ex.var(fault_flag(fault.id)), ex.or_(*at) if at else TRUE))
        return ex.or_(*blocked)

    def _strike(self, fault: Fault) -> Move:
        guard = not_(ex.var(fault_flag(fault.id)))
        if self.run_class.at_most is not None:
            others = [ex.var(counted_flag(f)) for f in self.live if f is not fault]
            room = ex.lt(ex.total(others), ex.const(self.run_class.at_most))
            guard = and_(guard, room)
        guard = and_(guard, not_(ex.or_(*self._shut_out_by(fault))))
        updates: dict[str, Expr] = {fault_flag(fault.id): TRUE, counted_flag(fault): TRUE}
        for effect in fault.effects:
            if effect.kind.holds:
                seen = self.signals if effect.site is Site.SIGNAL else self.given
                # What it holds is what was seen, with this fault itself absent.
                absent = {fault_flag(fault.id): FALSE}
                (now,) = ex.substitute([seen[effect.name.casefold()]], absent)
                updates[held_value(fault.id, effect.name)] = now
            if effect.kind.restarts:
                for one in self.lowered:
                    updates |= one.lowered.restart if one.controller.name == effect.name else {}
        return _event(Origin.strike(fault.id), guard, updates, fault.says)

    def _shut_out_by(self, fault: Fault) -> list[Expr]:
        """The flags of the faults that keep one of another group from striking."""
        own = [set(group) for group in self.run_class.apart if fault.id in group]
        others = set().union(*self.run_class.apart).difference(*own) if own else set()
        return [ex.var(counted_flag(f)) for f in self.live if f.id in others]

    def _scan(self, one: LoweredController, counts: Sequence[str]) -> Move:
        updates = {n: one.reading(e, self.read) for n, e in one.lowered.updates.items()}
        updates |= dict.fromkeys(counts, ex.const(0))
        scans, of = self._scans(one), one.controller
        return Move(of.scan, MoveKind.SCAN, scans, updates, scans, of.says)

    def requirement(self, statement: Statement) -> Requirement:
        env = {**self.signals, **self.truth} if statement.about_signals else self.truth

        def lower(formula: Formula | None) -> Expr:
            return TRUE if formula is None else lower_expression(formula.tree, env)

        p, premises = lower(statement.p), [lower_expression(t, env) for t in premises_of(statement)]
        if statement.when is not None:
            (when,) = premises
            p = PATTERNS[statement.pattern].where(when, p)
        return Requirement(
            id=statement.id,
            pattern=statement.pattern,
            p=p,
            s=lower(statement.s),
            scope=Scope(statement.scope, lower(statement.opens), lower(statement.closes)),
            after_scan=statement.after_scan,
            after_scan_of=self._number_of(statement.after_scan_of),
            within=None if statement.within is None else statement.within.scans,
            counted=MoveKind.SCAN if statement.within is None else statement.within.counted,
            premises=tuple(premises),
            says=statement.says,
            survives=statement.survives,
            hazards=statement.hazards,
        )

    def _number_of(self, controller: str) -> int:
        """The number of a controller, counted from 1; 0 where none is named."""
        return ["", *(one.name for one in self.model.several)].index(controller)


def counted_flag(fault: Fault) -> str:
    """Name of the variable that tells whether a fault has ever struck."""
    return f"{fault_flag(fault.id)}.ever" if fault.intermittent else fault_flag(fault.id)


def held_value(fault: str, name: str) -> str:
    """Name of the variable that keeps what a signal or an output was when a fault struck."""
    return f"{fault_flag(fault)}.{name}"


def _clear(fault: Fault) -> Move:
    flag = fault_flag(fault.id)
    return _event(Origin.clearing(fault.id), ex.var(flag), {flag: FALSE}, "it clears again")


def _event(origin: Origin, guard: Expr, updates: Mapping[str, Expr], says: str) -> Move:
    return Move(origin.move_name, MoveKind.FAULT, guard, updates, None, says, origin)


def _variable(machine: Machine) -> Variable:
    domain = BOOL if machine.is_bool else enumeration(*machine.states)
    role = Role.CONTROL if machine.is_control else Role.PLANT
    return Variable(machine.name, domain, machine.initial, role)
