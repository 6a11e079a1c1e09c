"""Runs in which a scan answers each move: soon found, and not always the shortest.

Rings of settled states are far smaller than those of single moves, see `settled`. What only
several moves between two scans lead to is not found in them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from interlock.base.errors import InternalError
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
    """

    def __init__(self, space: Space, search: Search) -> None:
        self._space = space
        self._search = search
        self._graph = anywhere_settled(space, search)
        self._stepper = Stepper(space.system)
        self._rings: list[Node] = []
        self._seen = space.diagrams.false

    @property
    def n_settled(self) -> int:
        """How many settled states were found on the way so far."""
        return self._search.count(self._seen)

    def to(self, target: Node) -> list[Step] | None:
        """A run to one of the states of `target`; None where there is none of this sort."""
        graph, space = self._graph, self._space
        if graph is None:
            return None
        early = self._search.irregular & target
        if early.satisfiable():
            return self._before_the_first_scan(early)
        wanted = graph.leading_to(target)
        depth = 0
        while not (self._ring(graph, depth) & wanted).satisfiable():
            if not self._rings[depth].satisfiable():
                return None
            depth += 1
        state = space.encoding.pick(self._rings[depth] & wanted)
        steps = self._along(graph, state, depth)
        return self._ending_in(target, steps)

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
        assert self._graph is not None
        scan = self._graph.scan.name
        made = self._made(steps, name)
        return made if name == scan else made + self._made(made, scan)

    def _made(self, steps: list[Step], name: str) -> list[Step]:
        state = steps[-1].state if steps else self._space.system.initial
        return [Step(name, self._stepper.after(state, self._space.system.move(name)))]

    def _ending_in(self, target: Node, steps: list[Step]) -> list[Step]:
        """The same run, with one move more where that alone leads to `target`."""
        encoding = self._space.encoding
        state = steps[-1].state if steps else self._space.system.initial
        if encoding.holds(target, state):
            return steps
        for move, after in self._stepper.successors(state):
            if encoding.holds(target, after):
                return [*steps, Step(move.name, after)]
        raise InternalError("symbolic: a settled state does not lead where it should")
