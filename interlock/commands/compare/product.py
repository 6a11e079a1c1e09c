"""Two controllers on one plant: a kernel system in which both scan the same signals at once.

The old controller's outputs drive the plant. The new controller's memory and outputs stand beside
the old one's behind the prefix ``new.``. Where an output that moves the plant or is read back by a
sensor comes to differ, the two plants would part, so the product stops there; where only a lamp
or a permit that nothing reads differs, both plants are still one, and it goes on. Every state of
the product is therefore reached by both machines on the same sequence.

What the two controllers compute alike need not be kept twice: a variable of the new controller
whose new value is the very expression of the old one, over variables that are alike for the same
reason, has the same value for ever (an induction over scans) and stands for the old one's.

**Timers.** Two timers with the same preset that start in the same scan are due at the same
moment; a bit tells of each such pair whether it did. Any other two may elapse in either order.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from interlock.commands.compare.plants import translated, variables_read
from interlock.commands.compare.product_clocks import (
    JointTime,
    TimerNames,
    why_apart_in_time,
)
from interlock.commands.compare.timer_pairs import (
    NEW,
    Presets,
    begin_seen,
    due,
    free_timers,
    latched,
    names_of,
    presets_read,
    timer_pairs,
)
from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, TRUE, Expr, and_, not_, or_, var
from interlock.kernel.system import (
    AGE,
    BOOL,
    LATE,
    PHASE,
    Domain,
    Move,
    MoveKind,
    Origin,
    Role,
    System,
    Variable,
)
from interlock.model.build import SCAN, Built
from interlock.model.clocks import without_clocks
from interlock.model.model import Model
from interlock.model.old_values import OldValues, most_counted
from interlock.model.reading import names_read
from interlock.model.turns import turns_of
from interlock.st import typed as ty
from interlock.st.layout import PREFIX, Timers
from interlock.st.lower import Lowered, lower_expression, lower_program
from interlock.st.types import domain_of

TOGETHER = "together."


class NotApplicableError(Exception):
    """The two controllers cannot run on one plant; the text says why."""


@dataclass(frozen=True)
class Product:
    """Both controllers on the old plant.

    Attributes
    ----------
    system : System
    differs : mapping of str to Expr
        For each output that both have, by the old one's name: the condition that it differs.
    driving : frozenset of str
        The outputs at whose difference the product stops.
    counterparts : mapping of str to str
        The new program's name of each output in `differs`.
    timers : mapping of str to (str or None, str or None)
        What each move of a timer lets elapse.
    n_shared, n_doubled : int
        How many variables of the new controller stand for the old one's, and how many are kept
        beside them.
    """

    system: System
    differs: Mapping[str, Expr]
    driving: frozenset[str]
    counterparts: Mapping[str, str]
    timers: Mapping[str, TimerNames]
    n_shared: int
    n_doubled: int


def both_on_one_plant(old: Built, new: Built) -> Product:
    """The product of two models' controllers on the old model's plant.

    Raises
    ------
    NotApplicableError
        Where the new controller's signals cannot be read off the old plant, or the two measure
        time differently.
    """
    return _Coupling(old, new).product()


def common_outputs(old: Model, new: Model) -> dict[str, str]:
    """Outputs of the same name and type: the new model's spelling by the old one's."""
    types = {v.name.casefold(): (v.name, domain_of(v.type)) for v in _outputs(new)}
    found = {}
    for declared in _outputs(old):
        name, domain = types.get(declared.name.casefold(), ("", None))
        if domain == domain_of(declared.type):
            found[declared.name] = name
    return found


def _outputs(model: Model) -> list[ty.Declared]:
    return [v for v in model.program.variables if v.kind == "VAR_OUTPUT"]


class _Coupling:
    def __init__(self, old: Built, new: Built) -> None:
        self.old, self.new = old, new
        self._models = old.model, new.model
        self.turns = turns_of(old.model)
        settings, others = old.model.settings, new.model.settings
        if settings.timers is not others.timers:
            raise NotApplicableError("one model counts scans for its timers, the other does not")
        if settings.timers is Timers.COUNTED and settings.scan_ms != others.scan_ms:
            raise NotApplicableError("the two controllers scan at different times")
        if apart := why_apart_in_time(old.model, new.model):
            raise NotApplicableError(apart)
        for output in (o for model in self._models for o in model.delayed_outputs):
            raise NotApplicableError(f"output {output.name} takes effect after a delay in time")
        self.counterparts = common_outputs(old.model, new.model)
        self.ours = lower_program(old.model.program, settings)
        self.theirs = lower_program(new.model.program, others)
        self.updates = _scanned(self.ours, old.read, {})
        beside = {v.name: var(NEW + v.name) for v in self.theirs.variables}
        self.new_updates = _scanned(self.theirs, self._new_signals(), beside)
        self.presets = Presets(
            presets_read(self.ours, old.read, {}),
            presets_read(self.theirs, self._new_signals(), beside),
        )
        self.pairs = timer_pairs(self.ours, self.theirs)
        self.shared = self._find_shared()
        # What both compute alike also starts anew alike, however often it is called.
        self.pairs = {
            name: timer
            for name, timer in self.pairs.items()
            if self._is_shared(name) or begin_seen(self.ours, timer.name, self.theirs, name)
        }

    # The new controller's signals, read off the old plant

    def _new_signals(self) -> dict[str, Expr]:
        env = self._truth()
        found = {}
        for name, sensor in self.new.model.sensors.items():
            if not names_read(sensor.reads.tree) <= env.keys():
                raise NotApplicableError(
                    f"signal {name} of the new model reads what the old plant does not have: "
                    f"{sensor.reads.text}"
                )
            found[name.casefold()] = lower_expression(sensor.reads.tree, env)
        return self._as_late(found)

    def _as_late(self, signals: dict[str, Expr]) -> dict[str, Expr]:
        """What the new controller reads of its signals: late where the old one's are."""
        ages, others = (
            {s.name.casefold(): most_counted(m, s) for s in m.late_sensors} for m in self._models
        )
        for name in {**ages, **others}:
            if ages.get(name) != others.get(name) or self._counts_time(name):
                raise NotApplicableError(f"signal {name} may be late by another age")
            if signals[name] is not self.old.signals[name]:
                raise NotApplicableError(f"signal {name} may be late, and reads something else")
        return {n: self.old.read[n] if n in ages else signal for n, signal in signals.items()}

    def _counts_time(self, name: str) -> bool:
        """Whether the age of a signal is counted in time by one model only."""
        sensors = ({s.name.casefold(): s for s in m.late_sensors}[name] for m in self._models)
        return len({bool(sensor.age) for sensor in sensors}) > 1

    def _truth(self) -> dict[str, Expr]:
        """What the new model's names stand for over the old plant, where they can."""
        model = self.new.model
        env: dict[str, Expr] = dict.fromkeys((id_.casefold() for id_ in model.faults), FALSE)
        machines = {name.casefold(): m for name, m in self.old.model.machines.items()}
        for name, machine in model.machines.items():
            same = translated(machines.get(name.casefold()), machine)
            if same is not None:
                env[name.casefold()] = same
        # A sensor that reads an output back reads what drives the plant: the old controller's.
        driven_by = {theirs: ours for ours, theirs in self.counterparts.items()}
        for name in model.outputs:
            env[name.casefold()] = var(driven_by.get(name, NEW + name))
        waiting = dict(model.terms)
        grown = True
        while grown:
            grown = False
            for name, formula in list(waiting.items()):
                if names_read(formula.tree) <= env.keys():
                    env[name.casefold()] = lower_expression(formula.tree, env)
                    del waiting[name]
                    grown = True
        return env

    # What both compute alike

    def _find_shared(self) -> dict[str, str]:
        """The old variable that each new one, by its name in the product, always equals."""
        ours = {v.name.casefold(): v for v in self.ours.variables}
        shared: dict[str, str] = {}
        for variable in self.theirs.variables:
            twin = ours.get(variable.name.casefold())
            if twin and (twin.domain, twin.initial) == (variable.domain, variable.initial):
                shared[NEW + variable.name] = twin.name
        while True:
            stand_in = {name: var(twin) for name, twin in shared.items()}
            names = list(shared)
            values = ex.substitute([self._new_value(name) for name in names], stand_in)
            differ = {
                name
                for name, value in zip(names, values, strict=True)
                if value is not self.updates.get(shared[name], var(shared[name]))
            }
            differ |= self._timers_apart(shared)
            if not differ:
                return shared
            shared = {name: twin for name, twin in shared.items() if name not in differ}

    def _new_value(self, name: str) -> Expr:
        return self.new_updates.get(name.removeprefix(NEW), var(name))

    def _timers_apart(self, shared: Mapping[str, str]) -> set[str]:
        """Shared variables of timers that do not elapse with their namesakes."""
        apart: set[str] = set()
        stand_in = {name: var(twin) for name, twin in shared.items()}
        for theirs in free_timers(self.theirs):
            running, position = names_of(theirs, self.theirs.settings, NEW)
            ours = self.pairs.get(theirs.name)
            is_alike = (
                ours is not None
                and ours.name.casefold() == theirs.name.casefold()
                and {running, position} <= shared.keys()
                and self.presets.are_same(ours.name, theirs.name, stand_in)
            )
            if not is_alike:
                apart |= {running, position} & shared.keys()
        return apart

    # The product

    def product(self) -> Product:
        old = without_clocks(self.old.system)
        doubled = [v for v in self.theirs.variables if NEW + v.name not in self.shared]
        variables = list(old.variables)
        variables += [v for v in self.ours.variables if v.name not in old.index]
        variables += [replace(v, name=NEW + v.name) for v in doubled]
        differs = {
            ours: ex.ne(var(ours), self._seen(var(NEW + theirs)))
            for ours, theirs in self.counterparts.items()
        }
        read_by_new = variables_read(self.new)
        read = variables_read(self.old)
        driving = frozenset(
            ours
            for ours, theirs in self.counterparts.items()
            if ours in read or theirs in read_by_new
        )
        alike = and_(*(not_(differs[name]) for name in sorted(driving)))
        timers = dict(self._timer_moves())
        environment = [m for m in old.moves if m.kind not in (MoveKind.SCAN, MoveKind.TIMER)]
        moves = [*environment, *(move for move, _ in timers.values()), self._scan(doubled)]
        if (timing := self.old.model.timing) is not None:
            time = JointTime(timing, self.turns, *self._models)
            of_moves = {name: which for name, (_, which) in timers.items()}
            clocks, moves = time.kept(moves, of_moves, self._running())
            moves[-1] = OldValues(self.old.model, self.old.signals).noting(moves[-1])
            variables += clocks
        moves = [replace(m, guard=and_(m.guard, alike), fair=None) for m in moves]
        if timers:  # the old controller alone may have none, and then nothing that takes no turn
            last = Domain(0, self.turns.due + 1)
            variables = [replace(v, domain=last) if v.name == PHASE else v for v in variables]
        pairs = [
            Variable(TOGETHER + name, BOOL, 0, Role.TIMER)
            for name in sorted(self._unshared_pairs())
        ]
        system = System(tuple(variables + pairs), tuple(moves), old.title)
        system = system.narrowed(list(differs.values()))
        return Product(
            system=system,
            differs=differs,
            driving=driving,
            counterparts=self.counterparts,
            timers={name: which for name, (_, which) in timers.items()},
            n_shared=len(self.shared),
            n_doubled=sum(name.startswith(NEW) for name in system.index),
        )

    def _seen(self, value: Expr) -> Expr:
        """`value` with what is shared read from the old controller."""
        stand_in = {name: var(twin) for name, twin in self.shared.items()}
        return ex.substitute([value], stand_in)[0]

    def _scan(self, doubled: Sequence[Variable]) -> Move:
        updates = dict(self.updates)
        for variable in doubled:
            if variable.name in self.new_updates:
                updates[NEW + variable.name] = self._seen(self.new_updates[variable.name])
        for name, ours in self._unshared_pairs().items():
            (run, _), (new_run, _) = self._names_of(ours, name)
            start = and_(not_(var(run)), not_(var(new_run)))
            runs = and_(updates.get(run, var(run)), updates.get(new_run, var(new_run)))
            alike = self._seen(self.presets.are_alike(ours, name))
            updates[TOGETHER + name] = and_(runs, alike, or_(start, var(TOGETHER + name)))
        updates |= dict.fromkeys(self.old.system.turns, ex.const(0))
        scan = self.old.system.move(SCAN)
        updates |= {n: e for n, e in scan.updates.items() if n.startswith((AGE, LATE))}
        return Move(SCAN, MoveKind.SCAN, TRUE, updates, None, "scans")

    def _unshared_pairs(self) -> dict[str, ty.Instance]:
        """The old timer of each new one that is due with it, where both are kept."""
        return {name: ours for name, ours in self.pairs.items() if not self._is_shared(name)}

    def _is_shared(self, timer: str) -> bool:
        return f"{NEW}{PREFIX}{timer}.running" in self.shared

    def _names_of(self, ours: ty.Instance, theirs: str) -> tuple[tuple[str, str], tuple[str, str]]:
        instance = next(i for i in self.theirs.program.instances if i.name == theirs)
        return names_of(ours, self.ours.settings, ""), names_of(instance, self.theirs.settings, NEW)

    def _running(self) -> Iterator[tuple[bool, Move]]:
        """The end of each timer that is kept, whether it is the old controller's first."""
        for lowered, prefix in ((self.ours, ""), (self.theirs, NEW)):
            for timer in free_timers(lowered):
                if not (prefix and self._is_shared(timer.name)):
                    guard, position = due(timer, lowered.settings, prefix)
                    origin, ends = Origin.elapse(timer.name), {position: TRUE}
                    end = Move(origin.move_name, MoveKind.TIMER, guard, ends, origin=origin)
                    yield not prefix, end

    def _timer_moves(self) -> Iterator[tuple[str, tuple[Move, TimerNames]]]:
        partner = {ours.name: name for name, ours in self._unshared_pairs().items()}
        shared_by = {o.name: name for name, o in self.pairs.items() if self._is_shared(name)}
        ends = {i.name: due(i, self.ours.settings, "") for i in free_timers(self.ours)}
        new_ends = {i.name: due(i, self.theirs.settings, NEW) for i in free_timers(self.theirs)}
        for ours, (is_due, position) in ends.items():
            guard = is_due
            if ours in partner:
                theirs = partner[ours]
                other, new_position = new_ends[theirs]
                with_it = and_(var(TOGETHER + theirs), other)
                guard = and_(is_due, not_(with_it))
                both = {position: TRUE, new_position: TRUE}
                yield self._elapses(
                    f"{ours} with {NEW}{theirs}", and_(is_due, other), both, (ours, theirs)
                )
            yield self._elapses(ours, guard, {position: TRUE}, (ours, shared_by.get(ours)))
        for theirs, (is_due, position) in new_ends.items():
            if self._is_shared(theirs):
                continue
            guard = is_due
            if theirs in self.pairs:
                together = and_(var(TOGETHER + theirs), ends[self.pairs[theirs].name][0])
                guard = and_(is_due, not_(together))
            yield self._elapses(NEW + theirs, guard, {position: TRUE}, (None, theirs))

    def _elapses(
        self, called: str, guard: Expr, updates: dict[str, Expr], which: TimerNames
    ) -> tuple[str, tuple[Move, TimerNames]]:
        origin = Origin.elapse(called)
        event = Move(origin.move_name, MoveKind.TIMER, guard, updates, origin=origin)
        return event.name, (self.turns.taking_none(event), which)


def _scanned(
    lowered: Lowered, signals: Mapping[str, Expr], renamed: Mapping[str, Expr]
) -> dict[str, Expr]:
    """The updates of a scan over the signals, with variables renamed first."""
    values = ex.substitute(list(lowered.updates.values()), {**renamed, **latched(lowered, signals)})
    return dict(zip(lowered.updates, values, strict=True))
