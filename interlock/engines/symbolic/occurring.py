"""Whether something occurs in the last of some legs: mostly soon told by settled states."""

from __future__ import annotations

from interlock.engines.symbolic.chaining import chained
from interlock.engines.symbolic.legs import Walk
from interlock.engines.symbolic.settled import SettledGraph
from interlock.engines.symbolic.space import Space
from interlock.kernel.query import Leg, Occurs
from interlock.kernel.system import Role


def occurs(space: Space, query: Occurs) -> bool:
    """Whether a state that was asked for is met in the last leg of some run.

    Parameters
    ----------
    space : Space
        With what was reached.
    query : Occurs
    """
    wanted = space.reached & space.encoding.truth(query.where)
    if not wanted.satisfiable():
        return False
    if occurs_where_scans_answer(space, query):
        return True
    walk = Walk(space, query.along, until=wanted, is_direct=True)
    return (walk.done & wanted).satisfiable()


def occurs_where_scans_answer(space: Space, query: Occurs) -> bool:
    """Whether it is met on runs in which a scan answers each move of the leg; False says nothing.

    The first of two legs may lie anywhere, and a state is all that there is to the other's begin.
    No fault strikes: what is met is mostly met without any, and those states are far fewer.
    """
    if len(query.along) != 2 or query.along[0] != Leg() or query.along[1].scans:
        return False
    if space.chained is None or space.chained[0].settling is None or not space.is_complete:
        return False
    (search, found), truth = space.chained, space.encoding.truth
    settling, inside = search.settling, truth(query.along[1].inside)
    assert settling is not None
    kept = settling.only_where({move.name: inside for move in space.moves})
    faults = [n for n, variable in enumerate(space.system.variables) if variable.role is Role.FAULT]
    sound = space.diagrams.conjunction(
        space.encoding.is_value(n, space.system.variables[n].initial) for n in faults
    )
    graph = SettledGraph(space, kept, found & sound)
    start = graph.inlined(truth(query.along[1].enter))
    if not start.satisfiable():
        return False
    # What is reached need not be told here, and the goal by itself is much the simpler set.
    goal = graph.leading_to(truth(query.where))
    steps = [move.image for move in graph.moves if move.name not in settling.strikes]
    for grown in chained([steps], start):
        space.check()
        if (grown & goal).satisfiable():
            return True
    return (start & goal).satisfiable()
