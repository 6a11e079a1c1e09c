"""Which fault may be in force on the way to somewhere, told by the fault alone.

Where at most one fault strikes, one variable says which (`order.WHICH`). A way to states with one
fault leads neither through those with another, unless that clears, nor back from it. What is known
of that one variable keeps a search from going where it is of no use.
"""

from __future__ import annotations

from copy import copy
from typing import TYPE_CHECKING

from interlock.engines.symbolic.order import WHICH
from interlock.engines.symbolic.space import Space
from interlock.kernel.expr import Expr, Op, const, eq, var

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node


def may_come_to(space: Space, goal: Node) -> Node:
    """States among which are all from which moves of the system lead to a state of `goal`."""
    system, everything = space.system, space.diagrams.true
    if WHICH not in system.index:
        return everything
    domain = system.variable(WHICH).domain
    values = range(domain.lo, domain.hi + 1)
    of = {value: space.encoding.truth(eq(var(WHICH), const(value))) for value in values}
    found = {value for value in values if (goal & of[value]).satisfiable()}
    guards = {move.name: move.guard for move in space.moves}
    leads: list[tuple[int, Node]] = []
    for move in system.moves:
        if WHICH not in move.updates or move.name not in guards:
            continue
        new = _new_values(move.updates[WHICH])
        if new is None:
            return everything
        leads += [(value, guards[move.name]) for value in sorted(new)]
    is_grown = True
    while is_grown:
        before = len(found)
        for target, guard in leads:
            if target in found:
                found |= {v for v in values if v not in found and (guard & of[v]).satisfiable()}
        is_grown = len(found) > before
    if len(found) == len(values):
        return everything
    return space.diagrams.disjunction(of[value] for value in sorted(found))


def towards(space: Space, goal: Node) -> Space:
    """The space without moves that lead to where no way to `goal` is left, nothing searched."""
    onward = may_come_to(space, goal)
    if onward == space.diagrams.true:
        return space
    found = copy(space)
    found.reached = space.reached & onward
    writing = {move.name for move in space.system.moves if WHICH in move.updates}
    found.moves = [
        move.restricted(move.preimage(onward)) if move.name in writing else move
        for move in space.moves
    ]
    found.forget_rings()
    return found


def _new_values(update: Expr) -> set[int] | None:
    """The values that an update of the variable may give it, its old one apart; None for any."""
    if update.op is Op.CONST:
        return {update.value}
    if update is var(WHICH):
        return set()
    if update.op is not Op.ITE:
        return None
    parts = [_new_values(part) for part in update.args[1:]]
    known = [part for part in parts if part is not None]
    return set().union(*known) if len(known) == len(parts) else None
