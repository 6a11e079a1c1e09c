"""Whether a step surely comes to its end: asked of an engine over a system of its own.

The system has the plant, the controller, the timers and the step's own acts; everybody else
stands still. Its runs start in every state in which the step may begin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from interlock.commands.rehearse.acts import Act, ActKind
from interlock.commands.rehearse.successors import UNATTENDED
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr, and_, eq, ite, not_, or_
from interlock.kernel.query import Engine, Limits, Stay
from interlock.kernel.system import PHASE, Domain, Move, MoveKind, Role, System, Variable
from interlock.model.build import Built

NEXT = "script.next"


def surely_ends(
    built: Built, acts: Sequence[Act], starts: Sequence[State], engine: Engine, limits: Limits
) -> bool | None:
    """Whether the acts end on every fair run from `starts`; None where a limit was hit.

    Parameters
    ----------
    built : Built
    acts : sequence of Act
    starts : sequence of State
        Of the built system.
    engine : Engine
    limits : Limits
    """
    system = restricted(built, acts, starts)
    at = ex.var(NEXT)
    # Number 0 is before the start, and one more than the last act is the end.
    inside = and_(ex.lt(ex.const(0), at), ex.lt(at, ex.const(len(acts) + 1)))
    answer = engine.explore(system, [Stay(inside, inside)], limits).answers[0]
    return None if answer.found is None else not answer.found


def restricted(built: Built, acts: Sequence[Act], starts: Sequence[State]) -> System:
    """The system in which only `acts` are performed, in order, from `starts`."""
    system = built.system
    at = ex.var(NEXT)
    begun = ex.lt(ex.const(0), at)
    moves = [
        replace(move, guard=and_(begun, move.guard), fair=_owed(begun, move.fair))
        for move in system.moves
        if move.kind in UNATTENDED
    ]
    for number, state in enumerate(starts):
        updates: dict[str, Expr] = {
            variable.name: ex.const(value)
            for variable, value in zip(system.variables, state, strict=True)
        }
        updates[NEXT] = ex.const(1)
        moves.append(Move(f"start {number}", MoveKind.OPERATOR, not_(begun), updates))
    for number, act in enumerate(acts, 1):
        moves += _moves_of(built, act, number)
    counter = Variable(NEXT, Domain(0, len(acts) + 1), 0, Role.OBSERVER)
    return System((*system.variables, counter), tuple(moves), system.title)


def _owed(begun: Expr, fair: Expr | None) -> Expr | None:
    return None if fair is None else and_(begun, fair)


def _moves_of(built: Built, act: Act, number: int) -> list[Move]:
    here = eq(ex.var(NEXT), ex.const(number))
    onward: dict[str, Expr] = {NEXT: ex.const(number + 1)}
    name = f"{number}: {act.step}"
    if act.kind in (ActKind.BEGIN, ActKind.UNTIL):
        assert act.done is not None
        done = built.lower(act.done)
        scanned = eq(ex.var(PHASE), ex.const(0))  # what is seen is what follows a scan
        if act.kind is ActKind.BEGIN:
            onward = {NEXT: ite(done, ex.const(number + act.skips + 1), ex.const(number + 1))}
            guard = and_(here, scanned)
            return [Move(f"{name} begins", MoveKind.OPERATOR, guard, onward, here)]
        seen = and_(here, done)
        guard = and_(seen, scanned)
        return [Move(f"{name} is done", MoveKind.OPERATOR, guard, onward, seen)]
    if act.kind is ActKind.LINGER:
        return [Move(f"{name} lingers", MoveKind.OPERATOR, here, onward, here)]
    there = or_(*(eq(ex.var(act.machine), ex.const(state)) for state in sorted(act.passed)))
    passed = and_(here, there)
    moves = [Move(f"{name} {act.machine} is there", MoveKind.OPERATOR, passed, onward, passed)]
    known = [move for move in built.system.moves if move.name in (*act.moves, *act.errors)]
    # Whichever of them is possible, one is made; a scan that is due comes first.
    calm = dict.fromkeys(built.system.turns, ex.const(0))
    ready = ex.substitute([move.guard for move in known], calm)
    owed = and_(here, not_(there), or_(*ready))
    meant = or_(*(r for m, r in zip(known, ready, strict=True) if m.name in act.moves))
    for move in known:
        guard = and_(here, not_(there), move.guard)
        if move.name not in act.moves:
            guard = and_(guard, not_(meant))
        updates = {**move.updates, **onward}
        moves.append(Move(f"{name} {move.name}", move.kind, guard, updates, owed))
    return moves
