"""A run that shows something: moves and the states between them, perhaps ending in a loop."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.kernel.evaluate import State, evaluate
from interlock.kernel.system import Stepper, System


@dataclass(frozen=True)
class Step:
    """A move and the state it led to."""

    move: str
    state: State


@dataclass(frozen=True)
class Witness:
    """A run from the initial state.

    Attributes
    ----------
    initial : State
    steps : tuple of Step
    loop_start : int or None
        Where the run is endless: the number of steps before its loop. The state after
        `loop_start` steps is the last state again; the steps behind it repeat for ever. With
        ``loop_start == len(steps)`` the run stands still in its last state.
    """

    initial: State
    steps: tuple[Step, ...]
    loop_start: int | None = None

    @property
    def states(self) -> tuple[State, ...]:
        """Every state of the run in order, the initial one first."""
        return (self.initial, *(step.state for step in self.steps))

    @property
    def last(self) -> State:
        """The state the run ends in."""
        return self.steps[-1].state if self.steps else self.initial

    def __len__(self) -> int:
        return len(self.steps)


def check_run(system: System, witness: Witness) -> None:
    """Check that `witness` is a run of `system`, its loop closed and fair.

    Raises
    ------
    ValueError
        Naming the first step that is not a step of the system, or the move that the loop owes.
    """
    stepper = Stepper(system)
    state = system.initial
    if witness.initial != state:
        raise ValueError("the run does not start in the initial state")
    for number, step in enumerate(witness.steps, 1):
        move = system.move(step.move)
        if move not in stepper.enabled(state):
            raise ValueError(f"step {number}: {step.move} is not enabled")
        state = stepper.after(state, move)
        if state != step.state:
            raise ValueError(f"step {number}: {step.move} leads elsewhere")
    if witness.loop_start is not None:
        _check_loop(system, stepper, witness, witness.loop_start)


def _check_loop(system: System, stepper: Stepper, witness: Witness, start: int) -> None:
    states = witness.states
    if states[start] != witness.last:
        raise ValueError("the loop does not close")
    if start == len(witness.steps) and stepper.enabled(witness.last):
        raise ValueError("the run stands still where a move is enabled")
    taken = {step.move for step in witness.steps[start:]}
    for move in system.moves:
        if move.fair is None or move.name in taken:
            continue
        if all(evaluate(move.fair, system.named(state)) for state in states[start:]) and (
            start < len(witness.steps)
        ):
            raise ValueError(f"the loop owes {move.name}")
