"""Runs in which a scan answers each move: soon found, and not always the shortest.

Rings of settled states are far smaller than those of single moves, see `settled`. Behind the last
scan several moves may come where one is not enough; what only several moves between two earlier
scans lead to is not found so.
"""

from __future__ import annotations

from copy import copy
from functools import cached_property
from typing import TYPE_CHECKING

from interlock.base.errors import InternalError
from interlock.engines.symbolic.leading import towards
from interlock.engines.symbolic.paths import Paths
from interlock.engines.symbolic.settled import anywhere_settled
from interlock.engines.symbolic.space import Space
from interlock.kernel.evaluate import State
from interlock.kernel.system import Stepper
from interlock.kernel.witness import Step

if TYPE_CHECKING:
    from interlock.engines.symbolic.chaining import Search
    from interlock.engines.symbolic.diagrams import Node
    from interlock.engines.symbolic.settled import SettledGraph


class SettledRuns:
    """Looks for such runs in a space, explored or not; the rings that it needed are kept.

    Parameters
    ----------
    space : Space
    search : Search
        For everything that is reached in it.
    goes_back : bool
        Whether to look from the goal as well, among what is reached: of an explored space alone.
    """

    def __init__(self, space: Space, search: Search, goes_back: bool = False) -> None:
        self._space = space
        self._search = search
        self._goes_back = goes_back
        self.graph = anywhere_settled(space, search)
        if self.graph is not None and goes_back:
            self.graph = self.graph.of(self.graph.inlined(space.reached))
        self._stepper = Stepper(space.system)
        self._rings: list[Node] = []
        self._seen = space.diagrams.false

    @property
    def n_settled(self) -> int:
        """How many settled states were found on the way so far."""
        return self._search.count(self._seen)

    def to(self, target: Node) -> list[Step] | None:
        """A run to one of the states of `target`; None where there is none of this sort."""
        if self.graph is None:
            return None
        early = self.to_the_first_scan(target)
        if early is not None:
            return early
        steps = self.settling_in(self.graph.leading_to(target))
        return None if steps is None else self.ending_in(target, steps)

    def to_the_first_scan(self, target: Node) -> list[Step] | None:
        """A run to one of the states of `target` before the first scan, if there is any."""
        early = self._search.irregular & target
        return self._before_the_first_scan(early) if early.satisfiable() else None

    def settling_in(self, wanted: Node) -> list[Step] | None:
        """A run to a settled state that is `wanted`, without the variables left out."""
        graph, picked = self.graph, self._space.encoding.pick
        assert graph is not None
        for depth, ring in enumerate(self._rings):
            if (ring & wanted).satisfiable():
                return self._along(graph, picked(ring & wanted), depth)
        depth = max(len(self._rings) - 1, 0)
        back = [wanted & graph.reached]
        behind = back[0]
        # Both ends grow by a move and its scan, the simpler one first, until they meet.
        while not (met := self._ring(graph, depth) & back[-1]).satisfiable():
            ahead = self._rings[depth]
            if not ahead.satisfiable() or not back[-1].satisfiable():
                return None
            if self._goes_back and back[-1].node_count() < ahead.node_count():
                self._space.check()
                back.append(graph.before(back[-1]) & graph.reached & ~behind)
                behind = behind | back[-1]
            else:
                depth += 1
        steps = self._along(graph, picked(met), depth)
        for ring in reversed(back[:-1]):
            steps += self._answered_into(ring, steps)
        return steps

    def _ring(self, graph: SettledGraph, depth: int) -> Node:
        if depth == len(self._rings):
            new = self._search.start
            if depth:
                self._space.check()
                last = self._rings[-1]
                new = self._space.diagrams.disjunction(m.image(last) for m in graph.moves)
            self._rings.append(new & ~self._seen)
            self._seen = self._seen | new
        return self._rings[depth]

    def _before_the_first_scan(self, target: Node) -> list[Step]:
        initial = self._space.system.initial
        return Paths(self._space).between(initial, target, self._search.irregular)

    def _along(self, graph: SettledGraph, state: State, depth: int) -> list[Step]:
        """A run to a settled state of the ring at `depth`."""
        encoding, names = self._space.encoding, []
        for ring in reversed(self._rings[:depth]):
            goal = encoding.is_state(state)
            for move in graph.moves:
                earlier = move.preimage(goal) & ring
                if earlier.satisfiable():
                    names.append(move.name)
                    state = encoding.pick(earlier)
                    break
            else:
                raise InternalError("symbolic: a ring of settled states does not follow")
        steps = self._to_the_first(graph, state)
        for name in reversed(names):
            steps += self._answered(steps, name)
        return steps

    def _to_the_first(self, graph: SettledGraph, state: State) -> list[Step]:
        """A run to a settled state of the first ring."""
        before = self._search.irregular
        if not before.satisfiable():
            return []
        settled = graph.widened(graph.narrowed(self._space.encoding.is_state(state)))
        steps = self._before_the_first_scan(graph.scan.preimage(settled) & before)
        return steps + self._made(steps, graph.scan.name)

    def _answered(self, steps: list[Step], name: str) -> list[Step]:
        """A move behind some steps, and the scan that answers it."""
        assert self.graph is not None
        scan = self.graph.scan.name
        made = self._made(steps, name)
        return made if name == scan else made + self._made(made, scan)

    def _answered_into(self, ring: Node, steps: list[Step]) -> list[Step]:
        """A move behind some steps, and the scan that answers it, into a ring of settled states."""
        here = steps[-1].state if steps else self._space.system.initial
        for move, _ in self._stepper.successors(here):
            made = self._answered(steps, move.name)
            if self._space.encoding.holds(ring, made[-1].state):
                return made
        raise InternalError("symbolic: a ring of settled states does not lead to the next")

    def _made(self, steps: list[Step], name: str) -> list[Step]:
        state = steps[-1].state if steps else self._space.system.initial
        return [Step(name, self._stepper.after(state, self._space.system.move(name)))]

    def ending_in(self, target: Node, steps: list[Step]) -> list[Step]:
        """The same run, with one move more where that alone leads to `target`."""
        encoding = self._space.encoding
        state = steps[-1].state if steps else self._space.system.initial
        if encoding.holds(target, state):
            return steps
        for move, after in self._stepper.successors(state):
            if encoding.holds(target, after):
                return [*steps, Step(move.name, after)]
        raise InternalError("symbolic: a settled state does not lead where it should")


class AnsweredPaths(Paths):
    """Runs in which a scan answers each move but the last ones; others where none leads there.

    Parameters
    ----------
    space : Space
        Explored.
    """

    def __init__(self, space: Space) -> None:
        super().__init__(space)
        self._search = space.chained[0] if space.chained else space.search()
        # Its rings serve all targets.
        self._runs = SettledRuns(space, self._search, goes_back=space.is_complete)

    @cached_property
    def spaces(self) -> tuple[Space, ...]:
        """First with moves that are made right behind a scan alone, then as it is."""
        settling = self._search.settling
        if settling is None or not settling.is_outrun:
            return (self.space,)
        answered = copy(self.space)
        answered.moves = [
            move if move.name == settling.scan.name else move.restricted(settling.settled)
            for move in self.space.moves
        ]
        return answered, self.space

    def to_nearest(self, target: Node, most: int | None = None) -> list[Step] | None:
        """A run in which a scan answers each move, but for one at its end, of the fewest moves.

        Where none leads into `target`, one with more moves at its end, as few as can be. Where no
        such run does either, or only one of more than `most` steps, as `Paths.to_nearest`.
        """
        steps, reached = None, self.space.reached
        if self.space.is_complete and (target & reached).satisfiable():
            steps = self._answered(target)
        if steps is None or (most is not None and len(steps) > most):
            return Paths(towards(self.space, target & reached)).to_nearest(target, most)
        return steps

    def _answered(self, target: Node) -> list[Step] | None:
        runs, graph = self._runs, self._runs.graph
        if graph is None:
            return None
        early = runs.to_the_first_scan(target)
        if early is not None:
            return early
        # The target by itself is mostly a far simpler set than with what is reached.
        wanted, ahead = graph.leading_to(target), [target & self.space.reached]
        while (steps := runs.settling_in(wanted)) is None:
            ahead.append(self._moved_into(ahead))
            if not ahead[-1].satisfiable():
                return None
            wanted = graph.inlined(ahead[-1])
        if len(ahead) == 1:
            return runs.ending_in(target, steps)
        return steps + self.descend(ahead, steps[-1].state if steps else self.space.system.initial)

    def _moved_into(self, ahead: list[Node]) -> Node:
        """The states from which a move, no scan, leads into the last of these, and no sooner."""
        space, dd, graph = self.space, self.space.diagrams, self._runs.graph
        earlier = []
        for move in space.moves:
            space.check()
            if graph is None or move.name != graph.scan.name:
                earlier.append(move.preimage(ahead[-1]) & space.reached)
        return dd.disjunction(earlier) & ~dd.disjunction(ahead)
