"""The symbolic engine: answers the queries of the kernel with decision diagrams."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.symbolic.certify import certify
from interlock.engines.symbolic.diagrams import DEFAULT_BYTES
from interlock.engines.symbolic.exclusive import merged
from interlock.engines.symbolic.explored import Explored
from interlock.engines.symbolic.following import Following
from interlock.engines.symbolic.guiding import Guiding
from interlock.engines.symbolic.leading import towards
from interlock.engines.symbolic.legs import Walk, may_lead_to
from interlock.engines.symbolic.loops import FairLoops
from interlock.engines.symbolic.occurring import occurs
from interlock.engines.symbolic.order import variable_order
from interlock.engines.symbolic.paths import Paths
from interlock.engines.symbolic.permits import Permits, Permitting
from interlock.engines.symbolic.settled import WaysBack
from interlock.engines.symbolic.settled_runs import AnsweredPaths
from interlock.engines.symbolic.space import BREADTH_FIRST_WORK, LimitError, Space
from interlock.engines.symbolic.varied import Variations
from interlock.kernel.certificate import NO_ENDS, Certificate
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.followed import Followed
from interlock.kernel.permitted import Permitted
from interlock.kernel.projected import Projected
from interlock.kernel.query import (
    Answer,
    Count,
    DeclinedError,
    Exploration,
    FewestScans,
    Legs,
    Limits,
    MostScans,
    Occurs,
    ProgressSink,
    Query,
    Reach,
    Stay,
    Trap,
    Values,
)
from interlock.kernel.system import System
from interlock.kernel.witness import Step, Witness

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

# Rings from power-up serve all runs, those from a goal one: of more runs than this, the first may
# grow so many times as large. Measured on the demo vehicle with the 1,200 runs that its
# commissioning sheet asks for, seconds of CPU: more than 104 where they are alike, 31 so.
MANY_RUNS, FAVOUR_AHEAD = 200, 64


class SymbolicEngine:
    """Decision diagrams: for systems with far more states than can be listed.

    Parameters
    ----------
    breadth_first_work : int
        Nodes of diagrams, times moves, up to which the search is breadth first.
    most_joined : int or None
        How many sets may be joined; None without limit.
    most_work : int or None
        Nodes of diagrams, over all steps behind that, with which it declines to go on.
    like : System or None
        Systems with the variables of this one take over the order of its bits: looking for one
        takes longer than exploring little.
    answered_first : bool
        Whether runs are looked for first in which a scan answers each move, but for the last. They
        are soon found, and not always shortest; where one is found no other is looked for.
    after : SymbolicEngine or None
        Goes on from where this one, in the same order of bits, declined to for the same system.
    """

    name = "symbolic"

    def __init__(
        self,
        breadth_first_work: int = BREADTH_FIRST_WORK,
        most_work: int | None = None,
        most_joined: int | None = None,
        like: System | None = None,
        answered_first: bool = False,
        after: SymbolicEngine | None = None,
    ) -> None:
        self._after = after
        self._begun: tuple[System, Space] | None = None
        self._like = like
        self._answered_first = answered_first
        self._breadth_first_work = breadth_first_work
        self._most_work = most_work
        self._most_joined = most_joined

    def project(
        self,
        system: System,
        flags: Sequence[str],
        limits: Limits = NO_LIMITS,
        progress: ProgressSink | None = None,
    ) -> Projected:
        """Keep what is reachable to see it through some variables: `kernel.projected.Projects`."""
        return Explored(system, flags, limits, progress)

    def permit(
        self,
        system: System,
        move: str,
        bad: Sequence[Expr],
        limits: Limits = NO_LIMITS,
        progress: ProgressSink | None = None,
    ) -> Permitted:
        """Tell in which states a move is safe: `kernel.permitted.Permits`."""
        return Permits(system, move, bad, limits, progress)

    def permitting(
        self, system: System, limits: Limits = NO_LIMITS, progress: ProgressSink | None = None
    ) -> Permitting:
        """Explore a system, for moves of others much like it: `kernel.permitted.Permits`."""
        return Permitting(system, limits, progress)

    def follow(self, system: System, max_bytes: int | None = None) -> Followed[Node]:
        """Follow sets of states move by move: `kernel.followed.Follows`."""
        return Following(system, max_bytes)

    def certify(
        self,
        system: System,
        queries: Sequence[Query],
        ends: Mapping[Trap, State] = NO_ENDS,
        limits: Limits = NO_LIMITS,
        progress: ProgressSink | None = None,
    ) -> Certificate | str:
        """Give sets by which others can see that queries are not found: `kernel.certificate`."""
        return certify(system, queries, ends, limits, progress)

    def guide(
        self,
        system: System,
        goal: Expr,
        limits: Limits = NO_LIMITS,
        progress: ProgressSink | None = None,
    ) -> Guiding | None:
        """Find ways from many states to one goal: `kernel.guided.Guides`."""
        budget = Budget(limits, progress)
        try:
            space = Space(system, budget, 0, self._most_work, self._most_joined)
            space.explore()
            return Guiding(space, goal, limits, progress)
        except (LimitError, MemoryError):
            return None

    def vary(
        self, system: System, limits: Limits = NO_LIMITS, progress: ProgressSink | None = None
    ) -> Variations | None:
        """Explore changed systems beside this one: `kernel.varied.Varies`."""
        try:
            space = Space(system, Budget(limits, progress), 0, self._most_work, self._most_joined)
            space.explore()
        except (LimitError, MemoryError):
            return None
        return Variations(space)

    def explore(
        self,
        system: System,
        queries: Sequence[Query],
        limits: Limits = NO_LIMITS,
        progress: ProgressSink | None = None,
    ) -> Exploration:
        """Explore everything reachable in `system` and answer `queries`.

        Depth is None and there are no level sizes where the system was too large to search
        breadth first to its end; witnesses are shortest all the same.

        Raises
        ------
        DeclinedError
            If an expression has more values than can be told apart one by one, or diagrams are
            more work than was allowed.
        """
        before = None if self._after is None else self._after._begun
        if before is not None and before[0] is not system:
            before = None
        one = merged(system)
        explored = system if one is None else one.system
        asked = queries if one is None else [one.asked(query) for query in queries]
        budget = Budget(limits, progress)
        try:
            space = self._space(explored, budget, None if before is None else before[1])
        except MemoryError:
            return _nothing(self.name, queries, budget)
        self._begun = None
        try:
            found = self._explore(space, asked)
        except DeclinedError:
            self._begun = system, space
            raise
        if one is None:
            return found
        return replace(found, answers=tuple(map(one.told, found.answers)))

    def _space(self, system: System, budget: Budget, begun: Space | None) -> Space:
        if begun is not None and begun.broken_off is not None:
            begun.go_on(budget, self._breadth_first_work, self._most_work)
            return begun
        like = self._like
        order = variable_order(like) if like and like.variables == system.variables else None
        limits = self._most_work, self._most_joined, order
        return Space(system, budget, self._breadth_first_work, *limits)

    def _explore(self, space: Space, queries: Sequence[Query]) -> Exploration:
        budget = space.budget
        try:
            space.explore()
        except LimitError:
            pass
        except MemoryError:
            _note_memory(budget)
        n_runs = sum(isinstance(query, Reach) and not query.along for query in queries)
        space.favour_ahead = FAVOUR_AHEAD if n_runs > MANY_RUNS else 1
        ways_back = WaysBack(space)
        paths = AnsweredPaths(space) if self._answered_first else Paths(space)
        answers = tuple(_answer(paths, ways_back, query) for query in queries)
        return Exploration(
            engine=self.name,
            answers=answers,
            n_states=space.n_reached,
            n_moves=_count_moves(space),
            depth=len(space.rings) - 1 if space.has_all_rings else None,
            limit=budget.limit,
            seconds=budget.seconds,
            n_bytes=space.diagrams.n_bytes,
            level_sizes=tuple(space.level_sizes) if space.has_all_rings else (),
        )


def _nothing(name: str, queries: Sequence[Query], budget: Budget) -> Exploration:
    """The result where not even the moves fit into memory."""
    _note_memory(budget)
    return Exploration(
        engine=name,
        answers=tuple(Answer(None) for _ in queries),
        n_states=1,
        n_moves=None,
        depth=0,
        limit=budget.limit,
        seconds=budget.seconds,
        level_sizes=(1,),
    )


def _note_memory(budget: Budget) -> None:
    most = budget.limits.max_bytes
    budget.limit = budget.limit or f"bytes {DEFAULT_BYTES if most is None else most:,}"


def _count_moves(space: Space) -> int | None:
    try:
        return sum(space.encoding.count(space.reached & move.guard) for move in space.moves)
    except MemoryError:
        return None


def _answer(paths: Paths, ways_back: WaysBack, query: Query) -> Answer:
    """The answer to one query, None where a limit came first."""
    try:
        return _ask(paths, ways_back, query)
    except LimitError:
        return Answer(None)
    except MemoryError:
        _note_memory(paths.space.budget)
        return Answer(None)


def _ask(paths: Paths, ways_back: WaysBack, query: Query) -> Answer:
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
