"""Changed systems, explored beside the original by diagrams.

A changed system shares the original's bits, and the diagrams of every move that is as it was. Its
search starts with all that the original reaches already found, so that most steps find nothing
new: what it ends with is closed under the changed moves and holds the changed system's start, so
it holds everything that the changed system reaches. It may hold more, where the change keeps the
changed system from what the original does. Only where something is found that no run leads to is
the changed system explored from power-up.

Measured on the demo vehicle, each machine moving once between two scans, 2.6e10 states: 1.3 s of
CPU from power-up with bits of its own, 1.2 s with the original's, 0.3 to 0.6 s beside its states;
0.2 to 0.4 s until a state that violates something is found along settled states, which most are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.symbolic.legs import Walk, may_lead_to
from interlock.engines.symbolic.loops import FairLoops
from interlock.engines.symbolic.moves import SymbolicMove, copied_variables
from interlock.engines.symbolic.paths import Paths
from interlock.engines.symbolic.settled import WaysBack
from interlock.engines.symbolic.settled_runs import SettledRuns
from interlock.engines.symbolic.space import LimitError, Space
from interlock.kernel.expr import Expr
from interlock.kernel.query import Legs, Limits, Query, Reach, Stay, Trap
from interlock.kernel.system import System
from interlock.kernel.varied import FirstFound
from interlock.kernel.witness import Step, Witness

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node


class Variations:
    """As `kernel.varied.Varied`.

    Parameters
    ----------
    space : Space
        The original, explored to its end by chaining.
    """

    def __init__(self, space: Space) -> None:
        self._space = space
        # Its exploration is over, and so are its limits: what is asked from now on has its own.
        space.budget = Budget(NO_LIMITS, None)
        given = zip(space.system.moves, space.moves, strict=True)
        self._given = {move.name: (move, symbolic) for move, symbolic in given}

    @property
    def n_states(self) -> int:
        """How many states there are."""
        return self._space.n_reached

    def occurs(self, condition: Expr) -> bool:
        """Whether some state meets a condition."""
        self._space.check()
        return (self._space.reached & self._space.encoding.truth(condition)).satisfiable()

    def nearest(self, condition: Expr, most: int | None = None) -> Witness | None:
        """A run of the fewest moves to a state that meets it, up to `most`; None without one."""
        space = self._space
        steps = Paths(space).to_nearest(space.encoding.truth(condition), most)
        return None if steps is None else Witness(space.system.initial, tuple(steps))

    def first_found(
        self, system: System, queries: Sequence[Query], limits: Limits = NO_LIMITS
    ) -> FirstFound:
        """Whether a changed system has what one of `queries` looks for."""
        budget = Budget(limits, None)
        try:
            found, n_states = self._first(system, queries, budget)
        except LimitError:
            return FirstFound(None, None, 1, budget.limit)
        except MemoryError:
            return FirstFound(None, None, 1, budget.limit or "memory")
        number, witness = found or (None, None)
        return FirstFound(number, witness, n_states)

    def _first(
        self, system: System, queries: Sequence[Query], budget: Budget
    ) -> tuple[tuple[int, Witness] | None, int]:
        """What is found first, if anything, and how many states were looked at."""
        copies = self._space.encoding.copies.keys()
        alike = system.variables == self._space.system.variables
        if not alike or not copied_variables(system) <= copies:
            space = Space(system, budget, breadth_first_work=0)
            space.explore()
            return _Asked(space, SettledRuns(space, space.search()), True).first(queries)
        space = self._changed(system, budget)
        search = space.search()
        runs = SettledRuns(space, search)
        asked = _Asked(space, runs, is_exact=False)
        # Most of what is found at all is a state, and lies where a scan answers each move.
        found = asked.state_soon(queries)
        if found is not None:
            return found, runs.n_settled
        try:
            space.explore_by(search, self._space)
            return asked.first(queries)
        except NoRunError:
            space = self._changed(system, budget)
            space.explore_by(space.search())
            return _Asked(space, runs, is_exact=True).first(queries)

    def _changed(self, system: System, budget: Budget) -> Space:
        encoding = self._space.encoding.of(system)
        moves = []
        for move in system.moves:
            given, symbolic = self._given.get(move.name, (None, None))
            same = symbolic if given is not None and (move is given or move == given) else None
            moves.append(same or SymbolicMove.of(encoding, move))
        return self._space.changed(encoding, moves, budget)


class NoRunError(Exception):
    """Something is found, but maybe only where the changed system never comes."""


class _Asked:
    """What is asked of a changed system.

    Parameters
    ----------
    space : Space
    runs : SettledRuns
        Of the same system.
    is_exact : bool
        Whether each state of the space is really reached.
    """

    def __init__(self, space: Space, runs: SettledRuns, is_exact: bool) -> None:
        self._space = space
        self._runs = runs
        self._is_exact = is_exact

    def state_soon(self, queries: Sequence[Query]) -> tuple[int, Witness] | None:
        """A query for single states that a run shows in which a scan answers each move."""
        truths, target = self._truths(queries)
        steps = self._runs.to(target) if target.satisfiable() else None
        return None if steps is None else self._state(truths, steps)

    def first(self, queries: Sequence[Query]) -> tuple[tuple[int, Witness] | None, int]:
        """The query that is found soonest, and a run; what takes the least work is asked first.

        With the number of states that the space holds, explored by now.

        Raises
        ------
        NoRunError
            Where states that are not all reached do not tell.
        """
        n_states = self._space.n_reached
        truths, target = self._truths(queries)
        target = target & self._space.reached
        if target.satisfiable():
            return self._state(truths, self._to(target)), n_states
        for kind in (Trap, Reach, Stay):
            for number, query in enumerate(queries):
                if isinstance(query, kind) and number not in truths:
                    self._space.check()
                    witness = self._shown(query)
                    if witness is not None:
                        return (number, witness), n_states
        return None, n_states

    def _truths(self, queries: Sequence[Query]) -> tuple[dict[int, Node], Node]:
        """Which states the queries for single ones look for, and all of these together."""
        truths = {
            number: self._space.encoding.truth(query.target)
            for number, query in enumerate(queries)
            if isinstance(query, Reach) and not query.along
        }
        return truths, self._space.diagrams.disjunction(truths.values())

    def _state(self, truths: Mapping[int, Node], steps: list[Step]) -> tuple[int, Witness]:
        """A run with the first query whose state it ends in."""
        run = self._run(steps)
        holds = self._space.encoding.holds
        return next(number for number, truth in truths.items() if holds(truth, run.last)), run

    def _shown(self, query: Query) -> Witness | None:
        match query:
            case Trap(goal):
                return self._trapped(goal)
            case Reach():
                return self._along(query)
            case Stay(start, stay, along):
                return self._staying(start, stay, along)
            case _:
                raise TypeError(f"{type(query).__name__} shows no violation")

    @cached_property
    def _ways_back(self) -> WaysBack:
        return WaysBack(self._space)

    def _trapped(self, goal: Expr) -> Witness | None:
        doubtful, able = self._ways_back.doubtful(goal)
        trapped = doubtful & ~self._space.onward().closure_before(able, doubtful)
        return self._run(self._to(trapped)) if trapped.satisfiable() else None

    def _along(self, query: Reach) -> Witness | None:
        space = self._space
        if not may_lead_to(space, query):
            return None
        hit = space.reached & space.encoding.truth(query.target)
        walk = Walk(space, query.along)
        if not (walk.done & hit).satisfiable():
            return None
        return self._run(self._certain(walk.steps_if_any(hit)))

    def _staying(self, start: Expr, stay: Expr, along: Legs) -> Witness | None:
        walk = Walk(self._space, along) if along else None
        among = None if walk is None else walk.done
        starts, within = self._space.lasting(start, stay, among)
        if not starts.satisfiable():
            return None
        loops = FairLoops(self._space, within)
        starts = starts & loops.leading_there()
        if not starts.satisfiable():
            return None
        steps = self._to(starts) if walk is None else self._certain(walk.steps_if_any(starts))
        state = steps[-1].state if steps else self._space.system.initial
        approach, loop = loops.run_from(state)
        steps = steps + approach
        return self._run(steps + loop, len(steps))

    def _to(self, target: Node) -> list[Step]:
        """A run to one of some states."""
        steps = self._runs.to(target)
        if steps is None and self._is_exact:
            # It takes several moves between two scans.
            steps = Paths(self._space).to_nearest(target)
        return self._certain(steps)

    def _certain(self, steps: list[Step] | None) -> list[Step]:
        if steps is None:
            raise NoRunError
        return steps

    def _run(self, steps: list[Step], loop_start: int | None = None) -> Witness:
        return Witness(self._space.system.initial, tuple(steps), loop_start)
