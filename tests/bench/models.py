"""Generated interlock-like systems of a chosen size; they stand for no vehicle."""

from __future__ import annotations

from itertools import permutations

from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, and_, const, eq, ite, not_, or_, var
from interlock.kernel.system import (
    BOOL,
    PHASE,
    Domain,
    Move,
    MoveKind,
    Role,
    System,
    Variable,
)
from tests.support.build import is_


def interlock(n_axes: int, n_faults: int = 0, n_rules: int = 0) -> System:
    """Axes that move while their output is on, buttons, a scan that gates the outputs.

    Parameters
    ----------
    n_axes : int
        Each has four positions, a button, an output for each direction and a lock.
    n_faults : int
        Axes whose end sensor may stick.
    n_rules : int
        More intermediate terms of the controller, each reading several others.
    """
    variables = [Variable(PHASE, BOOL, 0, Role.PHASE)]
    moves: list[Move] = []
    calm, due = is_(PHASE, 0), is_(PHASE, 1)

    def act(name: str, kind: MoveKind, guard: Expr, updates: dict[str, Expr], fair: bool) -> None:
        everything = {**updates, PHASE: ex.TRUE}
        moves.append(Move(name, kind, and_(calm, guard), everything, guard if fair else None))

    at_home: list[Expr] = []
    for n in range(n_axes):
        place, button, out, back = (
            f"axis{n}.{part}" for part in ("place", "button", "out", "back")
        )
        variables.append(Variable(place, Domain(0, 3), 0))
        variables.append(Variable(button, Domain(0, 2), 0, Role.CONTROL))
        variables += [Variable(name, BOOL, 0, Role.OUTPUT) for name in (out, back)]
        # As in a model file: one move for each pair of states it leads from and to.
        for a, b in permutations(range(4), 2):
            if abs(a - b) == 1:
                guard = and_(var(out if a < b else back), is_(place, a))
                act(f"{place} {a} to {b}", MoveKind.PLANT, guard, {place: const(b)}, True)
        for a, b in permutations(range(3), 2):
            act(
                f"{button} {a} to {b}",
                MoveKind.OPERATOR,
                is_(button, a),
                {button: const(b)},
                False,
            )
        sensed = is_(place, 0)
        if n < n_faults:
            stuck = f"axis{n}.stuck"
            variables.append(Variable(stuck, BOOL, 0, Role.FAULT))
            act(f"{stuck} comes", MoveKind.FAULT, not_(var(stuck)), {stuck: ex.TRUE}, False)
            sensed = or_(var(stuck), sensed)
        at_home.append(sensed)
    updates: dict[str, Expr] = {PHASE: ex.FALSE}
    terms = list(at_home)
    for k in range(n_rules):
        a, b, c = (
            terms[(k * step + shift) % len(terms)] for step, shift in ((7, 1), (3, 2), (5, 0))
        )
        terms.append(ite(eq(a, var(f"axis{k % n_axes}.out")), or_(b, not_(c)), and_(b, c)))
    extra = terms[-n_axes:] if n_rules else [ex.TRUE] * n_axes
    for n in range(n_axes):
        before = at_home[(n - 1) % n_axes]
        button = f"axis{n}.button"
        free = or_(before, extra[n]) if n_rules else before
        updates[f"axis{n}.out"] = and_(is_(button, 1), free)
        updates[f"axis{n}.back"] = and_(is_(button, 2), not_(is_(f"axis{n}.place", 0)))
    moves.append(Move("scan", MoveKind.SCAN, due, updates, due))
    return System(tuple(variables), tuple(moves))
