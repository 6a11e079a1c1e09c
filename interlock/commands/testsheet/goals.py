"""What a commissioning sheet has to show, and the actions at the terminals that show it.

Four sorts of goals: every move of the plant and of people was made; every lamp was seen on and off;
every signal that takes part in an output was shown to decide it alone (the independence that
modified condition/decision coverage asks for); every fault that can be injected was seen.

They are judged as the rows of a sheet are played: once the program has come to rest with unchanged
inputs. What the next scan alone shows (`term_goals`, `fault_goals`, `lamp_goals` give it as a
condition for an engine) is all there is only where no memory takes part (`takes_one_scan`).

Source of the independence criterion: J. J. Chilenski and S. P. Miller, "Applicability of modified
condition/decision coverage to software testing", Software Engineering Journal 9 (5), 1994: each
condition is shown to affect the outcome by varying it while all others are held fixed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from functools import cached_property

from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, TRUE, Expr, const, or_, var
from interlock.kernel.system import BOOL, MoveKind
from interlock.model.build import Built
from interlock.model.fault import Fault
from interlock.model.fault_kinds import FaultKind
from interlock.st.lower import Lowered, lower_program

# What is tried: moves of the plant, of an operator and of the driver, each as it should be.
TRIED = (MoveKind.PLANT, MoveKind.OPERATOR, MoveKind.DRIVER)
# The value of an output that keeps changing though nothing happens.
FLASHES = -1


class Kind(Enum):
    """Sorts of goals."""

    MOVE = "move"
    LAMP = "lamp"
    TERM = "term"
    FAULT = "fault"


@dataclass(frozen=True)
class Goal:
    """One thing to be shown.

    Attributes
    ----------
    id : str
        Unique on a sheet.
    kind : Kind
    subject : str
        The move, the lamp, the output or the fault.
    other : str
        For a lamp ``on``, ``off`` or ``flashing``, for a term the signal.
    says : str
    """

    id: str
    kind: Kind
    subject: str
    other: str
    says: str


@dataclass(frozen=True)
class Force:
    """What is done at the terminals: inputs and outputs held at a value, or a supply dip.

    Attributes
    ----------
    signals, outputs : tuple of (str, int)
        By name, sorted.
    restart : bool
        The supply dips and comes back at once.
    """

    signals: tuple[tuple[str, int], ...]
    outputs: tuple[tuple[str, int], ...] = ()
    restart: bool = False
    _hash: int = field(init=False, repr=False, compare=False, default=0)

    def __post_init__(self) -> None:
        # Everything that is known of a place is looked up by these.
        object.__setattr__(self, "_hash", hash((self.signals, self.outputs, self.restart)))

    def __hash__(self) -> int:
        return self._hash

    @property
    def single(self) -> str | None:
        """The one signal that is forced, where nothing else is."""
        alone = len(self.signals) == 1 and not self.outputs and not self.restart
        return self.signals[0][0] if alone else None


def is_injectable(fault: Fault) -> bool:
    """Whether `fault` can be brought about in a yard: by the model's word, else by its sort.

    Wires can be opened and bridged at the inputs, opened at the outputs, and the supply switched
    off for a moment. What sits inside a valve or a machine cannot be reached.
    """
    if fault.excluded is not None:
        return False
    if fault.injectable is not None:
        return fault.injectable
    return bool(fault.effects) and all(e.site in e.kind.by_hand for e in fault.effects)


def force_of(fault: Fault) -> Force:
    """How `fault` is injected."""

    def held(given: Mapping[str, FaultKind]) -> tuple[tuple[str, int], ...]:
        known = ((name, kind.constant) for name, kind in given.items())
        return tuple(sorted((name, value) for name, value in known if value is not None))

    return Force(held(fault.sensors), held(fault.outputs), fault.restart)


@dataclass(frozen=True)
class Program:
    """The program of a model as expressions over the state and its inputs.

    Attributes
    ----------
    signals : mapping of str to Expr
        What each input reads, by its name as an input variable ``input.<name>``.
    outputs : tuple of str
    lamps : tuple of str
    """

    lowered: Lowered
    signals: Mapping[str, Expr]
    outputs: tuple[str, ...]
    lamps: tuple[str, ...]

    @classmethod
    def of(cls, built: Built) -> Program:
        """The program of a built model."""
        model = built.model
        lowered = lower_program(model.program, model.settings)
        signals = {
            f"input.{declared.name}": built.signals[declared.name.casefold()]
            for declared in model.program.inputs
        }
        lamps = tuple(n for n, o in model.outputs.items() if o.lamp is not None or o.sounds)
        return cls(lowered, signals, tuple(model.outputs), lamps)

    def after(self, output: str) -> Expr:
        """An output after the next scan, over the state and the inputs."""
        return self.lowered.updates.get(output, var(output))

    def not_boolean(self) -> tuple[str, ...]:
        """The inputs and outputs that are not on or off."""
        inputs = [v.name.removeprefix("input.") for v in self.lowered.inputs if v.domain != BOOL]
        return (*inputs, *(n for n in self.outputs if n not in self.booleans()))

    def booleans(self) -> list[str]:
        """The outputs that are on or off."""
        domains = {v.name: v.domain for v in self.lowered.variables}
        return [name for name in self.outputs if domains[name] == BOOL]

    @cached_property
    def _read_by(self) -> dict[str, set[str]]:
        """For each variable and input what a scan, or the end of a timer, makes of it."""
        found: dict[str, set[str]] = {}
        signals = {name: set(ex.variables_of([e])) for name, e in self.signals.items()}
        timers = self.lowered.timer_moves
        changes = [*self.lowered.updates.items()]
        changes += [(n, or_(m.guard, e)) for m in timers for n, e in m.updates.items()]
        for target, value in changes:
            for name in ex.variables_of([value]):
                for read in {name} | signals.get(name, set()):
                    found.setdefault(read, set()).add(target)
        return found

    def reached_in_one_scan(self, names: Iterable[str]) -> set[str]:
        """What the next scan computes from inputs and outputs with `names`."""
        return set().union(*(self._read_by.get(name, set()) for name in names))

    def reached_by_memory(self, names: Iterable[str]) -> set[str]:
        """What scans compute from that in turn, and what timers make of it."""
        found: set[str] = set()
        new = self.reached_in_one_scan(self.reached_in_one_scan(names))
        while new:
            found |= new
            new = self.reached_in_one_scan(new) - found
        return found


def term_goals(program: Program) -> dict[Goal, Expr]:
    """Each signal of each output, with the condition that the next scan shows that it decides.

    The condition is over the state and the inputs: with the signal turned over and everything
    else as it is, the output would be another after the next scan. It is never so for a signal
    that the output follows only later.
    """
    found = {}
    is_bool = {v.name: v.domain == BOOL for v in program.lowered.inputs}
    for output in program.booleans():
        after = program.after(output)
        for name in program.signals:
            read = program.reached_in_one_scan([name]) | program.reached_by_memory([name])
            if output not in read or not is_bool[name]:
                continue
            on, off = (ex.substitute([after], {name: value})[0] for value in (TRUE, FALSE))
            signal = name.removeprefix("input.")
            said = f"{signal} alone decides {output}"
            goal = Goal(f"term {output} {signal}", Kind.TERM, output, signal, said)
            found[goal] = ex.xor(on, off)
    return found


def fault_goals(built: Built, program: Program) -> dict[Goal, Expr]:
    """Each injectable fault, with the condition that some output tells of it after the next scan.

    The output would be another than without the fault. The condition is over the state alone.
    """
    found = {}
    for id_, fault in built.model.faults.items():
        if not is_injectable(fault):
            continue
        goal = Goal(f"fault {id_}", Kind.FAULT, id_, "", f"{id_}: {fault.says}")
        found[goal] = _told(program, force_of(fault))
    return found


def takes_one_scan(goal: Goal, built: Built, program: Program) -> bool:
    """Whether the next scan shows all that there is to be shown of a term or a fault.

    It does where no memory and no timer stands between what is held and the outputs: what they
    remember is then the same with it and without it.
    """
    if goal.kind is Kind.TERM:
        return goal.subject not in program.reached_by_memory([f"input.{goal.other}"])
    if goal.kind is not Kind.FAULT:
        return goal.kind is Kind.MOVE
    force = force_of(built.model.faults[goal.subject])
    held = [f"input.{name}" for name, _ in force.signals] + [name for name, _ in force.outputs]
    return not force.restart and not program.reached_by_memory(held) & set(program.outputs)


def _told(program: Program, force: Force) -> Expr:
    inputs = signals_under(program, force)
    held = dict(force.outputs)
    memory: dict[str, Expr] = {}
    if force.restart:
        kept = program.lowered.retained
        memory = {v.name: const(v.initial) for v in program.lowered.variables if v.name not in kept}
    differs = []
    for output in program.outputs:
        after = program.after(output)
        usual = ex.substitute([after], program.signals)[0]
        if force.restart:
            after = ex.substitute([after], memory)[0]
        told = const(held[output]) if output in held else ex.substitute([after], inputs)[0]
        differs.append(ex.xor(told, usual))
    return or_(*differs)


def signals_under(program: Program, force: Force) -> dict[str, Expr]:
    """What each input reads while `force` lasts, by ``input.<name>``."""
    held = {name: const(value) for name, value in force.outputs}
    read = ex.substitute(list(program.signals.values()), held)
    forced = {f"input.{name}": const(value) for name, value in force.signals}
    return {**dict(zip(program.signals, read, strict=True)), **forced}


def move_goals(built: Built) -> dict[Goal, Expr]:
    """Each move of the plant, of an operator and of the driver, with its guard."""
    found = {}
    for move in built.system.moves:
        if move.kind in TRIED:
            goal = Goal(f"move {move.name}", Kind.MOVE, move.name, "", move.says or move.name)
            found[goal] = move.guard
    return found


def lamp_goals(program: Program) -> dict[Goal, Expr]:
    """Each lamp on, and each lamp off, without anything held."""
    found = {}
    booleans = set(program.booleans())
    for lamp in program.lamps:
        if lamp in booleans:
            found[lamp_goal(lamp, "on")] = var(lamp)
            found[lamp_goal(lamp, "off")] = ex.not_(var(lamp))
    return found


def lamp_goal(lamp: str, seen: str) -> Goal:
    """The goal that a lamp was seen ``on``, ``off`` or ``flashing``."""
    return Goal(f"lamp {lamp} {seen}", Kind.LAMP, lamp, seen, f"{lamp} was seen {seen}")


def lamps_seen(outputs: Mapping[str, int], lamps: Iterable[str]) -> set[str]:
    """Ids of the goals that lamps with these values show; one that flashes is asked as that."""
    words = {0: "off", 1: "on", FLASHES: "flashing"}
    return {f"lamp {name} {words[outputs[name]]}" for name in lamps}
