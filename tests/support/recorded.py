"""Records of random runs of a model."""

from __future__ import annotations

import random

from interlock.independent_judge.moments import Moment, moments_of
from interlock.kernel.system import Stepper
from interlock.model.build import FAULT_FREE, RunClass, build
from interlock.model.model import Model


def random_run(
    model: Model, n_steps: int, seed: int, run_class: RunClass = FAULT_FREE
) -> list[Moment]:
    """The states of a run of `n_steps` steps."""
    built = build(model, run_class)
    stepper, chosen = Stepper(built.system), random.Random(seed)
    state, moves = built.system.initial, []
    for _ in range(n_steps):
        move, state = chosen.choice(stepper.successors(state))
        moves.append(move.name)
    return moments_of(model, moves)
