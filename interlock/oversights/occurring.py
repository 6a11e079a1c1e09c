"""Moves, states and changes of sensors that occur in nothing reachable.

What never occurs without faults may well be what a fault or a human error brings about; most models
hold such moves on purpose. So three questions are asked, each about what the one before left open:

1. Does it occur where outputs, faults and people are free and only each machine's own states
   count (`impossible`)? If not there, then in no run class, and that takes no exploration.
2. Does it occur in the exploration without faults that a verification makes anyway, or at once
   where a fault that it names strikes or a person errs there (`Questions`)?
3. Does it occur with any faults and human errors (`with_everything`)? That is explored up to
   `MOST_STATES` states, so that the answer is the same each time; beyond, nothing is claimed.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace

from interlock.base.errors import Place
from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, TRUE, Expr
from interlock.kernel.query import (
    Answer,
    Count,
    DeclinedError,
    Engine,
    Limits,
    ProgressSink,
    Query,
)
from interlock.kernel.satisfy import satisfiable
from interlock.model.build import Built, RunClass, build, fault_flag
from interlock.model.model import Formula, Machine, Model, ModelMove
from interlock.model.reading import names_behind, names_read
from interlock.oversights.declared import leaving
from interlock.oversights.found import Kind, Oversight
from interlock.oversights.free_names import FreeNames, with_terms
from interlock.st.lower_terms import lower_expression

MOST_STATES = 200_000


@dataclass(frozen=True)
class Subject:
    """Something that should occur in some state: a move, a state of a machine, a change.

    Attributes
    ----------
    name : str
        Unique among the subjects of a model.
    kind : Kind
    place : Place
    called : str
        Its name in a list of such.
    says : str
        What is said of it where it never occurs.
    needs : tuple of str
        Subjects without which it cannot occur; where one of those never does, that is told alone.
    """

    name: str
    kind: Kind
    place: Place
    called: str
    says: str
    needs: tuple[str, ...] = ()

    def told(self, why: str) -> Oversight:
        """The finding that it never occurs."""
        return Oversight(self.place, f"{self.says}, {why}", self.kind)


def subjects(model: Model) -> dict[str, Subject]:
    """Everything of a model that should occur, by name; states first, then moves and sensors."""
    found: list[Subject] = []
    machines = model.machines.values()
    # All values of these inputs are alike to the program: that they never change is nothing.
    alike = {m.name.casefold() for m in machines if m.is_free and len(m.states) == 1}
    for machine in machines:
        for number, place in enumerate(machine.places):
            if number != machine.initial:
                at = machine.states[number]
                name, says = _state(machine, number), f"'{machine.name}' is never {at}"
                called = f"{machine.name} = {at}"
                found.append(Subject(name, Kind.STATE_NEVER, place, called, says))
    for move in model.moves:
        machine = model.machines[move.machine]
        if machine.name.casefold() in alike:
            continue
        needs = () if move.source in (None, machine.initial) else (_state(machine, move.source),)
        place = move.place if move.when is None else move.when.place
        says = f"the move '{move.name}' is never possible"
        name = move_subject(move.name)
        found.append(Subject(name, Kind.MOVE_NEVER, place, f"'{move.name}'", says, needs))
    for name, sensor in model.sensors.items():
        if sensor.is_free and names_read(sensor.reads.tree) <= alike:
            continue
        says = f"what the sensor '{name}' reads never changes"
        # One that reads a constant shows nothing but its faults, where it has any.
        if names_read(sensor.reads.tree) or not _is_held(model, name):
            found.append(Subject(_sensor(name), Kind.SENSOR_STILL, sensor.place, name, says))
    return {subject.name: subject for subject in found}


def _is_held(model: Model, sensor: str) -> bool:
    return any(sensor in fault.sensors for fault in model.live_faults)


def _state(machine: Machine, number: int | None) -> str:
    return f"state {machine.name} {number}"


def move_subject(move: str) -> str:
    """The subject's name of the move with that name."""
    return f"move {move}"


def _sensor(name: str) -> str:
    return f"sensor {name}"


def _at_first(model: Model, sensor: str) -> int:
    """What a sensor reads at power-up, without any fault."""
    names = {name.casefold(): ex.const(m.initial) for name, m in model.machines.items()}
    # Only outputs belong to the truth: a signal may have the name of what it tells of.
    outputs = [item for one in model.controllers for item in one.written.items()]
    names |= {name.casefold(): ex.const(v.initial) for name, v in outputs}
    names |= dict.fromkeys((fault.casefold() for fault in model.faults), FALSE)
    return lower_expression(model.sensors[sensor].reads.tree, with_terms(model, names)).value


def impossible(free: FreeNames) -> set[str]:
    """Names of the subjects that occur in no run class, whatever the program does.

    Each machine may be in every state that some move may have brought it to, together with any
    state of the others; outputs and faults are free. What cannot occur even so never does.
    """
    model = free.model
    reached = {name: {machine.initial} for name, machine in model.machines.items()}
    values: dict[str, Collection[int]] = {**free.values, **reached}
    waiting = [(move, ex.and_(leaving(move), free.expression(move.when))) for move in model.moves]
    possible: list[tuple[ModelMove, Expr]] = []
    before = -1
    while before != (before := sum(map(len, reached.values())) + len(possible)):
        found = [one for one in waiting if satisfiable(one[1], values) is not False]
        waiting = [one for one in waiting if one not in found]
        possible += found
        for move, guard in possible:
            reached[move.machine].add(move.target)
            for name, formula in move.also.items():
                new = free.expression(formula)
                for state in set(free.values[name]) - reached[name]:
                    brought = ex.and_(guard, ex.eq(new, ex.const(state)))
                    if satisfiable(brought, values) is not False:
                        reached[name].add(state)
    never = {move_subject(move.name) for move, _ in waiting}
    for machine in model.machines.values():
        unreached = set(range(len(machine.states))) - reached[machine.name]
        never |= {_state(machine, number) for number in unreached}
    for name, sensor in model.sensors.items():
        changed = ex.ne(free.expression(sensor.reads), ex.const(_at_first(model, name)))
        if satisfiable(changed, values) is False:
            never.add(_sensor(name))
    return never


class Questions:
    """What is asked of one exploration of a model: in how many states each subject occurs.

    Parameters
    ----------
    model : Model
    built : Built
        The system that is explored.

    Attributes
    ----------
    names : tuple of str
        The subjects, in the order of `queries`.
    queries : tuple of Query
    """

    def __init__(self, model: Model, built: Built) -> None:
        self._model = model
        self._explored = built
        self._everything = build_with_everything(model)
        self._possible = self._guards()
        asked = self._asked()
        self.names: tuple[str, ...] = tuple(subjects(model))
        self.queries: tuple[Query, ...] = tuple(Count(asked[name]) for name in self.names)

    def _asked(self) -> dict[str, Expr]:
        model = self._model
        found: dict[str, Expr] = {move_subject(m.name): self._possible[m.name] for m in model.moves}
        for machine in model.machines.values():
            for number in range(len(machine.states)):
                found[_state(machine, number)] = ex.or_(
                    ex.eq(ex.var(machine.name), ex.const(number)),
                    *self._ways_to(machine, number),
                )
        for name, sensor in model.sensors.items():
            first = ex.const(_at_first(model, name))
            reads = self._everything.lower(sensor.reads)
            found[_sensor(name)] = self._where(ex.ne(reads, first), [sensor.reads])
        return found

    def _ways_to(self, machine: Machine, number: int) -> Iterator[Expr]:
        for move in self._model.moves:
            if move.machine == machine.name and move.target == number:
                yield self._possible[move.name]

    def _guards(self) -> dict[str, Expr]:
        """Where each move is possible, at once or after the faults that it names have struck."""
        guards = {move.name: move.guard for move in self._everything.system.moves}
        return {
            move.name: self._where(guards.get(move.name, FALSE), [move.when])
            for move in self._model.moves
        }

    def _where(self, condition: Expr, formulas: Sequence[Formula | None]) -> Expr:
        """Where `condition` holds without faults, or would if faults that it names struck now.

        A fault strikes at any moment. Those that change something else in the same instant are left
        out, since `condition` is read in the state before them.
        """
        model = self._model
        if self._explored.run_class == self._everything.run_class:
            return condition
        read = set().union(*(names_behind(model, f.tree) for f in formulas if f is not None))
        named = [
            fault.id
            for fault in model.faults.values()
            if fault.id.casefold() in read
            and not any(e.kind.restarts or e.kind.holds for e in fault.effects)
        ]
        found = []
        for struck in ([], *([id_] for id_ in named), named):
            flags = {fault_flag(id_): FALSE for id_ in model.faults}
            flags |= {fault_flag(id_): TRUE for id_ in struck}
            (holds,) = ex.substitute([condition], flags)
            if set(ex.variables_of([holds])) <= self._explored.system.index.keys():
                found.append(holds)
        return ex.or_(*found)


def build_with_everything(model: Model) -> Built:
    """The system in which every fault, excluded or not, and every human error may happen."""
    faults = {id_: replace(fault, excluded=None) for id_, fault in model.faults.items()}
    return build(replace(model, faults=faults), RunClass(tuple(faults), None, human=True))


def with_everything(
    model: Model,
    names: Collection[str],
    engine: Engine,
    limits: Limits,
    progress: ProgressSink | None = None,
) -> tuple[dict[str, Answer], str | None]:
    """Ask for the subjects `names` where every fault and human error may happen.

    Parameters
    ----------
    model : Model
    names : collection of str
    engine : Engine
    limits : Limits
        Besides, no more than `MOST_STATES` states are explored.
    progress : callable, optional

    Returns
    -------
    dict of str to Answer
    str or None
        The limit that was hit.
    """
    most = MOST_STATES if limits.max_states is None else min(MOST_STATES, limits.max_states)
    built = build_with_everything(model)
    questions = Questions(model, built)
    asked = {n: q for n, q in zip(questions.names, questions.queries, strict=True) if n in names}
    try:
        explored = engine.explore(
            built.system, list(asked.values()), replace(limits, max_states=most), progress
        )
    except DeclinedError as reason:
        return {name: Answer(None) for name in asked}, str(reason)
    return dict(zip(asked, explored.answers, strict=True)), explored.limit
