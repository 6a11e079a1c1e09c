"""What the decision diagrams of an explored space answer to each query of the kernel."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from interlock.engines.symbolic.leading import towards
from interlock.engines.symbolic.legs import Walk, may_lead_to
from interlock.engines.symbolic.loops import FairLoops
from interlock.engines.symbolic.occurring import occurs
from interlock.engines.symbolic.paths import Paths
from interlock.engines.symbolic.settled import WaysBack
from interlock.engines.symbolic.settled_runs import AnsweredPaths
from interlock.engines.symbolic.space import LimitError, Space
from interlock.kernel.expr import Expr
from interlock.kernel.query import (
    Answer,
    Count,
    FewestScans,
    Legs,
    MostScans,
    Occurs,
    Query,
    Reach,
    Stay,
    Trap,
    Values,
)
from interlock.kernel.witness import Step, Witness

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node


def ask(paths: Paths, ways_back: WaysBack, query: Query) -> Answer:
    """The answer to one query, as far as the space was explored.

    Raises
    ------
    LimitError, MemoryError
        Where a limit came first.
    """
    space = paths.space
    match query:
        case Reach(target, ()):
            return _reach(paths, target)
        case Reach():
            return _reach_along(paths, query)
        case Occurs():
            return Answer(_nothing_found(space), None, int(occurs(space, query)))
        case Count(where):
            node = space.reached & space.encoding.truth(where)
            return Answer(_nothing_found(space), None, space.encoding.count(node))
        case Trap(goal):
            soon = _trap_at_once(paths, ways_back, goal)
            return _trap(paths, ways_back, goal) if soon is None else soon
        case Stay(start, stay, along):
            return _stay(paths, start, stay, along)
        case MostScans(where, along):
            return _most_scans(space, where, along)
        case FewestScans(where, along):
            return _fewest_scans(space, where, along)
        case Values(exprs, where):
            states = space.reached & space.encoding.truth(where)
            return Answer(
                _nothing_found(space), values=tuple(sorted(_values(space, states, exprs)))
            )


def _nothing_found(space: Space) -> bool | None:
    return False if space.is_complete else None


def _reach(paths: Paths, target: Expr) -> Answer:
    space = paths.space
    wanted = space.encoding.truth(target)
    n_states = space.encoding.count(space.reached & wanted)
    try:
        steps = paths.to_nearest(wanted) if n_states else None
    except LimitError:
        return Answer(None, None, n_states)
    if steps is None:
        return Answer(_nothing_found(space), None, n_states)
    return Answer(True, _run(space, steps), n_states)


def _reach_along(paths: Paths, query: Reach) -> Answer:
    space = paths.space
    if not may_lead_to(space, query):
        return Answer(_nothing_found(space))
    hit = space.reached & space.encoding.truth(query.target)
    *answered, walk = (
        Walk(towards(around, hit), query.along, is_direct=True) for around in paths.spaces
    )
    if space.is_complete:
        for some in answered:
            steps = some.steps_nearby(hit)
            if steps is None and (some.done & hit).satisfiable():
                steps = some.steps_to(hit)
            if steps is not None:
                return Answer(True, _run(space, steps))
        # Most runs are short, and all that lies along the legs is much more.
        if not answered and (steps := walk.steps_nearby(hit)) is not None:
            return Answer(True, _run(space, steps))
    hit = walk.done & hit
    # Where not everything was found, a shorter run may lead through what was not.
    if not hit.satisfiable() or not space.is_complete:
        return Answer(_nothing_found(space))
    return Answer(True, _run(space, walk.steps_to(hit)))


def _most_scans(space: Space, where: Expr, along: Legs) -> Answer:
    wanted = space.encoding.truth(where)
    by_scans = Walk(space, along, goes_on=False).in_last_leg()
    met = [n for n, states in enumerate(by_scans) if (states & wanted).satisfiable()]
    return Answer(_nothing_found(space), values=((met[-1],),) if met else ())


def _fewest_scans(space: Space, where: Expr, along: Legs) -> Answer:
    wanted = space.encoding.truth(where)
    by_scans = Walk(space, along).in_last_leg()
    met = [n for n, states in enumerate(by_scans) if (states & wanted).satisfiable()]
    return Answer(_nothing_found(space), values=((met[0],),) if met else ())


def _trap_at_once(paths: Paths, ways_back: WaysBack, goal: Expr) -> Answer | None:
    """A run to what no way leads back from if its faults strike right behind power-up.

    Looked for where no shortest run has to be found; None where there is no such run.
    """
    space = paths.space
    if not isinstance(paths, AnsweredPaths) or not space.is_complete or space.budget.out_of_time():
        return None
    ways_back.note_homes(ways_back.where_not_always(goal))
    steps = paths.to_nearest(ways_back.lost(goal))
    return None if steps is None else Answer(True, _run(space, steps))


def _trap(paths: Paths, ways_back: WaysBack, goal: Expr) -> Answer:
    space = paths.space
    if space.budget.out_of_time():
        return Answer(None)
    doubtful, able = ways_back.doubtful(goal, ways_back.where_not_always(goal))
    if not doubtful.satisfiable():
        return Answer(False)
    onward = space.onward()
    # What lies beyond the states found may lead to the goal, so it counts as the goal.
    if not space.is_complete:
        able = able | space.reached & onward.before(~space.reached)
    trapped = doubtful & ~onward.closure_before(able, doubtful)
    steps = paths.to_nearest(trapped)
    return Answer(_nothing_found(space)) if steps is None else Answer(True, _run(space, steps))


def _values(space: Space, states: Node, exprs: Sequence[Expr]) -> Iterator[tuple[int, ...]]:
    """Which combinations of values occur in `states`."""
    if not states.satisfiable():
        return
    if not exprs:
        yield ()
        return
    space.check()
    for value, where in space.encoding.partition(exprs[0]).items():
        for rest in _values(space, states & where, exprs[1:]):
            yield (value, *rest)


def _stay(paths: Paths, start: Expr, stay: Expr, along: Legs) -> Answer:
    space = paths.space
    if space.budget.out_of_time():
        return Answer(None)
    walk = Walk(space, along) if along else None
    starts, within = space.lasting(start, stay, None if walk is None else walk.done)
    loops = FairLoops(space, within)
    starts = starts & loops.leading_there()
    steps: list[Step] | None
    if walk is None:
        steps = paths.to_nearest(starts)
    else:
        steps = walk.steps_to(starts) if space.is_complete and starts.satisfiable() else None
    if steps is None:
        return Answer(_nothing_found(space))
    state = steps[-1].state if steps else space.system.initial
    approach, loop = loops.run_from(state)
    steps = steps + approach
    return Answer(True, _run(space, steps + loop, len(steps)))


def _run(space: Space, steps: list[Step], loop_start: int | None = None) -> Witness:
    return Witness(space.system.initial, tuple(steps), loop_start)
