"""A model made ready to be operated: every fault and human error may happen, all is watched.

One bench serves all sessions; nothing of it changes. States are those of the kernel system with
the observers of the requirements. What the program does in a scan is asked of its interpreter,
and must be what the system says.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cached_property

from interlock.base.errors import InternalError
from interlock.commands.operate.listing import Listing, Row, Scanned, line_of
from interlock.commands.operate.passing import SCANS, Passing
from interlock.commands.rehearse.successors import World
from interlock.commands.rehearse.why import Situation
from interlock.independent_judge.happenings import Change
from interlock.independent_judge.story import change_in_words
from interlock.kernel.evaluate import State, python_function
from interlock.kernel.query import Reach
from interlock.kernel.system import Domain, Move
from interlock.model.build import SCAN, Built, RunClass, build, fault_flag
from interlock.model.declined import IN_TIME, Declined
from interlock.model.model import Model, ModelMove
from interlock.model.reaction import ReactionTimes
from interlock.model.timing import TICK
from interlock.oversights.found import Looked
from interlock.oversights.study import look_at_text
from interlock.pictures.program import DrawnProgram
from interlock.pictures.side_view import SideView
from interlock.st.interpret import Controller
from interlock.st.types import domain_of

BEYOND = (*IN_TIME, Declined.DELAYED_OUTPUTS)
"""What a bench cannot take."""


def key_of(model: Model) -> str:
    """Tells models apart: the same files, the same key."""
    digest = hashlib.sha256()
    for name, text in sorted(model.sources.items()):
        digest.update(f"{name.rsplit('/', 1)[-1]}\0{text}\0".encode())
    return digest.hexdigest()[:24]


class Bench:
    """A model with everything that its page needs, built once.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self.model = model
        may_strike = tuple(fault.id for fault in model.live_faults)
        self.built: Built = build(model, RunClass(may_strike, None, human=True))
        self.world = World(self.built)
        self.system = self.world.system
        self.stepper = self.world.stepper
        self.time = None if model.timing is None else Passing(model, self.world)
        self.moves: Mapping[str, ModelMove] = {move.name: move for move in model.moves}
        index = self.system.index
        self._signals = python_function(list(self.built.signals.values()), index)
        self._as_read = python_function(list(self.built.read.values()), index)
        self._reads = python_function(
            [self.built.lower(sensor.reads) for sensor in model.sensors.values()], index
        )
        outputs = [v for v in model.program.variables if v.kind == "VAR_OUTPUT"]
        self._domains = {v.name: domain_of(v.type) for v in outputs}
        self._shown = [*model.outputs, *model.terms]
        truth = [self.built.truth[name.casefold()] for name in self._shown]
        self._truth = python_function(truth, index)
        watched = [b for b in self.world.breaches if isinstance(b.query, Reach)]
        self._watched = [breach.question.requirement.id for breach in watched]
        self._targets = python_function([breach.query.target for breach in watched], index)  # type: ignore[union-attr]

    @cached_property
    def key(self) -> str:
        """As `key_of` the model."""
        return key_of(self.model)

    @cached_property
    def looked(self) -> Looked:
        """What is worth a look in the model's text, without exploring anything."""
        return look_at_text(self.model)

    @cached_property
    def watched(self) -> frozenset[str]:
        """Ids of the requirements that a state can show to be violated."""
        return frozenset(self._watched)

    @cached_property
    def not_counted(self) -> dict[str, str]:
        """What comes on top of the scans, or units, that a run shows of a bound, by requirement."""
        reactions, found = ReactionTimes(self.model), {}
        for id_ in self._watched:
            added = reactions.after(id_, 0)
            if added is not None and added.bound.ms is not None:
                delays = ["delays"] if added.filter.ms + added.effect.ms else []
                told = [*delays, *(["the wait for a scan"] if added.wait_ms else [])]
                found[id_] = " and ".join(told)
        return found

    def enabled(self, state: State) -> dict[str, Move]:
        """The moves that are possible now, the scan included."""
        return {move.name: move for move in self.stepper.enabled(state)}

    def in_words(self, move: str) -> str:
        """What happens by that move."""
        if move == TICK and self.time is not None:
            return f"{self.time.unit} pass"
        return SCANS if move == SCAN else self.system.move(move).says or move

    def after(self, state: State, move: str) -> State:
        """The state that `move` leads to."""
        return self.stepper.after(state, self.system.move(move))

    def pending(self, state: State) -> int:
        """More than 0 where anything has happened since the last scan."""
        return state[self.world.phase]

    def scan_is_due(self, state: State) -> bool:
        """Whether no move may come before the next scan."""
        return self.pending(state) == self.world.due

    def waits_for_scan(self, state: State, move: str) -> bool:
        """Whether `move` takes a turn and a scan must come first."""
        return not self.world.has_turn(state, self.world.numbers[move])

    def violated(self, state: State) -> frozenset[str]:
        """The requirements that are violated in `state`, however the run goes on."""
        found = self._targets(state)
        return frozenset(id_ for id_, now in zip(self._watched, found, strict=True) if now)

    def value(self, state: State, name: str) -> int:
        """The value of a variable."""
        return state[self.system.index[name]]

    def label(self, state: State, machine: str) -> str:
        """The state that a machine or a control is in, by its name."""
        return self.model.machines[machine].states[self.value(state, machine)]

    def struck(self, state: State) -> list[str]:
        """Ids of the faults that have struck and not cleared."""
        index = self.system.index
        flags = {id_: fault_flag(id_) for id_ in self.model.faults}
        return [id_ for id_, flag in flags.items() if flag in index and state[index[flag]]]

    def truth(self, state: State) -> dict[str, int]:
        """Outputs as they reach lamps and valves, and terms, by declared name."""
        return dict(zip(self._shown, self._truth(state), strict=True))

    def changes(self, before: State, after: State) -> tuple[str, ...]:
        """Machines, controls and outputs that differ, in words."""
        said = []
        for name, machine in self.model.machines.items():
            old, new = self.value(before, name), self.value(after, name)
            if old != new:
                change = Change(name, machine.states[old], machine.states[new])
                said.append(change_in_words(self.model, change))
        was, now = self.truth(before), self.truth(after)
        for name in self.model.outputs:
            if was[name] != now[name]:
                change = Change(name, self.show(name, was[name]), self.show(name, now[name]))
                said.append(change_in_words(self.model, change))
        return tuple(said)

    def show(self, output: str, value: int) -> str:
        """A value of an output as its label."""
        return self._domains[output].show(value)

    def signals(self, state: State) -> dict[str, int]:
        """What each sensor gives, faults included, by the declared name of its input."""
        by_fold = dict(zip(self.built.signals, self._signals(state), strict=True))
        return {name: by_fold[name.casefold()] for name in self.model.sensors}

    def as_read(self, state: State) -> dict[str, int]:
        """What a scan reads of each: an older value where the signal is late."""
        by_fold = dict(zip(self.built.read, self._as_read(state), strict=True))
        return {name: by_fold[name.casefold()] for name in self.model.sensors}

    def healthy_signals(self, state: State) -> dict[str, int]:
        """What each input would read without the faults of its sensor."""
        return dict(zip(self.model.sensors, self._reads(state), strict=True))

    @cached_property
    def listing(self) -> Listing:
        """The program's text, taken apart."""
        return Listing(self.model, self._names)

    @cached_property
    def side_view(self) -> SideView:
        """Draws the states of the model."""
        return SideView(self.model)

    def seen(self, state: State) -> dict[str, int | str]:
        """Machines, controls, outputs and struck faults by name: what a picture needs."""
        machines: dict[str, int | str] = {n: self.value(state, n) for n in self.model.machines}
        values = self.truth(state)
        outputs = {name: values[name] for name in self.model.outputs}
        return {**machines, **outputs, **dict.fromkeys(self.struck(state), 1)}

    def picture_address(self, state: State) -> str:
        """What `values_at` turns back into what a picture needs: ``0.2.1-3``, digits only."""
        seen = self.seen(state)
        named = [*self.model.machines, *self.model.outputs]
        faults = [str(n) for n, id_ in enumerate(self.model.faults) if id_ in seen]
        # Negative values of a count would need a sign.
        parts = [str(seen[name]).replace("-", "m") for name in named]
        return "-".join(filter(None, [".".join(parts), ".".join(faults)]))

    def values_at(self, address: str) -> dict[str, int | str] | None:
        """What `picture_address` was made of; None where it was made of nothing here."""
        head, _, tail = address.partition("-")
        named = [*self.model.machines, *self.model.outputs]
        faults = list(self.model.faults)
        try:
            numbers = [int(part.replace("m", "-")) for part in head.split(".")]
            struck = [faults[int(part)] for part in tail.split(".") if part]
        except (ValueError, IndexError):
            return None
        if len(numbers) != len(named):
            return None
        sizes = {n: Domain(0, len(m.states) - 1) for n, m in self.model.machines.items()}
        domains = {**sizes, **self._domains}
        values = dict(zip(named, numbers, strict=True))
        if any(not domains[n].lo <= value <= domains[n].hi for n, value in values.items()):
            return None
        return {**values, **dict.fromkeys(struck, 1)}

    def situation(self, state: State) -> Situation:
        """The state, ready to be asked why something does not happen."""
        return Situation(self.model, self.system, state)

    def at_power_up(self) -> Scanned:
        """The program before its first scan."""
        return self._seen(self._controller())

    def scan(self, state: State, memory: Mapping[str, int]) -> tuple[State, Scanned]:
        """The state that a scan leads to, and what the program did in it.

        Parameters
        ----------
        state : State
        memory : mapping of str to int
            The controller's memory after the scan before; what the system leaves out, because
            nothing depends on it, and how far a counter has counted, is taken from here.

        Raises
        ------
        InternalError
            Where the interpreter and the system disagree.
        """
        controller = self._controller()
        named = self.system.named(state)
        controller.load(memory)
        controller.load({n: v for n, v in named.items() if n in memory})
        result = controller.scan(self.as_read(state))
        after = self.after(state, SCAN)
        self._check(after, controller.values())
        lines = frozenset(line_of(place) for place in result.executed)
        decided = [d.place.short for d in result.decided]
        return after, self._seen(controller, lines, tuple(dict.fromkeys(decided)))

    def _controller(self) -> Controller:
        return Controller(self.model.program, self.model.settings)

    def _seen(
        self,
        controller: Controller,
        executed: frozenset[str] = frozenset(),
        decided: tuple[str, ...] = (),
    ) -> Scanned:
        values = Row(self._names, tuple(controller.number(name) for name in self._names))
        memory = Row(self._memory, tuple(controller.exact_values().values()))
        return Scanned(values, memory, executed, decided)

    @cached_property
    def drawn_program(self) -> DrawnProgram:
        """What of the program is drawn."""
        return DrawnProgram(self.model)

    @cached_property
    def _names(self) -> dict[str, int]:
        return {name: n for n, name in enumerate(self._controller().names())}

    @cached_property
    def _memory(self) -> dict[str, int]:
        return {name: n for n, name in enumerate(self._controller().values())}

    def _check(self, state: State, values: Mapping[str, int]) -> None:
        for variable, value in zip(self.system.variables, state, strict=True):
            if variable.name in values and values[variable.name] != value:
                raise InternalError(
                    f"after a scan the system says {variable.name} is {value}, the program's "
                    f"interpreter says {values[variable.name]}"
                )
