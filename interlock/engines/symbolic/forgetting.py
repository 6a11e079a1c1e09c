"""Runs along legs with most of each state forgotten: whether they may end somewhere.

What a run has gone through is mostly told by few variables: what legs and target speak of, what a
program keeps in mind, and which faults have struck. In place of the states in which a run may be
in a leg only the values of these are kept; every reached state with such values counts as one of
them. So there may be more than there are: what is not found so is not there, and only what is has
to be looked for state by state. A move is made only from reached states with known values from
which it leads to values that are not known yet; for most moves there are none, and that is seen
from small diagrams alone.

Measured on the demo vehicle with any one of 8 faults, seconds of CPU: 19 requirements with scopes
17 by their states and 1.7 so, and the same faults break them.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from interlock.engines.symbolic.space import Space
from interlock.kernel.expr import variables_of
from interlock.kernel.query import Reach
from interlock.kernel.system import MoveKind, System

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

SIMPLER = 4
"""By this factor a diagram of what is kept has to be smaller than that of the states."""


def may_be_done(
    space: Space, query: Reach, more: Iterable[int] = (), most_nodes: int | None = None
) -> Node | None:
    """The reached states with the target in which a run along all legs may end, or more.

    Parameters
    ----------
    space : Space
        Explored.
    query : Reach
        With legs.
    more : iterable of int
        Bits that are kept besides.
    most_nodes : int or None
        How large the diagram of the kept values may grow.

    Returns
    -------
    Node or None
        None where it would grow larger.
    """
    dd, encoding, reached = space.diagrams, space.encoding, space.reached
    last = query.along[-1]
    inside = encoding.truth(last.inside)
    kept = {b for v in _telling(space.system, query) for b in encoding.bits[v]}.union(more)
    others = dd.positive(set(range(dd.n_bits)) - kept)
    # Whoever is in the last leg began it in some reached state, or at power-up if it is the first.
    first = reached if len(query.along) > 1 else encoding.is_state(space.system.initial)
    known = (first & encoding.truth(last.enter)).exists(others)
    while most_nodes is None or known.node_count() <= most_nodes:
        before = known
        for move in space.moves:
            leading_on = known & inside & move.guard & move.preimage(~known)
            if leading_on.satisfiable():
                space.check()
                known = known | move.image(reached & leading_on).exists(others)
        if known == before:
            return reached & known & encoding.truth(query.target)
    return None


def _telling(system: System, query: Reach) -> Iterable[int]:
    """The variables, by position, that tell what a run along the legs has gone through."""
    last = query.along[-1]
    scans = [move for move in system.moves if move.kind is MoveKind.SCAN]
    read = variables_of([expr for scan in scans for expr in (scan.guard, *scan.updates.values())])
    memory = {name for scan in scans for name in scan.updates}.intersection(read)
    asked = variables_of([query.target, last.enter, last.inside])
    told = {*asked, *memory}.difference(system.turns)
    # What is counted of it since the last scan tells whether it is still as it was then.
    moving = (m for m in system.moves if m not in scans and not told.isdisjoint(m.updates))
    counted = {name for move in moving for name in move.updates}.intersection(system.turns)
    return (system.index[name] for name in told.union(counted, asked))
