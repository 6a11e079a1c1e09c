"""Judges witnesses by the words of the contract, with nothing taken from an engine."""

from __future__ import annotations

from interlock.kernel.evaluate import evaluate
from interlock.kernel.expr import Expr
from interlock.kernel.query import Legs, Query, Reach, Stay, Trap
from interlock.kernel.system import MoveKind, Stepper, System
from interlock.kernel.witness import Witness, check_run


def prefix_length(system: System, witness: Witness, query: Stay) -> int:
    """Steps before the first state with `start` from which on the run stays in `stay`."""
    states = [system.named(state) for state in witness.states]
    inside_from = len(states)
    while inside_from and evaluate(query.stay, states[inside_from - 1]):
        inside_from -= 1
    done = after_legs(system, witness, query.along)
    for number in range(inside_from, len(states)):
        if number in done and evaluate(query.start, states[number]):
            return number
    raise AssertionError("the run never starts to stay")


def after_legs(system: System, witness: Witness, along: Legs) -> set[int]:
    """The numbers of the states of a run that may end it with all legs and scans behind it."""
    if not along:
        return set(range(len(witness.states)))
    states = [system.named(state) for state in witness.states]
    scans = [system.move(step.move).kind is MoveKind.SCAN for step in witness.steps]
    known: set[tuple[int, int, int]] = set()
    todo = [(0, 0, 0)] if evaluate(along[0].enter, states[0]) else []
    while todo:
        number, leg, n_scans = here = todo.pop()
        if here in known:
            continue
        known.add(here)
        is_through = _is_through(along, leg, n_scans) and leg + 1 < len(along)
        if is_through and evaluate(along[leg + 1].enter, states[number]):
            todo.append((number, leg + 1, 0))
        if number < len(scans) and evaluate(along[leg].inside, states[number]):
            n_then = n_scans + scans[number]
            if n_then <= along[leg].scans or not along[leg].is_short:
                todo.append((number + 1, leg, min(n_then, along[leg].scans)))
    last = len(along) - 1
    return {n for n, leg, n_scans in known if leg == last and _is_through(along, leg, n_scans)}


def _is_through(along: Legs, leg: int, n_scans: int) -> bool:
    return along[leg].is_short or n_scans == along[leg].scans


def can_reach(system: System, source: tuple[int, ...], goal: Expr) -> bool:
    """Whether `goal` can be reached from one state without the strike or clearing of a fault."""
    stepper = Stepper(system)
    seen = {source}
    todo = [source]
    while todo:
        state = todo.pop()
        if evaluate(goal, system.named(state)):
            return True
        ways = [t for m, t in stepper.successors(state) if m.kind is not MoveKind.FAULT]
        new = [t for t in ways if t not in seen]
        seen.update(new)
        todo.extend(new)
    return False


def check_shows(system: System, witness: Witness, query: Query) -> None:
    """Check that `witness` shows what `query` asks for."""
    check_run(system, witness)
    match query:
        case Reach(target, along):
            assert evaluate(target, system.named(witness.last))
            assert len(witness.steps) in after_legs(system, witness, along)
        case Trap(goal):
            assert not can_reach(system, witness.last, goal)
        case Stay():
            assert witness.loop_start is not None
            start = prefix_length(system, witness, query)
            assert start <= witness.loop_start or evaluate(
                query.stay, system.named(witness.states[witness.loop_start])
            )
        case _:
            raise AssertionError("a count shows nothing")
