"""Shortest runs to states, looked for in what these can depend on.

What a state's lamps show decides no move; with them there are many more states, and the search
takes several times as long. So a run is looked for in the system without the variables that
neither a guard nor the target ever depends on (`System.narrowed`), and then made in the system
itself: the same moves are possible there, they lead to a state with the target, and no run is
shorter, since what is left out decides nothing. Which of the shortest runs it is may be another
than a search among all variables gives: the engine's choice among the narrowed states counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from interlock.kernel.expr import Expr
from interlock.kernel.query import Answer, Engine, Exploration, Limits, ProgressSink, Reach
from interlock.kernel.system import Stepper, System
from interlock.kernel.witness import Step, Witness


def nearest(
    engine: Engine,
    system: System,
    targets: Sequence[Expr],
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
) -> Exploration:
    """A shortest run to each of `targets`, where there is one.

    Returns
    -------
    Exploration
        One answer for each target, without a number of states. The numbers of the exploration are
        those of what was explored, which may have fewer variables.
    """
    narrow = system.narrowed(targets)
    explored = engine.explore(narrow, [Reach(target) for target in targets], limits, progress)
    stepper = Stepper(system)
    return replace(
        explored, answers=tuple(_in_the_whole(stepper, answer) for answer in explored.answers)
    )


def _in_the_whole(stepper: Stepper, answer: Answer) -> Answer:
    if answer.witness is None:
        return replace(answer, n_states=0)
    system = stepper.system
    state, steps = system.initial, []
    for step in answer.witness.steps:
        state = stepper.after(state, system.move(step.move))
        steps.append(Step(step.move, state))
    return replace(answer, n_states=0, witness=Witness(system.initial, tuple(steps)))
