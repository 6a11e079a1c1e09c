"""Runs of one system made by another one: only what it really does counts."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.kernel.asking import Question
from interlock.kernel.evaluate import State, python_function
from interlock.kernel.expr import Expr
from interlock.kernel.query import Reach, Stay
from interlock.kernel.system import Stepper
from interlock.kernel.witness import Step, Witness, check_run

# A loop closes on the part of a model that was looked at; the whole may take it a few times.
_ROUNDS = 4


def way_still_leads(stepper: Stepper, state: State, way: Sequence[str], goal: Expr) -> bool:
    """Whether the moves of `way` can still be made and still lead to the goal."""
    steps = _made(stepper, state, way)
    if steps is None:
        return False
    last = steps[-1].state if steps else state
    return bool(python_function([goal], stepper.system.index)(last)[0])


def _made(stepper: Stepper, state: State, names: Sequence[str]) -> list[Step] | None:
    """The steps that moves make from a state; None where one of them cannot be made."""
    known = {move.name for move in stepper.system.moves}
    steps = []
    for name in names:
        move = stepper.system.move(name) if name in known else None
        if move is None or move not in stepper.enabled(state):
            return None
        state = stepper.after(state, move)
        steps.append(Step(name, state))
    return steps


def rerun(question: Question, stepper: Stepper, witness: Witness) -> Witness | None:
    """The run that the moves of a witness really make; None where it shows no violation."""
    names = [step.move for step in witness.steps]
    system = stepper.system
    if witness.loop_start is not None:
        own = _rerun_loop(stepper, names, witness.loop_start)
        return own if own is not None and _stays(question, own) else None
    steps = _made(stepper, system.initial, names)
    if steps is None:
        return None
    run = Witness(system.initial, tuple(steps))
    targets = [query.target for query in question.violations if isinstance(query, Reach)]
    shown = python_function(targets, system.index)(run.last) if targets else ()
    return run if any(shown) or not targets else None


def _stays(question: Question, run: Witness) -> bool:
    """Whether an endless run enters a stretch that is asked for and stays in it."""
    for query in question.violations:
        if isinstance(query, Stay):
            both = python_function([query.stay, query.start], question.system.index)
            seen = [both(state) for state in run.states]
            since = max((n + 1 for n, (stays, _) in enumerate(seen) if not stays), default=0)
            if since <= (run.loop_start or 0) and any(starts for _, starts in seen[since:]):
                return True
    return False


def _rerun_loop(stepper: Stepper, names: list[str], start: int) -> Witness | None:
    """The same for an endless run: once round the loop may not close it on the whole model."""
    once = names[start:]
    for rounds in range(_ROUNDS):
        steps = _made(stepper, stepper.system.initial, [*names[:start], *once * (rounds + 1)])
        if steps is None:
            return None
        own = Witness(stepper.system.initial, tuple(steps), start + len(once) * rounds)
        try:
            check_run(stepper.system, own)
        except ValueError:
            continue
        return own
    return None
