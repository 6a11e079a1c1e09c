"""The plant on machines of the ``transitions`` library; the only door to it.

Each machine of a model becomes one machine of the library, with a condition for each guard.
Automatic transitions are off, since they would pass the guards by, and an invalid trigger is an
error, never ignored.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from transitions import Machine as LibraryMachine
from transitions import MachineError

from interlock.base.errors import InternalError
from interlock.model.model import Machine, Model, ModelMove

Condition = Callable[[], bool]


class _Component:
    """What the library keeps its state in."""

    state: str


class Plant:
    """All machines and controls of a model, in their initial states.

    Parameters
    ----------
    model : Model
    condition : callable
        Gives for a move the function that tells whether its guard holds now.
    """

    def __init__(self, model: Model, condition: Callable[[ModelMove], Condition]) -> None:
        self._machines = model.machines
        self._numbers = {
            name: {state: number for number, state in enumerate(machine.states)}
            for name, machine in model.machines.items()
        }
        self._components: dict[str, Any] = {}
        for name, machine in model.machines.items():
            self._components[name] = _component(machine)
        library = {name: self._library(name) for name in model.machines}
        for number, move in enumerate(model.moves):
            self._add(library[move.machine], move, f"move_{number}", condition(move))
        self._triggers = {move.name: f"move_{n}" for n, move in enumerate(model.moves)}

    def _library(self, name: str) -> Any:
        machine = self._machines[name]
        library = LibraryMachine(
            model=self._components[name],
            states=list(machine.states),
            initial=machine.states[machine.initial],
            auto_transitions=False,
            ignore_invalid_triggers=False,
        )
        # Where another machine's move carries this one along, it follows without a guard.
        for state in machine.states:
            library.add_transition(f"follow_{state}", list(machine.states), state)
        return library

    def _add(self, library: Any, move: ModelMove, trigger: str, condition: Condition) -> None:
        states = self._machines[move.machine].states
        target = states[move.target]
        sources = (
            [states[move.source]]
            if move.source is not None
            else [state for state in states if state != target]
        )
        library.add_transition(trigger, sources, target, conditions=[condition])

    def states(self) -> dict[str, int]:
        """The number of the state that each machine is in."""
        components = self._components
        return {name: known[components[name].state] for name, known in self._numbers.items()}

    def where(self, machines: Iterable[str]) -> dict[str, str]:
        """The state of each of these machines, by name."""
        return {name: self._components[name].state for name in machines}

    def left(self, stood: Mapping[str, str]) -> list[str]:
        """Those of the machines that stand elsewhere now."""
        return [name for name, state in stood.items() if self._components[name].state != state]

    def put(self, states: Mapping[str, int]) -> None:
        """Put every machine into the state with this number."""
        for name, number in states.items():
            self._components[name].state = self._machines[name].states[number]

    def enabled(self, move: ModelMove) -> bool:
        """Whether the library would let `move` happen now."""
        return bool(getattr(self._components[move.machine], f"may_{self._triggers[move.name]}")())

    def make(self, move: ModelMove, also: Mapping[str, int]) -> None:
        """Make `move`, carrying the machines in `also` along to their new states.

        Raises
        ------
        InternalError
            Where the library refuses: the state is another, or the guard does not hold.
        """
        component = self._components[move.machine]
        try:
            happened = getattr(component, self._triggers[move.name])()
        except MachineError as error:
            raise InternalError(f"replay refuses '{move.name}': {error}") from None
        if not happened:
            raise InternalError(f"replay refuses '{move.name}': its guard does not hold")
        for name, number in also.items():
            state = self._machines[name].states[number]
            getattr(self._components[name], f"follow_{state}")()


def _component(machine: Machine) -> Any:
    component = _Component()
    component.state = machine.states[machine.initial]
    return component
