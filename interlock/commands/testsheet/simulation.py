"""A fast simulation for planning a sheet; what a sheet claims is measured on another machine.

People are slower than scans and than the timers of the program: after each of their actions the
controller scans, and its timers run out, until nothing changes any more.
"""

from __future__ import annotations

from collections.abc import Callable

from interlock.commands.testsheet.goals import TRIED, Force, Program, signals_under
from interlock.kernel.evaluate import State, python_function
from interlock.kernel.system import PHASE, Move, MoveKind, Role
from interlock.model.build import Built

# A program that changes something in every scan is looked at after so many.
MOST_SCANS = 400
_NOTHING = Force(())


class Simulation:
    """The moves of a built model and its program, compiled.

    Parameters
    ----------
    built : Built
        Without faults.
    program : Program
    """

    def __init__(self, built: Built, program: Program) -> None:
        self.built, self.program = built, program
        system = built.system
        self.system = system
        self.moves: list[Move] = [m for m in system.moves if m.kind in TRIED]
        self.timers = [m for m in system.moves if m.kind is MoveKind.TIMER]
        self.inputs = list(program.signals)
        self.index = dict(system.index)
        for number, name in enumerate(self.inputs):
            self.index[name] = len(system.variables) + number
        updates = {n: e for n, e in program.lowered.updates.items() if n in system.index}
        self._targets = [system.index[name] for name in updates]
        self._scan = python_function(list(updates.values()), self.index)
        self._guards = python_function([m.guard for m in self.moves], system.index)
        self._due = python_function([m.guard for m in self.timers], system.index)
        self._updates = {
            m.name: (
                [system.index[n] for n in m.updates],
                python_function(list(m.updates.values()), system.index),
            )
            for m in (*self.moves, *self.timers)
        }
        self._phase = system.index[PHASE]
        self._read = {_NOTHING: self._signals_fn(_NOTHING)}
        self.output_places = {n: system.index[n] for n in program.outputs if n in system.index}
        self._memory = [
            (system.index[v.name], v.initial)
            for v in system.variables
            if v.role in (Role.OUTPUT, Role.MEMORY, Role.TIMER)
        ]
        self._remembered = [system.index[v.name] for v in system.variables if v.role is Role.MEMORY]
        self._retained = [
            system.index[n] for n in sorted(program.lowered.retained) if n in system.index
        ]

    def _signals_fn(self, force: Force) -> Callable[[State], tuple[int, ...]]:
        read = signals_under(self.program, force)
        return python_function([read[name] for name in self.inputs], self.system.index)

    def signals(self, state: State, force: Force = _NOTHING) -> tuple[int, ...]:
        """What every input reads in `state`."""
        if force not in self._read:
            self._read[force] = self._signals_fn(force)
        values: tuple[int, ...] = self._read[force](state)
        return values

    def scan(self, state: State, force: Force = _NOTHING) -> State:
        """The state after one scan."""
        after = list(state)
        found = self._scan((*state, *self.signals(state, force)))
        for place, value in zip(self._targets, found, strict=True):
            after[place] = value
        after[self._phase] = 0
        return tuple(after)

    def after(self, state: State, move: Move) -> State:
        """The state that a move of the plant, a person or a timer leads to."""
        places, function = self._updates[move.name]
        after = list(state)
        for place, value in zip(places, function(state), strict=True):
            after[place] = value
        return tuple(after)

    def settle(self, state: State, force: Force = _NOTHING) -> State:
        """Scan, and let timers run out, until nothing changes; at least one scan."""
        state = self.scan(state, force)
        for _ in range(MOST_SCANS):
            after = self.scan(state, force)
            due = [m for m, now in zip(self.timers, self._due(state), strict=True) if now]
            if after != state:
                state = after
            elif due:
                # A running timer is what is still to come.
                state = self.scan(self.after(state, due[0]), force)
            else:
                break
        return state

    def possible(self, state: State) -> list[Move]:
        """The moves of plant and people that can be made in a settled state."""
        return [m for m, now in zip(self.moves, self._guards(state), strict=True) if now]

    def is_calm(self, state: State) -> bool:
        """Whether nothing of the plant moves by itself in `state`."""
        return all(m.kind is not MoveKind.PLANT for m in self.possible(state))

    def outputs(self, state: State, force: Force = _NOTHING) -> dict[str, int]:
        """The outputs as they reach lamps and valves."""
        held = dict(force.outputs)
        return {n: held.get(n, state[place]) for n, place in self.output_places.items()}

    def restarted(self, state: State) -> State:
        """The state after the supply dipped: what is not RETAIN starts anew."""
        kept = set(self._retained)
        return self._with(state, [(p, v) for p, v in self._memory if p not in kept])

    def cold_started(self, state: State) -> State:
        """The state after the controller was started with all its memory cleared."""
        return self._with(state, self._memory)

    @staticmethod
    def _with(state: State, values: list[tuple[int, int]]) -> State:
        after = list(state)
        for place, value in values:
            after[place] = value
        return tuple(after)

    def retained(self, state: State) -> tuple[int, ...]:
        """What the controller keeps over a restart."""
        return tuple(state[place] for place in self._retained)

    def memory(self, state: State) -> tuple[int, ...]:
        """What the program remembers besides its outputs and timers."""
        return tuple(state[place] for place in self._remembered)

    def start(self) -> State:
        """Power-up, settled."""
        return self.settle(self.system.initial)
