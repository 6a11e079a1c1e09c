"""The symbolic engine: answers the queries of the kernel with decision diagrams."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.symbolic.answering import ask
from interlock.engines.symbolic.certify import certify
from interlock.engines.symbolic.diagrams import DEFAULT_BYTES
from interlock.engines.symbolic.exclusive import merged
from interlock.engines.symbolic.explored import Explored
from interlock.engines.symbolic.following import Following
from interlock.engines.symbolic.guiding import Guiding
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
    DeclinedError,
    Exploration,
    Limits,
    ProgressSink,
    Query,
    Reach,
    Trap,
)
from interlock.kernel.system import System

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
        return ask(paths, ways_back, query)
    except LimitError:
        return Answer(None)
    except MemoryError:
        _note_memory(paths.space.budget)
        return Answer(None)
