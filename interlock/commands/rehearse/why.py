"""Why something does not happen: which permissive is false, and where that is written.

A guard is followed through the model's terms to the controller's outputs, through the program's
assignments to its inputs, and to the truth that these read. Where any one of several alternatives
would do, the one that lacks the fewest things is followed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from interlock.base.errors import Place
from interlock.independent_judge.values import Values
from interlock.kernel.evaluate import State
from interlock.kernel.system import MoveKind, Role, System
from interlock.model.build import fault_flag, held_value
from interlock.model.fault import Effect, Fault
from interlock.model.fault_kinds import Site
from interlock.model.model import Formula, Model, ModelMove, Sensor
from interlock.model.reading import names_read
from interlock.st import typed as ty
from interlock.st.evaluate import as_written, evaluate_expression
from interlock.st.interpret import Controller
from interlock.st.types import BOOL
from interlock.st.write import write_expression

# Of alternatives the likeliest is told: nobody means the button that nobody holds, the move that
# starts elsewhere, the output that keeps itself on, the component that has failed, or the one that
# is to fail.
_CONTROL, _ELSEWHERE, _STRUCK, _FAULT = 100, 200, 500, 1_000


@dataclass(frozen=True)
class Reason:
    """One link of the chain from what does not happen to what is missing.

    Attributes
    ----------
    text : str
        Such as ``may_fwd is FALSE``.
    place : Place
        Where that is decided: an assignment, a term, a sensor, or the guard itself.
    below : tuple of Reason
        Why; empty at the end of a chain.
    permissive : bool
        It is a variable that the program assigns.
    about : frozenset of (str, int)
        At the end of a chain: the machines and faults it depends on, each with its weight.
    """

    text: str
    place: Place
    below: tuple[Reason, ...] = ()
    permissive: bool = False
    about: frozenset[tuple[str, int]] = frozenset()

    @property
    def weight(self) -> int:
        """How far this is from being so: each machine that is elsewhere, by how hard it moves."""
        return sum(cost for _, cost in frozenset().union(*(end.about for end in self.ends)))

    @property
    def ends(self) -> tuple[Reason, ...]:
        """What is missing in the end."""
        if not self.below:
            return (self,)
        return tuple(dict.fromkeys(end for reason in self.below for end in reason.ends))

    def chain(self) -> tuple[Reason, ...]:
        """The first chain down to something missing."""
        return (self, *(self.below[0].chain() if self.below else ()))


class Situation:
    """A model in one state, ready to be asked why.

    Parameters
    ----------
    model : Model
    system : System
    state : State
        Of `system`; faults that have struck are told where they are the reason. One more scan is
        made to see what the program computes.
    """

    def __init__(self, model: Model, system: System, state: State) -> None:
        self._model = model
        named = dict(zip((v.name for v in system.variables), state, strict=False))
        self._controller = Controller(model.program, model.settings)
        roles = {v.name: v.role for v in system.variables}
        known = self._controller.values()
        memory = (Role.MEMORY, Role.TIMER, Role.OUTPUT)
        loaded = {n: v for n, v in named.items() if n in known and roles[n] in memory}
        self._controller.load(loaded)
        outputs = {n.casefold(): known[n] for n in model.outputs if n in known}
        outputs |= {n.casefold(): v for n, v in loaded.items() if n in model.outputs}
        direct = {n.casefold(): named[n] for n in model.machines if n in named}
        self._struck = [f for id_, f in model.faults.items() if named.get(fault_flag(id_))]
        self._named = named
        outputs |= {n: self._through(v, Site.OUTPUT, n) for n, v in outputs.items()}
        faults = dict.fromkeys((id_.casefold() for id_ in model.faults), 0)
        faults |= {fault.id.casefold(): 1 for fault in self._struck}
        self._terms = {n.casefold(): f for n, f in model.terms.items()}
        self._truth = Values({**faults, **direct, **outputs}, self._terms)
        self._controller.scan({name: self._seen(sensor) for name, sensor in model.sensors.items()})
        self._program = _ProgramValues(self._controller)
        self._sensors = {n.casefold(): s for n, s in model.sensors.items()}
        self._faults = {id_.casefold() for id_ in model.faults}
        self._controls = {n.casefold() for n, m in model.machines.items() if m.is_control}
        self._outputs = {n.casefold() for n in model.outputs}
        self._assigned = dict(_assignments(model.program.body))
        self._used_anew = _used_anew(model.program)

    def _seen(self, sensor: Sensor) -> int:
        """What the program reads of a sensor, faults included."""
        reads = evaluate_expression(sensor.reads.tree, self._truth)
        return self._through(reads, Site.SIGNAL, sensor.name)

    def _through(self, value: int, site: Site, name: str) -> int:
        """`value` as the faults that have struck let it through."""
        for fault, effect in self._shown_by(site, name):
            assert effect.kind.shows is not None
            if effect.kind.holds:
                value = self._named.get(held_value(fault.id, effect.name), 0)
            value = effect.kind.shows[value]
        return value

    def _shown_by(self, site: Site, name: str) -> list[tuple[Fault, Effect]]:
        """What faults do to what is shown of a signal or an output; the last of them decides."""
        return [
            (fault, effect)
            for fault in self._struck
            for effect in fault.effects
            if effect.kind.shows is not None
            and effect.site is site
            and effect.name.casefold() == name.casefold()
        ]

    def holds(self, formula: Formula) -> bool:
        """Whether a formula over the truth holds."""
        return bool(evaluate_expression(formula.tree, self._truth))

    def why_not_move(self, move: ModelMove) -> Reason | None:
        """Why `move` is not possible; None where it is."""
        machine = self._model.machines[move.machine]
        at = self._truth[move.machine.casefold()]
        if move.source is not None and at != move.source:
            text = f"{machine.name} is {machine.states[at]}, not {machine.states[move.source]}"
            return Reason(text, move.place, about=frozenset({(machine.name, _ELSEWHERE)}))
        for fault in self._struck:
            for effect in (e for e in fault.effects if e.blocks(machine.name, at)):
                said = effect.kind.says[effect.site]
                text = said.format(name=machine.name, where=machine.states[at])
                return _by_fault(text, fault)
        return None if move.when is None else self.why_not(move.when)

    def why_none_of(self, moves: Sequence[ModelMove]) -> Reason | None:
        """Why none of `moves` is possible: the one that lacks least is told of."""
        known = [reason for reason in map(self.why_not_move, moves) if reason is not None]
        return min(known, key=lambda reason: reason.weight, default=None)

    def why_not(self, formula: Formula) -> Reason | None:
        """Why a formula over the truth does not hold; None where it does."""
        if self.holds(formula):
            return None
        reasons = self._because(formula.tree, True, False, formula.place, frozenset())
        if len(reasons) == 1:
            return reasons[0]
        return Reason(f"{formula.text} is FALSE", formula.place, tuple(reasons))

    def why_not_done(self, done: Formula) -> Reason | None:
        """Why a step's done condition does not come about; None where it holds.

        The condition names states of machines. For each that is missing, the moves of the plant
        that would bring the machine on are asked why they do not happen.
        """
        if self.holds(done):
            return None
        missing = self._missing(done.tree, True)
        for name, states in missing.items():
            reason = self.why_none_of(self._towards(name, states))
            if reason is not None:
                return reason
        return self.why_not(done)

    def _missing(self, e: ty.Expression, wanted: bool) -> dict[str, set[int]]:
        """Machines of the plant with the states that would make `e` what is wanted."""
        if bool(evaluate_expression(e, self._truth)) is wanted:
            return {}
        if isinstance(e, ty.Unary) and e.op == "NOT":
            return self._missing(e.operand, not wanted)
        if isinstance(e, ty.Junction):
            found: dict[str, set[int]] = {}
            for operand in e.operands:
                for name, states in self._missing(operand, wanted).items():
                    found.setdefault(name, set()).update(states)
            return found
        if isinstance(e, ty.Read) and e.name.casefold() in self._terms:
            return self._missing(self._terms[e.name.casefold()].tree, wanted)
        if isinstance(e, ty.Binary) and isinstance(e.left, ty.Read):
            folded = {n.casefold(): m for n, m in self._model.machines.items()}
            machine = folded.get(e.left.name.casefold())
            if machine is not None and e.op in ("=", "<>"):
                named = evaluate_expression(e.right, self._truth)
                same = (e.op == "=") is wanted
                return {
                    machine.name: {n for n in range(len(machine.states)) if (n == named) is same}
                }
        return {}

    def _towards(self, name: str, targets: set[int]) -> list[ModelMove]:
        """The plant's moves out of the machine's present state, on a shortest way to `targets`."""
        moves = [m for m in self._model.moves if m.machine == name and m.kind is MoveKind.PLANT]
        here = self._truth[name.casefold()]
        distance = dict.fromkeys(targets, 0)
        for _ in self._model.machines[name].states:
            for move in moves:
                if move.target in distance and move.source is not None:
                    further = distance[move.target] + 1
                    distance[move.source] = min(distance.get(move.source, further), further)
        return [
            move
            for move in moves
            if move.source == here
            and distance.get(move.target, len(distance)) < distance.get(here, 0)
        ]

    def _because(
        self, e: ty.Expression, wanted: bool, in_program: bool, place: Place, above: frozenset[str]
    ) -> list[Reason]:
        """Why `e` has not the truth value `wanted`."""
        if isinstance(e, ty.Unary) and e.op == "NOT":
            return self._because(e.operand, not wanted, in_program, place, above)
        if isinstance(e, ty.Junction):
            values = self._program if in_program else self._truth
            wrong = [o for o in e.operands if bool(evaluate_expression(o, values)) is not wanted]
            found = [self._because(o, wanted, in_program, place, above) for o in wrong]
            if (e.op == "AND") is wanted:
                return [reason for reasons in found for reason in reasons]
            return min(found, key=_weight)
        if isinstance(e, ty.Read):
            return [self._read(e.name, wanted, in_program, place, above)]
        return [self._plain(e, wanted, in_program, place)]

    def _plain(self, e: ty.Expression, wanted: bool, in_program: bool, place: Place) -> Reason:
        """A comparison or a call: what it reads is told with its value."""
        text = write_expression(as_written(e))
        said = "is FALSE" if wanted else "is TRUE"
        if isinstance(e, ty.Binary) and isinstance(e.left, ty.Read) and not in_program:
            machine = {n.casefold(): m for n, m in self._model.machines.items()}.get(
                e.left.name.casefold()
            )
            if machine is not None:
                at = machine.states[self._truth[machine.name.casefold()]]
                said += f": {machine.name} is {at}"
        return Reason(f"{text} {said}", place, about=self._about(e, in_program))

    def _about(self, e: ty.Expression, in_program: bool) -> frozenset[tuple[str, int]]:
        """What `e` reads in the end, with weights."""
        found: set[tuple[str, int]] = set()
        for name in names_read(e):
            if in_program and name in self._sensors:
                found |= self._about(self._sensors[name].reads.tree, False)
            elif not in_program and name in self._terms:
                found |= self._about(self._terms[name].tree, False)
            elif in_program:
                found.add((name, 1))
            else:
                cost = _FAULT if name in self._faults else _CONTROL
                found.add((name, cost if name in self._faults | self._controls else 1))
        return frozenset(found)

    def _read(
        self, name: str, wanted: bool, in_program: bool, place: Place, above: frozenset[str]
    ) -> Reason:
        folded = name.casefold()
        text = f"{name} is {'FALSE' if wanted else 'TRUE'}"
        if in_program and folded in self._sensors:
            return self._signal(self._sensors[folded], text, wanted, above)
        if not in_program and folded in self._terms:
            formula = self._terms[folded]
            below = self._because(formula.tree, wanted, False, formula.place, above)
            return Reason(text, formula.place, tuple(below))
        shown = [] if in_program else self._shown_by(Site.OUTPUT, name)
        if shown:
            return _by_fault(text, shown[-1][0])
        if (in_program or folded in self._outputs) and folded in self._assigned:
            return self._assignment(folded, text, wanted, above)
        read = ty.Read(name, BOOL, place)
        return Reason(text, place, about=self._about(read, in_program))

    def _signal(self, sensor: Sensor, text: str, wanted: bool, above: frozenset[str]) -> Reason:
        shown = self._shown_by(Site.SIGNAL, sensor.name)
        if shown:
            return _by_fault(text, shown[-1][0])
        said = f" ({sensor.says})" if sensor.says else ""
        # A signal may read the very output that is to be explained.
        below = self._because(sensor.reads.tree, wanted, False, sensor.reads.place, above)
        plain = tuple(reason for reason in below if not reason.below)
        about = self._about(sensor.reads.tree, False)
        return Reason(text + said, sensor.place, plain, about=about)

    def _assignment(self, name: str, text: str, wanted: bool, above: frozenset[str]) -> Reason:
        assigned = self._assigned[name]
        if not self._used_anew.isdisjoint(names_read(assigned.value)):
            return Reason(text, assigned.place, permissive=True, about=frozenset({(name, 1)}))
        computed = bool(evaluate_expression(assigned.value, self._program))
        # A value that other branches or later reads decided is not explained by this line alone.
        if name in above or computed is wanted or bool(self._program[name]) is wanted:
            about = frozenset({(name, _ELSEWHERE if name in above else 1)})
            return Reason(text, assigned.place, permissive=True, about=about)
        below = self._because(assigned.value, wanted, True, assigned.place, above | {name})
        return Reason(text, assigned.place, tuple(below), permissive=True)


def _by_fault(text: str, fault: Fault) -> Reason:
    about = frozenset({(fault.id, _STRUCK)})
    return Reason(f"{text}: fault {fault.id}, {fault.says}", fault.place, about=about)


def _weight(reasons: Sequence[Reason]) -> int:
    return Reason("", reasons[0].place, tuple(reasons)).weight


class _ProgramValues(Mapping[str, float]):
    """What each name of the program was at the end of the scan."""

    def __init__(self, controller: Controller) -> None:
        self._controller = controller

    def __getitem__(self, name: str) -> float:
        return self._controller.number(name)

    def __iter__(self) -> Iterator[str]:
        return iter(self._controller.values())

    def __len__(self) -> int:
        return len(self._controller.values())


def _used_anew(program: ty.Program) -> frozenset[str]:
    """The temporaries, casefolded, that a scan writes more than once.

    At its end nothing tells what a line between has read of them.
    """
    times = Counter(name for name, _ in _assignments(program.body))
    temporaries = (v.name.casefold() for v in program.variables if v.kind == "VAR_TEMP")
    return frozenset(name for name in temporaries if times[name] > 1)


def _assignments(body: tuple[ty.Statement, ...]) -> Iterator[tuple[str, ty.Assign]]:
    """Every assignment by the casefolded name of its target; the last one of a name counts."""
    for statement in body:
        match statement:
            case ty.Assign():
                yield statement.target.casefold(), statement
            case ty.If() | ty.Case():
                for branch in statement.branches:
                    yield from _assignments(branch.body)
                yield from _assignments(statement.otherwise)
            case _:
                continue
