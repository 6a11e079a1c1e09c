"""A system on the `transitions` library: one machine for each variable, guards as conditions."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from time import process_time

from transitions import Machine

from interlock.kernel.evaluate import State, python_function
from interlock.kernel.expr import and_, const, eq
from interlock.kernel.system import System


class _Body:
    """What a machine drives."""


class Machines:
    """All machines of a system; their conditions read the state before the move.

    Each move is a trigger of every machine whose variable it writes; every move writes one.
    """

    def __init__(self, system: System) -> None:
        self.system = system
        self._before: State = system.initial
        self._machines = [
            Machine(
                _Body(),
                states=[str(value) for value in range(v.domain.lo, v.domain.hi + 1)],
                initial=str(v.initial),
                auto_transitions=False,
                ignore_invalid_triggers=False,
            )
            for v in system.variables
        ]
        for move in system.moves:
            for name, update in move.updates.items():
                machine = self._machines[system.index[name]]
                lo, hi = system.intervals[name]
                for value in range(lo, hi + 1):
                    holds = self._condition(and_(move.guard, eq(update, const(value))))
                    machine.add_transition(move.name, "*", str(value), conditions=[holds])

    def _condition(self, expr: object) -> Callable[[], bool]:
        function = python_function([expr], self.system.index)  # type: ignore[list-item]
        return lambda: bool(function(self._before)[0])

    def successors(self, state: State) -> list[State]:
        """The states that the enabled moves lead to."""
        self._before = state
        found = []
        for move in self.system.moves:
            after = list(state)
            for name in move.updates:
                place = self.system.index[name]
                machine = self._machines[place]
                machine.set_state(str(state[place]))
                if not machine.model.trigger(move.name):
                    break
                after[place] = int(machine.model.state)
            else:
                found.append(tuple(after))
        return found

    def states_a_second(self, n_states: int) -> float:
        """How many states a breadth-first search expands a second of CPU, from a sample."""
        started = process_time()
        seen = {self.system.initial}
        queue = deque(seen)
        for _ in range(n_states):
            for state in self.successors(queue.popleft()):
                if state not in seen:
                    seen.add(state)
                    queue.append(state)
        return n_states / (process_time() - started)
